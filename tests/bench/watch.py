"""Latency of the watch: from the last byte of a 12-megapixel capture to its first verdict and to its whole result.

Run as ``python -m tests.bench.watch``, or with the other figures by ``python -m tests.bench``. Lossless-JPEG DNGs
of the rehearsed studio arrive one every 3 s, written in pieces under their final names, on two cores.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import threading
import time
from pathlib import Path

import numpy as np

from qc.intake.updates import Early, Judged
from qc.intake.watch import Watch
from qc.rehearse.dng import encode_dng
from qc.rehearse.studio import Studio

CAPTURES = 15
EVERY_S = 3.0
PIECE = 2**20
SETTLING_IN_S = 3.0
TARGET_S = 2.0
"""Most seconds of the median to the first verdict."""


def captures() -> list[bytes]:
    """Return the captures as files: one still life of 2896 × 4344, moved sideways from frame to frame."""
    mosaic = Studio(seed=3, size=(2896, 4344)).frame().mosaic
    return [
        encode_dng(np.roll(mosaic, 2 * n, axis=1), cfa="RGGB", black=512, white=16383, compression="ljpeg")
        for n in range(CAPTURES)
    ]


def fill(watch: Watch, files: list[bytes], written: dict[str, float]) -> None:
    """Write the captures one after the other and note when the last byte of each was there; then end the watch."""
    time.sleep(SETTLING_IN_S)
    for number, data in enumerate(files):
        due = time.monotonic() + EVERY_S
        path = watch.folder / f"SB_{number:04d}.dng"
        with path.open("wb", buffering=0) as file:
            for start in range(0, len(data), PIECE):
                file.write(data[start : start + PIECE])
            written[path.name] = time.monotonic()
        time.sleep(max(0.0, due - time.monotonic()))
    time.sleep(EVERY_S)
    watch.stop()


def latencies(folder: Path) -> dict[str, list[float]]:
    """Run the watch over the captures and return seconds from the last byte, in the order they came."""
    watch = Watch(folder)
    written: dict[str, float] = {}
    found: dict[str, list[float]] = {"first verdict": [], "whole result": []}
    filler = threading.Thread(target=fill, args=(watch, captures(), written))
    filler.start()
    for update in watch.run():
        now = time.monotonic()
        if isinstance(update, Early):
            found["first verdict"].append(now - written[update.result.file.name])
        elif isinstance(update, Judged):
            found["whole result"].append(now - written[update.result.file.name])
    filler.join()
    return found


def report() -> bool:
    """Print the figures and tell whether the target is met."""
    if hasattr(os, "sched_setaffinity"):  # the workers inherit it
        os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:2])
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bottles"
        folder.mkdir()
        found = latencies(folder)
    load = f", load of the machine {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    print(f"\nwatch: {CAPTURES} captures of 12 megapixels, one every {EVERY_S:g} s, two cores{load}")
    for name, seconds in found.items():
        print(
            f"   last byte to {name:<14} median {statistics.median(seconds):5.2f} s   "
            f"fastest {min(seconds):5.2f} s   slowest {max(seconds):5.2f} s   of {len(seconds)}"
        )
    all_told = all(len(seconds) == CAPTURES for seconds in found.values())
    met = all_told and statistics.median(found["first verdict"]) < TARGET_S
    print(f"   median to the first verdict (under {TARGET_S:g} s), all told: {'met' if met else 'MISSED'}")
    return met


if __name__ == "__main__":
    sys.exit(0 if report() else 1)
