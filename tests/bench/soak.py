"""A day of the watch in minutes: 2,000 small captures, and whether memory and descriptors stay where they were.

Run as ``python -m tests.bench.soak [CAPTURES]``. Linux, since it reads ``/proc``.
"""

from __future__ import annotations

import os
import statistics
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from qc.event import Event
from qc.intake.updates import Judged
from qc.intake.watch import Watch
from qc.rehearse.dng import encode_dng

CAPTURES = 2000
QUARTERS = 4
MOST_AHEAD = 40
BURST = 10
WITHIN = 0.10
"""How far the mean memory of the last quarter may lie above that of the first."""

MOST_KEPT_KB = 10.0
"""Most that may stay in memory of each capture: `qc.series` folds over the whole day, so this much is no leak."""

MEGABYTE = 1e6


@dataclass(slots=True)
class Sample:
    """Memory and descriptors at one moment."""

    watch_mb: float
    workers_mb: float
    descriptors: int


FIGURES: dict[str, Callable[[Sample], float]] = {
    "watch and workers": lambda s: s.watch_mb + s.workers_mb,
    "workers": lambda s: s.workers_mb,
    "descriptors": lambda s: s.descriptors,
}
"""What must stay within the bounds."""


@dataclass(slots=True)
class Day:
    """What the watch told."""

    captures: int
    told: Counter[str] = field(default_factory=Counter)
    bad: list[str] = field(default_factory=list)
    samples: list[Sample] = field(default_factory=list)
    ended: bool = False


def template() -> bytes:
    """Return one small uncompressed capture."""
    rng = np.random.default_rng(7)
    slope = np.linspace(700, 9000, 512)
    mosaic = rng.normal(np.tile(slope, (512, 1)), 25).astype(np.uint16)
    mosaic[200:300, 200:300] = 1500
    return encode_dng(mosaic, cfa="RGGB", black=512, white=16383)


def variant(data: bytes, number: int) -> bytes:
    """Return the capture with two photosites of its own, so that no two are the same content."""
    own = bytearray(data)
    for digit, place in ((number % 256, len(own) // 2 & ~1), (number // 256, (len(own) // 2 & ~1) + 512)):
        own[place] = digit
    return bytes(own)


def fill(watch: Watch, day: Day) -> None:
    """Write captures in bursts, half of them renamed into place, never too far ahead of the watch; then end it."""
    data = template()
    for number in range(day.captures):
        while number % BURST == 0 and number - len(day.told) > MOST_AHEAD and not day.ended:
            time.sleep(0.1)
        path = watch.folder / f"SB_{number:05d}.dng"
        if number % 2:
            path.write_bytes(variant(data, number))
        else:
            hidden = path.with_name(f".{path.name}.part")
            hidden.write_bytes(variant(data, number))
            hidden.rename(path)
    until = time.monotonic() + 120
    while len(day.told) < day.captures and time.monotonic() < until and not day.ended:
        time.sleep(0.2)
    time.sleep(2)  # for what would be told twice
    watch.stop()


def resident_mb(pid: int | str) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text(encoding="ascii").split()[1])
    return pages * os.sysconf("SC_PAGE_SIZE") / MEGABYTE


def sample() -> Sample:
    """Look at this process and its children; a worker that ends meanwhile counts nothing."""
    workers = 0.0
    for task in Path("/proc/self/task").iterdir():
        for child in (task / "children").read_text(encoding="ascii").split():
            try:
                workers += resident_mb(child)
            except (FileNotFoundError, ProcessLookupError):
                continue
    descriptors = sum(1 for _ in Path("/proc/self/fd").iterdir())
    return Sample(watch_mb=resident_mb("self"), workers_mb=workers, descriptors=descriptors)


def run(watch: Watch, day: Day) -> None:
    """Run the watch to its end and note what it tells."""
    filler = threading.Thread(target=fill, args=(watch, day))
    filler.start()
    began = time.monotonic()
    try:
        for update in watch.run():
            if isinstance(update, Judged):
                day.told[update.result.file.name] += 1
                day.samples.append(sample())
                if update.result.file.state != "whole":
                    day.bad.append(f"{update.result.file.name}: {update.result.file.detail}")
                if len(day.samples) % (day.captures // QUARTERS) == 0:
                    say(day, time.monotonic() - began)
            elif isinstance(update, Event) and update.kind not in ("started", "ended"):
                day.bad.append(update.text)
    finally:
        day.ended = True
        filler.join()


def say(day: Day, seconds: float) -> None:
    """Print one line on the last quarter."""
    quarter = day.samples[-(day.captures // QUARTERS) :]
    watch, workers = (statistics.mean(getattr(s, name) for s in quarter) for name in ("watch_mb", "workers_mb"))
    last = quarter[-1]
    print(
        f"   {len(day.samples):5} captures, {seconds:5.0f} s: mean of {len(quarter)}: "
        f"watch {watch:6.1f} MB, workers {workers:6.1f} MB; "
        f"now {last.watch_mb:6.1f} and {last.workers_mb:6.1f} MB, {last.descriptors} descriptors",
        flush=True,
    )


def verdict(day: Day) -> bool:
    """Print what was lost and how the last quarter compares with the first."""
    quarter = day.captures // QUARTERS
    first, last = day.samples[:quarter], day.samples[-quarter:]
    met = True
    for label, figure in FIGURES.items():
        before, after = (statistics.mean(map(figure, part)) for part in (first, last))
        fits = after <= (1 + WITHIN) * before
        met &= fits
        said = "met" if fits else "MISSED"
        print(f"   {label}: last quarter / first {after / before:.3f} (at most {1 + WITHIN:g}) {said}")
    later = day.samples[quarter : 2 * quarter]  # the caches have filled by then
    grown = statistics.mean(s.watch_mb for s in last) - statistics.mean(s.watch_mb for s in later)
    kept = 1000 * grown / (day.captures - 2 * quarter)
    print(f"   the day that the watch keeps in memory: {kept:.1f} kB a capture (at most {MOST_KEPT_KB:g})")
    lost = day.captures - len(day.told)
    twice = sum(count > 1 for count in day.told.values())
    print(f"   lost {lost}, told twice {twice}, not whole or spoken of {len(day.bad)}")
    for text in day.bad[:10]:
        print(f"      {text}")
    return met and kept <= MOST_KEPT_KB and not (lost or twice or day.bad)


def main() -> int:
    """Run the soak and print its figures; exit status 1 when a target is missed."""
    day = Day(captures=int(sys.argv[1]) if len(sys.argv) > 1 else CAPTURES)
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bottles"
        folder.mkdir()
        print(f"soak: {day.captures} captures of 0.26 megapixels")
        run(Watch(folder), day)
    return 0 if verdict(day) else 1


if __name__ == "__main__":
    sys.exit(main())
