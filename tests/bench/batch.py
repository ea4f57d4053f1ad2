"""The check of a day: two workers against one, the second run against the first, and what the parent holds.

Run as ``python -m tests.bench.batch``, or with the other figures by ``python -m tests.bench``: lossless-JPEG DNGs
of the rehearsed studio, 12 megapixels each; for the memory 600 small captures.
"""

from __future__ import annotations

import gc
import sys
import tempfile
import time
import tracemalloc
from pathlib import Path

import numpy as np

from qc.batch.check import DayCheck
from qc.batch.progress import Progress
from qc.rehearse.dng import encode_dng
from qc.rehearse.studio import Studio
from tests.watch.running import capture

CAPTURES = 24
BEGUN = 4
ROUNDS = 2
SMALL = 600
TWO_WORKERS, SECOND_RUN, GROWTH_MB = 1.7, 20.0, 4.0
"""Least gain of two workers over one and of the second run over the first; most megabytes that the parent's own
memory grows by from the 100th capture to the last."""


def fill(folder: Path) -> None:
    """Write one still life of 2896 × 4344, moved sideways from frame to frame."""
    folder.mkdir()
    mosaic = Studio(seed=3, size=(2896, 4344)).frame().mosaic
    for number in range(CAPTURES):
        moved = np.roll(mosaic, 2 * number, axis=1)
        data = encode_dng(moved, cfa="RGGB", black=512, white=16383, compression="ljpeg")
        (folder / f"SB_{number:04d}.dng").write_bytes(data)


def seconds(folder: Path, out: Path, jobs: int) -> float:
    """Time one check, from the call to the last frame told."""
    began = time.perf_counter()
    told = sum(1 for _ in DayCheck(folder, out=out, jobs=jobs).run())
    assert told == CAPTURES
    return time.perf_counter() - began


def pace(folder: Path, out: Path, jobs: int) -> float:
    """Return the seconds a capture takes once all workers have begun: a day has hundreds, and one start."""
    at: dict[int, float] = {}

    def note(progress: Progress) -> None:
        at.setdefault(progress.done, time.perf_counter())

    for _ in DayCheck(folder, out=out, jobs=jobs, on_progress=note).run():
        pass
    return (at[CAPTURES] - at[BEGUN]) / (CAPTURES - BEGUN)


def growth_mb(folder: Path, out: Path) -> float:
    """Return by how much what Python has allocated grows from the 100th small capture to the last."""
    folder.mkdir()
    for number in range(SMALL):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    capture.cache_clear()
    held: dict[int, int] = {}

    def note(progress: Progress) -> None:
        if progress.done in (100, SMALL) and progress.done not in held:
            gc.collect()
            held[progress.done] = tracemalloc.get_traced_memory()[0]

    tracemalloc.start()
    for _ in DayCheck(folder, out=out, jobs=2, on_progress=note).run():
        pass
    tracemalloc.stop()
    return (held[SMALL] - held[100]) / 1e6


def report() -> bool:
    """Print the figures and tell whether all targets are met."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bottles"
        fill(folder)
        paces = [[pace(folder, Path(place) / f"{r}{jobs}.qc", jobs) for jobs in (1, 2)] for r in range(ROUNDS)]
        one, two = (min(run[jobs] for run in paces) for jobs in (0, 1))
        first = seconds(folder, Path(place) / "first.qc", 2)
        again = min(seconds(folder, Path(place) / "02.qc", 2) for _ in range(ROUNDS))
        grown = growth_mb(Path(place) / "small", Path(place) / "small.qc")
    print(f"\na capture: one worker {one:.3f} s, two {two:.3f} s")
    print(f"{CAPTURES} captures: first {first:.2f} s, again {again:.3f} s")
    figures = {
        f"two workers / one (at least {TWO_WORKERS:g})": (one / two, one / two >= TWO_WORKERS),
        f"first run / second (at least {SECOND_RUN:g})": (first / again, first / again >= SECOND_RUN),
        f"parent's growth over {SMALL - 100} captures, MB (at most {GROWTH_MB:g})": (grown, grown <= GROWTH_MB),
    }
    for name, (value, met) in figures.items():
        print(f"   {name}: {value:.2f} {'met' if met else 'MISSED'}")
    return all(met for _, met in figures.values())


if __name__ == "__main__":
    sys.exit(0 if report() else 1)
