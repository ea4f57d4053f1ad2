"""Numbers of a camera's counter that no capture of the day has, with the reason where the log knows one."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby, pairwise
from pathlib import PurePath
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.reading import Level
from qc.series.wrap.counter import counter_of
from qc.series.wrap.findings import (
    COUNTER_RESTARTED,
    NUMBERS_EXPLAINED,
    NUMBERS_MISSING,
    NUMBERS_SPARSE,
    finding,
)
from qc.series.wrap.sequence import FAR, Frame, Run, Step, runs_of
from qc.words import counted

if TYPE_CHECKING:
    from qc.day import Day, DayFinding

WHY: Mapping[str, str] = {
    "vanished": "went away before it was measured",
    "left_incomplete": "stayed incomplete",
    "arriving": "was still incomplete when it was last looked at",
    "worker_lost": "could not be measured: a worker was lost over it",
}
"""What an event says of a capture that never came into the log, by the event's kind."""

_TAKEN_AWAY = "was replaced by another capture"

_SPARSE = 3
"""Gaps from which a run that has more steps with one than without is a selection. Our own choice."""

_AT_MOST = 3
"""Places that one sentence names."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Gap:
    """Numbers in a row that no capture has.

    Attributes
    ----------
    first, last : str
        Names of the first and last of them, without a suffix, as the operating system gives names.
    count : int
        How many.
    why : str or None
        What the log knows of them, to be said behind the name; None where it knows nothing.
    before, after : str
        Contents of the captures on both sides.
    body : str
        Of which camera; empty where no file records one.
    """

    first: str
    last: str
    count: int
    why: str | None
    before: str
    after: str
    body: str

    @property
    def names(self) -> str:
        """The numbers in words: "SB_0013 to SB_0015"."""
        first, last = printable(self.first), printable(self.last)
        return first if self.count == 1 else f"{first} {'and' if self.count == 2 else 'to'} {last}"

    @property
    def text(self) -> str:
        """The gap in words: "SB_0013 to SB_0015 missing: 3 frames"."""
        return f"{self.names} {self.why}" if self.why else f"{self.names} missing: {counted(self.count, 'frame')}"


def gaps(day: Day) -> tuple[Gap, ...]:
    """Return what is missing in the counters of a day, in the order of the runs and of their counters.

    A gap of more than `FAR` numbers, or one whose far side was taken before its near side, is a counter that was
    set anew or another card: it is not here (`missing` says it). Nor are the numbers of a run that lacks some at
    more than half of its steps, and numbers that the same body used under another name meanwhile.
    """
    runs = runs_of(day)
    every = [(run, _gaps(run, runs, day)) for run in runs]
    return tuple(gap for run, found in every if not _is_sparse(run, found) for gap in found)


def missing(day: Day) -> Iterator[DayFinding]:
    """Yield what there is to say of the counters of a day."""
    runs = runs_of(day)
    several = len({run.body for run in runs}) > 1
    for run in runs:
        whose = f" ({printable(run.body)})" if several and run.body else ""
        yield from _of_gaps(run, runs, day, whose)
        yield from _of_restarts(run, whose)
    yield from _of_runs(runs)


def _of_gaps(run: Run, runs: tuple[Run, ...], day: Day, whose: str) -> Iterator[DayFinding]:
    found = _gaps(run, runs, day)
    if _is_sparse(run, found):
        count = sum(gap.count for gap in found)
        text = (
            f"{_span(run)}{whose}: {counted(count, 'number')} in {counted(len(found), 'place')} without a capture"
        )
        said = f"{text}: a selection, or no counter; none is called missing"
        yield finding(NUMBERS_SPARSE, Level.NOTE, said, _contents(run), missing=count, body=run.body)
        return
    for gap in found:
        code, level = (NUMBERS_EXPLAINED, Level.NOTE) if gap.why else (NUMBERS_MISSING, Level.WARN)
        data = {"first": gap.first, "last": gap.last, "count": gap.count, "why": gap.why, "body": gap.body}
        yield finding(code, level, gap.text + whose, dict.fromkeys((gap.before, gap.after)), **data)


def _is_sparse(run: Run, found: list[Gap]) -> bool:
    unexplained = sum(gap.why is None for gap in found)
    return unexplained >= _SPARSE and unexplained > (len(run.by_number) - 1) / 2


def _gaps(run: Run, runs: tuple[Run, ...], day: Day) -> list[Gap]:
    known = _known_of(day)
    steps = [step for step in run.steps() if step.goes_on and step.apart > 1]
    return [gap for step in steps for gap in _gaps_of(run, step, known, _elsewhere(run, step, runs))]


def _gaps_of(run: Run, step: Step, known: Mapping[tuple[str, int], str], elsewhere: set[int]) -> Iterator[Gap]:
    counter = step.before[-1].counter
    left = [(place, number) for place, number in enumerate(run.between(step)) if number not in elsewhere]
    whys = [known.get((counter.key, number)) for _, number in left]
    # what numbers in a row have in common: the reason, and how many have been passed over so far
    passed = [place - rank for rank, (place, _) in enumerate(left)]
    for (why, _), row in groupby(zip(whys, passed, left, strict=True), key=lambda one: one[:2]):
        inside = [number for _, _, (_, number) in row]
        yield Gap(
            first=counter.name(inside[0]),
            last=counter.name(inside[-1]),
            count=len(inside),
            why=why,
            before=step.before[-1].content,
            after=step.after[0].content,
            body=run.body,
        )


def _elsewhere(run: Run, step: Step, runs: tuple[Run, ...]) -> set[int]:
    """Return the numbers that the same body gave to frames of another name between the two of a step."""
    start, end = step.before[-1].place, step.after[0].place
    others = [other for other in runs if other is not run and other.body == run.body]
    return {f.number for other in others for f in other.frames if f.time is not None and start < f.place < end}


def _known_of(day: Day) -> dict[tuple[str, int], str]:
    """Return what the log knows of numbers, by what their names have in common."""
    gone = [(one.result.file.name, _TAKEN_AWAY) for one in day.replaced]
    told = [(event.name, WHY[event.kind]) for _, event in day.events if event.kind in WHY and event.name]
    named = [(counter_of(PurePath(name).name), why) for name, why in (*gone, *told)]
    return {(counter.key, counter.number): why for counter, why in named if counter is not None}


def _of_restarts(run: Run, whose: str) -> Iterator[DayFinding]:
    stretches = run.stretches()
    pairs = [(before[-1], after[0]) for before, after in pairwise(stretches)]
    if pairs:
        places = [f"{printable(a.name)} to {printable(b.name)}" for a, b in pairs]
        text = f"the counter{whose} jumps from {_listed(places)} (by more than {FAR}, or back): it was set anew,"
        text += " or another card was put in; no number between is called missing"
        contents = dict.fromkeys(frame.content for pair in pairs for frame in pair)
        jumps = [[a.name, b.name] for a, b in pairs]
        yield finding(COUNTER_RESTARTED, Level.NOTE, text, contents, jumps=jumps, body=run.body)


def _of_runs(runs: tuple[Run, ...]) -> Iterator[DayFinding]:
    """Yield where a counter starts over with numbers that were used before."""
    kin: dict[tuple[str, str], list[Run]] = defaultdict(list)
    for run in runs:
        kin[run.body, run.frames[0].counter.key].append(run)
    for of_one in kin.values():
        for before, after in pairwise(of_one):
            ends: tuple[Frame, Frame] = before.frames[-1], after.frames[0]
            names = [printable(frame.name) for frame in ends]
            text = f"after {names[0]} the counter starts again at {names[1]}, with numbers that were used before"
            contents = [frame.content for frame in ends]
            jumps = [[frame.name for frame in ends]]
            yield finding(COUNTER_RESTARTED, Level.NOTE, text, contents, jumps=jumps, body=after.body)


def _span(run: Run) -> str:
    frames = [frame for stretch in run.stretches() for frame in stretch]
    return f"{printable(frames[0].name)} to {printable(frames[-1].name)}"


def _contents(run: Run) -> dict[str, None]:
    return dict.fromkeys(frame.content for frame in run.frames)


def _listed(places: list[str]) -> str:
    more = len(places) - _AT_MOST
    return "; ".join(places[:_AT_MOST]) + (f" and {more} more" if more > 0 else "")
