"""What the day asks a person to do about its frames: causes, each with the frames that have it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

from qc.day import Day, Taken
from qc.reading import Level, ReadingSpec, Spec
from qc.result import STATES, Cause
from qc.series.alarms import place_of
from qc.series.findings import ORIGIN, SETTINGS_CHANGED
from qc.series.standing import SEEN
from qc.series.wrap import causes
from qc.show.handoff.table import readings_of
from qc.show.text import clean, time_of

FILE_STATE = "file.state"

RUN = 3
"""Frames one after the other from which on only the first and the last are named."""


@dataclass(frozen=True, slots=True)
class Row:
    """One frame, or several in a row by their ends.

    Attributes
    ----------
    names : str
        File name, or the first and the last.
    when : str
        When they were taken, and how many there are.
    count : int
        How many.
    """

    names: str
    when: str
    count: int = 1

    def __str__(self) -> str:
        return f"{self.names}, {self.when}" if self.when else self.names


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One cause with the frames that have it.

    Attributes
    ----------
    level : Level
        The worst that it has.
    text : str
        As a photographer would say it; of several frames that of the worst.
    frames : tuple of Row
        In the order taken.
    count : int
        How many frames.
    """

    level: Level
    text: str
    frames: tuple[Row, ...]
    count: int


@dataclass(frozen=True, slots=True)
class _Has:
    """One frame that has a cause, and which of the set's frames it is."""

    nth: int
    taken: Taken
    cause: Cause

    @property
    def answered(self) -> bool:
        """Whether a person answered it."""
        return place_of(self.cause) in self.taken.standing.answered


def asks(captures: Sequence[Taken], *, level: Level, specs: Sequence[Spec]) -> tuple[Ask, ...]:
    """Return what stands against the frames of a set at a level.

    Parameters
    ----------
    captures : sequence of Taken
        Of one set, in the order taken.
    level : Level
        Only causes of it. Of a frame that stands at a graver one only what several frames show together is told,
        such as a setting that changed: it may be why. Of what one measurement says of one zone, or of the whole
        frame, only the most important is told: the rest is the same fault in other numbers.
    specs : sequence of Spec
        The measurements.

    Returns
    -------
    tuple of Ask
        In the order of `qc.series.wrap.causes`: what a person must know first comes first.
    """

    def wanted(has: _Has) -> bool:
        of_level = has.taken.standing.level is level or has.cause.origin == ORIGIN
        return of_level and has.cause.level is level and not has.answered

    return tuple(_asks(captures, wanted, specs))


def seen(captures: Sequence[Taken], *, specs: Sequence[Spec]) -> tuple[Ask, ...]:
    """Return what was answered for frames of a set and still stands against them.

    Parameters, and the order, are those of `asks`. What stood at no level is not there: a file that nobody could
    look at is told as that.
    """

    def wanted(has: _Has) -> bool:
        return has.answered and has.cause.level is Level.NOTE

    return tuple(_asks(captures, wanted, specs))


def _asks(captures: Sequence[Taken], wanted: Callable[[_Has], bool], specs: Sequence[Spec]) -> Iterator[Ask]:
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    measurement = {reading.name: spec.name for spec in specs for reading in spec.readings}
    places = {taken.entry.content: (nth, taken) for nth, taken in enumerate(captures)}
    for group in causes(Day(captures=tuple(captures)), specs=specs):
        alike: dict[str, list[_Has]] = {}
        for has in (_Has(*places[content], cause) for content, cause in group.frames):
            if wanted(has) and not _said_before(has, measurement):
                alike.setdefault(_same(has), []).append(has)
        yield from (_ask(group.level, row, known) for row in alike.values())


def runs(captures: Sequence[Taken], wanted: Callable[[Taken], bool]) -> tuple[Row, ...]:
    """Return those frames that are wanted, runs of them by their ends."""
    return _frames([(nth, taken) for nth, taken in enumerate(captures) if wanted(taken)])


def name_of(taken: Taken) -> str:
    """Return a capture's file name on one line."""
    return clean(taken.logged.result.file.name)


def clock_of(taken: Taken) -> str:
    """Return the time of day a capture was taken, ``HH:MM``; empty where the camera recorded none."""
    time = time_of(taken.logged.result)[:5]
    return time if time[:1].isdigit() else ""


def _said_before(has: _Has, measurement: Mapping[str, str]) -> bool:
    """Tell whether a more important cause of the frame says the same of the same place in another number."""
    causes_of = has.taken.standing.causes
    graver = (_Has(has.nth, has.taken, other) for other in causes_of[: causes_of.index(has.cause)])
    return measurement.get(has.cause.reading) is not None and any(
        _kind(other, measurement) == _kind(has, measurement) for other in graver
    )


def _kind(has: _Has, measurement: Mapping[str, str]) -> tuple[object, ...]:
    """Return what two numbers of one fault have in common."""
    return measurement.get(has.cause.reading), has.cause.zone, has.cause.level, has.answered


def _same(has: _Has) -> str:
    """Return what the causes of a group must have in common to be told together."""
    return _said(has) if has.cause.reading in (FILE_STATE, SETTINGS_CHANGED) else ""


def _ask(level: Level, has: Sequence[_Has], known: Mapping[str, ReadingSpec]) -> Ask:
    worst = max(has, key=lambda one: _badness(one, known))
    said = _said(worst)
    if any(_said(one) != said for one in has):
        said += " at worst" if worst.cause.reading in known else ", and the like"
    frames = _frames([(one.nth, one.taken) for one in has])
    return Ask(level=level, text=said, frames=frames, count=len(has))


def _said(has: _Has) -> str:
    if has.cause.reading == FILE_STATE:
        return f"{has.taken.entry.state}: {STATES[has.taken.entry.state]}"
    test, text = has.taken.logged.ambient, clean(has.cause.text)
    if has.answered:
        text = text.removeprefix(SEEN)  # where it stands says so
    of_test = test is not None and any(place_of(cause) == place_of(has.cause) for cause in test.verdict.causes)
    return f"ambient test: {text}" if of_test else text


def _badness(has: _Has, known: Mapping[str, ReadingSpec]) -> float:
    spec, value = known.get(has.cause.reading), value_of(has.taken, has.cause)
    if spec is None or value is None:
        return 0.0
    return abs(value) if spec.worse == "either" else -value if spec.worse == "low" else value


def value_of(taken: Taken, cause: Cause) -> float | None:
    """Return the number behind a cause; None where there is none."""
    found = (r.value for r in readings_of(taken) if (r.name, r.zone) == (cause.reading, cause.zone))
    return next(found, None)


def _frames(frames: Iterable[tuple[int, Taken]]) -> tuple[Row, ...]:
    told: list[Row] = []
    # in a run, place less position stays the same
    for _, group in groupby(enumerate(frames), key=lambda one: one[1][0] - one[0]):
        row = [taken for _, (_, taken) in group]
        told += [_run(row)] if len(row) >= RUN else [Row(name_of(taken), clock_of(taken)) for taken in row]
    return tuple(told)


def _run(row: Sequence[Taken]) -> Row:
    clocks = dict.fromkeys(filter(None, (clock_of(row[0]), clock_of(row[-1]))))
    when = [*(["–".join(clocks)] if clocks else []), f"{len(row)} frames"]
    return Row(f"{name_of(row[0])} to {name_of(row[-1])}", ", ".join(when), len(row))
