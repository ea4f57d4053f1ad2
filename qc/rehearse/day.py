"""A rehearsed day: glossy glazed bottles on a white sweep, frame after frame, with faults planted where asked for.

What a watch ought to say of each frame stands beside it. All invented; the pace is that of still life with small
product, a frame every 6 to 20 s (common practice, no published source).

    python -m qc.rehearse.day FOLDER --pace 1.0

fills a folder the way a capture program does, for a watch in another terminal.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from qc.errors import UsageError
from qc.reading import Level
from qc.rehearse._jpeg import jpeg_of
from qc.rehearse.bottles import Bottles, next_set
from qc.rehearse.counter import file_names
from qc.rehearse.deliver import WRITERS, Write, at_once
from qc.rehearse.faults import BETWEEN, Fault, Planted, places, shortest
from qc.rehearse.shoot import sheet_text
from qc.rehearse.shot import Shot
from qc.rehearse.studio import LABEL_Z, Studio
from qc.rehearse.truth import Truth

SIZE = (400, 600)
"""Rows and columns of a day's frames where nothing else is asked for: small, made and measured in a tenth of a
second."""

HEADS: Mapping[str, float] = {"key": 1.2, "fill": 1.6, "backdrop": 4.2}
"""A bright set: the middle of the sweep lies at saturation, as a white sweep is meant to, and gloss burns."""

QUIET: Mapping[str, float] = {"lamp": 0.04, "window": 0.04, "screen": 0.5}
"""What is left of the room on a dark set."""

APERTURE = 11.0

BUDGETS: Mapping[str, float] = {"shoulder and rim": 4.5, "bottle behind": 2.0}
"""% of the frame that may burn in the boxes round the bottles: burnt sweep lies in them as well."""

FLASH_STOPS = 0.03
"""How far a head's flash may lie above or below its nominal power."""

SERIAL = "SB-2027"
START = "2026-11-25T09:40:00.000+01:00"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planned:
    """One press of the shutter, before it is made.

    Attributes
    ----------
    name : str
        File name.
    taken : str
        Local time with its offset.
    bottles : tuple of Bottle
        What stands on the set.
    setup : int
        Counts the set-ups; grain and specks belong to it.
    noise : int
        Which of the noise patterns.
    heads, room : mapping of str to float
        Powers.
    planted : Planted or None
        The fault, and what ought to be said of it.
    aperture : float
        f-number.
    """

    name: str
    taken: str
    bottles: Bottles
    setup: int
    noise: int
    heads: Mapping[str, float]
    room: Mapping[str, float] = field(default_factory=lambda: QUIET)
    planted: Planted | None = None
    aperture: float = APERTURE

    @property
    def level(self) -> Level:
        """What a watch without a sheet ought to say; `unjudged` where it ought to keep quiet."""
        return Level.UNJUDGED if self.planted is None else self.planted.level

    @property
    def level_with_sheet(self) -> Level:
        """The same under the set sheet of `day_sheet`; `clear` where it ought to keep quiet.

        From 1,200 columns on; in smaller frames the label's sharpness cannot be read, which is a note by itself.
        """
        if self.aperture < APERTURE and self.heads:
            return Level.HALT  # the label burns
        return Level.CLEAR if self.planted is None else self.planted.level_with_sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Delivered:
    """One frame that is in the folder: what was planned, where it is, what is true of it."""

    planned: Planned
    path: Path
    truth: Truth


def plan(
    seed: int = 1,
    frames: int = 60,
    faults: Sequence[Fault] = (),
    *,
    room: Mapping[str, float] = QUIET,
    between: int = BETWEEN,
    first: int = 1,
    left_out: Collection[int] = (),
) -> tuple[Planned, ...]:
    """Return a day, frame after frame in the order taken.

    Parameters
    ----------
    seed : int
        The same seed gives the same day.
    frames : int
        How many presses of the shutter; those of the faults counted.
    faults : sequence of Fault
        What to plant, each at a place of its own with ordinary frames around it, in this order.
    room : mapping of str to float
        The room's light all day.
    between : int
        Ordinary frames after each fault.
    first, left_out
        The counter in the file names, as `qc.rehearse.counter.file_names` takes them.

    Returns
    -------
    tuple of Planned

    Raises
    ------
    UsageError
        When the faults do not fit into so few frames.
    """
    rng = np.random.default_rng([seed, 4])
    planted = places(frames, faults, rng, between)
    setups = _setups(frames, planted, rng)
    day: list[Planned] = []
    moment, aperture = datetime.fromisoformat(START), APERTURE
    for number, name in zip(range(frames), file_names(first, left_out), strict=False):
        plant = planted.get(number)
        flash = {name: power * 2 ** rng.uniform(-FLASH_STOPS, FLASH_STOPS) for name, power in HEADS.items()}
        heads, lamps = (flash, room) if plant is None else plant.light(flash, room)
        aperture = aperture if plant is None or plant.aperture is None else plant.aperture
        planned = Planned(
            name=name,
            taken=moment.isoformat(timespec="milliseconds"),
            bottles=setups[number][1],
            setup=setups[number][0],
            noise=number,
            heads=heads,
            room=lamps,
            planted=plant,
            aperture=aperture,
        )
        copied = plant is not None and plant.fault is Fault.COPY
        day.append(replace(day[-1], name=planned.name, planted=plant) if copied else planned)
        moment += timedelta(milliseconds=round(1000 * float(rng.uniform(6, 20))))
    return tuple(day)


def day_sheet(size: tuple[int, int] = SIZE) -> str:
    """Return the set sheet of the day."""
    return sheet_text(Studio(size=size), BUDGETS)


def shoot_day(
    day: Sequence[Planned],
    folder: Path,
    write: Write = at_once,
    *,
    size: tuple[int, int] = SIZE,
    wait: Callable[[float], object] | None = None,
) -> Iterator[Delivered]:
    """Make the frames of a day and put them into a folder, one after the other.

    Parameters
    ----------
    day : sequence of Planned
        Of `plan`, or a part of it.
    folder : Path
        Where to; it exists.
    write : callable
        How the bytes of a file get there (`qc.rehearse.deliver`).
    size : (int, int)
        Rows and columns.
    wait : callable or None
        Called with the seconds since the frame before, as taken, before each is written.

    Yields
    ------
    Delivered
        As soon as it is in the folder; the caller drops the truth when it has read it.
    """
    studio: Studio | None = None
    before = day[0].taken if day else START
    for planned in day:
        if studio is None or studio.bottles is not planned.bottles:
            studio = Studio(seed=planned.setup + 1, size=size, bottles=planned.bottles)
        shot = _shoot(studio, planned)
        if wait is not None:
            wait((datetime.fromisoformat(planned.taken) - datetime.fromisoformat(before)).total_seconds())
        before = planned.taken
        _deliver(shot, folder / planned.name, planned.planted, write)
        yield Delivered(planned=planned, path=folder / planned.name, truth=shot.truth)


def _deliver(shot: Shot, path: Path, plant: Planted | None, write: Write) -> None:
    fault = None if plant is None else plant.fault
    data = shot.encode()
    if fault is Fault.PAIR:
        write(jpeg_of(shot), path.with_suffix(".jpg"))
    write(data[: int(0.6 * len(data))] if fault is Fault.CUT else data, path)


def _setups(frames: int, planted: Mapping[int, Planted], rng: np.random.Generator) -> list[tuple[int, Bottles]]:
    """Return number and bottles of each frame's set-up; one holds for a few frames and never ends with a fault.

    Nor shortly before a weak flash: what changed with the bottles, no picture could tell from other light.
    """
    kept = {at - before for at, plant in planted.items() if plant.fault is Fault.WEAK for before in range(1, 4)}
    setups: list[tuple[int, Bottles]] = []
    last, bottles, left = -1, None, 0
    for number in range(frames):
        if bottles is None or (left <= 0 and number not in planted and number not in kept):
            last, bottles, left = last + 1, next_set(bottles, rng), int(rng.integers(3, 9))
        setups.append((last, bottles))
        left -= 1
    return setups


def _shoot(studio: Studio, planned: Planned) -> Shot:
    shot = studio.frame(
        heads=planned.heads,
        room=planned.room,
        focus=LABEL_Z + (planned.planted.focus_back if planned.planted else 0.0),
        aperture=planned.aperture,
        noise=planned.noise,
        taken=planned.taken,
    )
    return replace(shot, camera=replace(shot.camera, serial=SERIAL))  # the studio's serial is that of its set-up


def main(arguments: Sequence[str] | None = None) -> int:
    """Fill a folder with a rehearsed day, for a watch in another terminal."""
    parser = _parser()
    given = parser.parse_args(arguments)
    try:
        faults = [Fault(name.strip()) for name in given.faults.split(",") if name.strip()]
        day = plan(given.seed, given.frames or max(60, shortest(faults)), faults)
        _make_room(given.folder, day)
    except (UsageError, ValueError, OSError) as error:
        parser.error(str(error))
    size = (given.columns * 2 // 3, given.columns)
    slow = 1 / given.pace if given.pace > 0 else 0.0
    for delivered in shoot_day(
        day, given.folder, WRITERS[given.write], size=size, wait=lambda s: time.sleep(slow * s)
    ):
        planted = delivered.planned.planted
        said = f"  {planted.about}" if planted else ""
        sys.stdout.write(f"{delivered.planned.taken[11:19]}  {delivered.path.name}{said}\n")
        sys.stdout.flush()
    return 0


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python -m qc.rehearse.day", description=main.__doc__)
    parser.add_argument("folder", type=Path, help="made when it does not exist; no file in it is replaced")
    parser.add_argument("--frames", type=int, default=0, help="60, or what the faults need")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--faults", default=",".join(Fault), help="what to plant, with commas; all unless told")
    parser.add_argument(
        "--pace", type=float, default=1.0, help="1 as it was shot, 10 ten times as fast, 0 no pause"
    )
    parser.add_argument("--write", choices=list(WRITERS), default="in pieces")
    parser.add_argument("--columns", type=int, default=SIZE[1], help="width of the frames in pixels")
    return parser


def _make_room(folder: Path, day: Sequence[Planned]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    there = [planned.name for planned in day if (folder / planned.name).exists()]
    if there:
        raise UsageError(f"{folder}: {there[0]} is there already; name another folder")


if __name__ == "__main__":
    sys.exit(main())
