"""One benchmark job in a process of its own: ``python -m tests.bench.job JOB CAPTURE``; prints one JSON line."""

from __future__ import annotations

import json
import resource
import sys
import time
from pathlib import Path


def write(capture: Path, *, texture: bool) -> None:
    """Write a simulated 50-megapixel lossless-JPEG DNG: a still life four times over, or noise-like texture."""
    import numpy as np

    from qc.decode import BAYER
    from qc.rehearse.dng import write_dng
    from qc.rehearse.sensor import Sensor
    from qc.rehearse.studio import Studio

    rng = np.random.default_rng(3)
    if texture:
        import cv2

        grain = cv2.GaussianBlur(rng.random((2896, 4344), dtype=np.float32), (0, 0), 1.2)
        light = np.stack([0.3 + 1.5 * (grain - 0.5)] * 3).clip(0.02, 0.9)
        quarter = Sensor().expose(light, BAYER["RGGB"], rng)
    else:
        quarter = Studio(seed=3, size=(2896, 4344)).frame().mosaic
    write_dng(capture, np.tile(quarter, (2, 2)), cfa="RGGB", black=512, white=16383, compression="ljpeg")


def bare_libraw(capture: Path) -> dict[str, float]:
    """Time LibRaw alone: open, unpack, copy out."""
    import rawpy

    began = time.perf_counter()
    with rawpy.imread(str(capture)) as raw:
        raw.raw_image.copy()
    return {"decode": time.perf_counter() - began}


def measured(capture: Path, decoder: str) -> dict[str, float]:
    """Time each step from the open file to the digest."""
    from qc.container import inspect, load
    from qc.decode import raw_decoder
    from qc.decode.develop import develop
    from qc.digest import make_digest
    from qc.measure import specs
    from qc.sheet.brief import Brief

    chosen = [spec for spec in specs() if not spec.companions]
    read = raw_decoder(decoder).read
    times: dict[str, float] = {}

    def lap(name: str, since: float) -> float:
        now = time.perf_counter()
        times[name] = now - since
        return now

    began = mark = time.perf_counter()
    loaded = load(capture)
    inspect(loaded.data, name=loaded.name)
    mark = lap("read", mark)
    decoded = read(loaded.data, str(capture))
    mark = lap("decode", mark)
    frame = develop(decoded)
    del decoded, loaded
    mark = lap("develop", mark)
    found = []
    for spec in chosen:
        found.append(spec(frame, zones=(), brief=Brief()))
        mark = lap(spec.name, mark)
    make_digest(frame, found)
    mark = lap("digest", mark)
    times["total"] = mark - began
    times["peak"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return times


def main() -> None:
    """Run the job named on the command line."""
    job, capture = sys.argv[1], Path(sys.argv[2])
    if job.startswith("write-"):
        write(capture, texture=job == "write-texture")
        return
    print(json.dumps(bare_libraw(capture) if job == "libraw" else measured(capture, job)))


if __name__ == "__main__":
    main()
