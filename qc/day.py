"""A day as reports and hand-off files read it: every capture with its result and standing, and the day's findings.

Made from a log alone; captures are not needed. Types and one reader.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from qc.event import Event
from qc.log.log import Log
from qc.log.rows import Logged
from qc.reading import Level, Spec
from qc.series.entry import Entry, Standing
from qc.series.run import fold


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """One capture of the day that one of its paths still holds.

    Attributes
    ----------
    logged : Logged
        As the log holds it: result with its current verdict, paths, ambient test, complaints.
    entry : Entry
        As the folds see it: purpose, answers.
    standing : Standing
        What the day makes of it.
    """

    logged: Logged
    entry: Entry
    standing: Standing


@dataclass(frozen=True, slots=True, kw_only=True)
class DayFinding:
    """Something about the day, or about several captures together.

    Attributes
    ----------
    code : str
        A fixed word, listed with its meaning in `qc.series.wrap.FINDINGS`.
    level : Level
        ``note``, ``warn`` or ``halt``.
    text : str
        One sentence for people.
    contents : tuple of str
        The captures it is about, in the order taken.
    data : mapping
        JSON-ready figures behind it.
    """

    code: str
    level: Level
    text: str
    contents: tuple[str, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Day:
    """A whole day.

    Attributes
    ----------
    captures : tuple of Taken
        In the order taken.
    replaced : tuple of Logged
        Captures that no path holds any more.
    findings : tuple of DayFinding
        Worst first (`qc.series.wrap`); empty until they were asked for.
    events : tuple of (int, Event)
        The timeline with the events' numbers.
    """

    captures: tuple[Taken, ...]
    replaced: tuple[Logged, ...] = ()
    findings: tuple[DayFinding, ...] = ()
    events: tuple[tuple[int, Event], ...] = ()

    def capture(self, content: str) -> Taken | None:
        """Return one capture by what it is known by, or None."""
        return next((taken for taken in self.captures if taken.entry.content == content), None)


def read_day(log: Log, *, specs: Sequence[Spec]) -> Day:
    """Read a day from its log.

    Parameters
    ----------
    log : Log
        Open.
    specs : sequence of Spec
        The measurements.

    Raises
    ------
    LogError
        When the log cannot be read.
    """
    entries = {entry.content: entry for entry in log.entries(specs)}
    logged = {one.content: one for one in log.captures()}
    standings = fold(entries.values(), specs=specs)
    return Day(
        captures=tuple(
            Taken(logged=_light(logged[s.content]), entry=entries[s.content], standing=s) for s in standings
        ),
        replaced=tuple(one for content, one in logged.items() if content not in entries),
        events=tuple(log.events()),
    )


def _light(logged: Logged) -> Logged:
    """Drop the tile means, which the entry holds too."""
    return replace(logged, light=None)
