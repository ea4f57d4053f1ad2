"""The captures of a day by the counters of their cameras, and where a counter goes on and where it does not."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from pathlib import PurePath
from typing import TYPE_CHECKING

from qc.series.wrap.bodies import UNKNOWN, bodies_of
from qc.series.wrap.counter import Counter, counter_of
from qc.series.wrap.times import is_earlier, recorded

if TYPE_CHECKING:
    from qc.day import Day

FAR = 200
"""Most numbers in a row that are called missing: more is a restart of the counter or another card. Our own choice;
a card that was pulled too early or a folder that was not copied lacks up to some dozens."""

REPEATS = 3
"""Numbers that must come again, with other pictures, before a counter is taken to have started again. Our own."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One number of a counter and a capture that has it.

    Attributes
    ----------
    counter : Counter
        The number.
    content : str
        The capture.
    place : int
        Where it stands in the day, from 0.
    time : datetime or None
        When it was taken, as recorded; None where that says nothing of the counter.
    sure : bool
        Whether it is a frame of this counter. Others stand for their number and no more: a second file of a
        number, and a file of an unknown body where some body uses its name.
    """

    counter: Counter
    content: str
    place: int
    time: datetime | None
    sure: bool

    @property
    def number(self) -> int:
        """The number."""
        return self.counter.number

    @property
    def name(self) -> str:
        """The file name without its suffix, as the counter gives it."""
        return self.counter.name(self.number)


@dataclass(frozen=True, slots=True, kw_only=True)
class Step:
    """Two numbers of a counter with none between that has a capture.

    Attributes
    ----------
    before, after : tuple of Frame
        All frames of the two numbers.
    apart : int
        From one number to the next; 1 where none is missing.
    rolled : bool
        Whether the counter rolled over between them.
    """

    before: tuple[Frame, ...]
    after: tuple[Frame, ...]
    apart: int
    rolled: bool = False

    @property
    def goes_back(self) -> bool:
        """Whether every frame of the later number was taken before every frame of the earlier one."""
        return all(is_earlier(late.time, early.time) for late in self.after for early in self.before)

    @property
    def goes_on(self) -> bool:
        """Whether the counter went on from one to the other."""
        if self.apart == 1 and not self.rolled:
            return True
        return self.apart <= FAR + 1 and not self.goes_back


@dataclass(frozen=True, slots=True, kw_only=True)
class Run:
    """Frames of one body and one name whose counter never started again.

    Attributes
    ----------
    body : str
        In words; empty where no file records one.
    frames : tuple of Frame
        In the order taken.
    """

    body: str
    frames: tuple[Frame, ...]

    @property
    def by_number(self) -> dict[int, tuple[Frame, ...]]:
        """The frames of each number."""
        numbers: dict[int, list[Frame]] = defaultdict(list)
        for frame in self.frames:
            numbers[frame.number].append(frame)
        return {number: tuple(numbers[number]) for number in sorted(numbers)}

    def steps(self) -> tuple[Step, ...]:
        """Return the steps from each number to the next; with a rollover also from the highest to the lowest."""
        frames = self.by_number
        steps = [Step(before=frames[a], after=frames[b], apart=b - a) for a, b in pairwise(frames)]
        cycle = self._cycle()
        if cycle is not None and len(frames) > 1:
            low, high = min(frames), max(frames)
            apart = low - high + len(cycle)
            steps.append(Step(before=frames[high], after=frames[low], apart=apart, rolled=True))
        return tuple(steps)

    def between(self, step: Step) -> tuple[int, ...]:
        """Return the numbers between the two of a step, in the order counted."""
        numbers = range(step.before[0].number + 1, step.before[0].number + step.apart)
        cycle = self._cycle() if step.rolled else None
        if cycle is None:
            return tuple(numbers)
        return tuple(cycle[(number - cycle[0]) % len(cycle)] for number in numbers)

    def _cycle(self) -> range | None:
        """Return the numbers after which the counter rolls over; None where it just grows longer."""
        widths = {frame.counter.width for frame in self.frames}
        lowest = min(1, *(frame.number for frame in self.frames))
        return range(lowest, 10 ** widths.pop()) if len(widths) == 1 else None

    def stretches(self) -> tuple[tuple[Frame, ...], ...]:
        """Return the frames between the places where the counter does not go on, the earliest stretch first.

        A stretch without a frame that is sure is left out.
        """
        after = {step.before[0].number: step.after[0].number for step in self.steps() if step.goes_on}
        frames = self.by_number
        starts = sorted(frames.keys() - after.values()) or [min(frames)]
        found = [_followed(start, frames, after) for start in starts]
        sure = [stretch for stretch in found if any(frame.sure for frame in stretch)]
        return tuple(sorted(sure, key=lambda stretch: min(frame.place for frame in stretch)))


def runs_of(day: Day) -> tuple[Run, ...]:
    """Return the runs of a day, the earliest first.

    One for each body and name before the counter; a further one where `REPEATS` numbers come again, taken at
    another time. A file whose body is not known counts for every body that uses its name.
    """
    groups = _groups(day)
    runs = [Run(body=body, frames=tuple(run)) for (body, _), frames in groups.items() for run in _split(frames)]
    return tuple(sorted(runs, key=lambda run: (run.frames[0].place, run.body, run.frames[0].name)))


def _groups(day: Day) -> dict[tuple[str, str], list[Frame]]:
    bodies = bodies_of(day)
    found: dict[tuple[str, str], list[Frame]] = defaultdict(list)
    for place, taken in enumerate(day.captures):
        body = bodies[taken.entry.content]
        names = dict.fromkeys((taken.entry.name, *(PurePath(path).name for path in taken.logged.paths)))
        for counter in filter(None, map(counter_of, names)):
            time, sure = None if counter.copy else recorded(taken.entry), not counter.copy
            frame = Frame(counter=counter, content=taken.entry.content, place=place, time=time, sure=sure)
            found[body, counter.key].append(frame)
    groups = {key: frames for key, frames in found.items() if any(frame.sure for frame in frames)}
    for (body, key), frames in list(groups.items()):
        users = [other for other in groups if other[1] == key and other[0] != UNKNOWN]
        if body == UNKNOWN and users:
            del groups[body, key]
            unsure = [replace(frame, time=None, sure=False) for frame in frames]
            for user in users:
                groups[user] = sorted((*groups[user], *unsure), key=lambda frame: frame.place)
    return groups


def _split(frames: Sequence[Frame]) -> list[list[Frame]]:
    runs: list[list[Frame]] = []
    seen: dict[int, datetime | None] = {}
    for frame in frames:
        again = frame.sure and frame.number in seen and is_earlier(seen[frame.number], frame.time)
        if again or not runs:
            runs.append([])
            seen = {}
        runs[-1].append(frame)
        if frame.sure:
            seen.setdefault(frame.number, frame.time)
    merged: list[list[Frame]] = []
    for run in runs:
        repeated = {f.number for f in run} & {f.number for f in merged[-1]} if merged else set()
        if merged and len(repeated) < REPEATS:
            merged[-1] += run
        else:
            merged.append(run)
    return merged


def _followed(start: int, frames: dict[int, tuple[Frame, ...]], after: dict[int, int]) -> tuple[Frame, ...]:
    found = list(frames[start])
    number = after.get(start)
    while number is not None and number != start:
        found += frames[number]
        number = after.get(number)
    return tuple(found)
