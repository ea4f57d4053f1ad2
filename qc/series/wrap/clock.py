"""The camera's clock against its counter, and frames that it gave no time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.reading import Level
from qc.series.wrap.findings import CLOCK_BACKWARDS, NO_TIME, finding
from qc.series.wrap.sequence import Frame, Run, Step, runs_of
from qc.series.wrap.times import recorded
from qc.words import counted

if TYPE_CHECKING:
    from qc.day import Day, DayFinding


def clock(day: Day) -> Iterator[DayFinding]:
    """Yield where a frame with the next number was taken earlier, and which frames have no time."""
    for run in runs_of(day):
        back = [step for step in run.steps() if step.apart == 1 and not step.rolled and step.goes_back]
        if back:
            yield _backwards(run, back)
    yield from _without(day)


def _backwards(run: Run, back: list[Step]) -> DayFinding:
    ends = [(step.before[-1], step.after[0]) for step in back]
    text = f"the clock runs backwards: {_place(*ends[0])}"
    if len(ends) > 1:
        text += f", and at {counted(len(ends) - 1, 'other place')}"
    contents = dict.fromkeys(frame.content for pair in ends for frame in pair)
    places = [[frame.name for frame in pair] for pair in ends]
    return finding(CLOCK_BACKWARDS, Level.WARN, text, contents, places=places, body=run.body)


def _place(before: Frame, after: Frame) -> str:
    assert before.time is not None
    assert after.time is not None, "a step goes back where both times are known"
    earlier = before.time - after.time
    said = f"{printable(after.name)} has a time {_spoken(round(earlier.total_seconds()))} before"
    return f"{said} that of {printable(before.name)}"


def _spoken(seconds: int) -> str:
    days, rest = divmod(seconds, 86400)
    parts = (counted(days, "day"), f"{rest // 3600} h", f"{rest // 60 % 60} min", f"{rest % 60} s")
    amounts = (days, rest // 3600, rest // 60 % 60, rest % 60)
    shown = [part for part, amount in zip(parts, amounts, strict=True) if amount]
    return " ".join(shown[:2])


def _without(day: Day) -> Iterator[DayFinding]:
    """Yield the frames whose file is whole and that have no time; of others nobody knows."""
    timeless = [t.entry for t in day.captures if t.entry.state == "whole" and recorded(t.entry) is None]
    if timeless:
        names = [printable(entry.name) for entry in timeless]
        more = f" and {counted(len(names) - 1, 'other frame')}" if len(names) > 1 else ""
        have, stand = ("have", "they stand where they") if more else ("has", "it stands where it")
        text = f"{names[0]}{more} {have} no recorded time: {stand} arrived"
        yield finding(NO_TIME, Level.NOTE, text, [entry.content for entry in timeless])
