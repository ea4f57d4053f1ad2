"""The day on the watch's desk: the folds over its captures, roles and answers as given, ambient tests to run."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from qc.errors import printable
from qc.event import Event
from qc.intake.updates import Recalled, Restated
from qc.judge import spoken_phrase
from qc.log.said import Said, said
from qc.reading import Spec
from qc.result import Result
from qc.series.entry import Entry, Purpose, Standing
from qc.series.run import Day

RECALLED = 12
"""How many of the captures that were logged before a watch recalls: what its strip shows."""

TOLD = ("ambient.stops_under", "ambient.worst_stops_under")
"""Readings of an ambient test that its dark frame's line tells."""


class Desk:
    """The captures of the day so far, and what the day makes of each.

    Parameters
    ----------
    specs : sequence of Spec
        The measurements.
    test : bool
        Whether frames without flash are ambient tests by declaration.
    """

    def __init__(self, specs: Sequence[Spec], *, test: bool = False) -> None:
        self._specs = specs
        self._test = test
        self._said = Said()
        self._tested: dict[str, str] = {}
        """Lit content that each dark one was tested, or is being tested, against."""
        self._news = False
        self.day = Day(specs)

    def load(self, entries: Iterable[Entry]) -> None:
        """Take up what was logged before this watch began."""
        for entry in entries:
            self.day.put(entry)
            if entry.ambient_lit is not None:
                self._tested[entry.content] = entry.ambient_lit
        self._news = True

    def put(self, entry: Entry) -> list[Standing]:
        """Add a capture; returns the standings that are new or changed, its own among them."""
        self._news = True
        changed = self.day.put(replace(entry, **self._said.of(entry.content)))
        return _newest([*changed, *self._declared(entry.content)])

    def _declared(self, content: str) -> list[Standing]:
        """Declare a frame dark in a watch for ambient tests, unless it was given another role."""
        if not self._test or content in self._said.purposes or not self.day.is_dark(content):
            return []
        return self.day.change(content, purpose=Purpose.DARK)

    def replaced(self, content: str) -> list[Standing]:
        """Drop a capture that another one stands for now."""
        self._news = True
        return self.day.drop(content)

    def heard(self, events: Sequence[tuple[int, Event]]) -> list[Standing]:
        """Take up every role and answer given so far; returns the standings that changed."""
        self._news = True
        before, self._said = self._said, said(events)
        changed: list[Standing] = []
        for content in sorted(before.contents | self._said.contents):
            now = self._said.of(content)
            if now != before.of(content) and self.day.entry(content) is not None:
                changed += [*self.day.change(content, **now), *self._declared(content)]
        return _newest(changed)

    def recalled(self) -> Recalled | None:
        """Return what was logged before, as far as a screen shows it; None when nothing was."""
        entries = self.day.entries[-RECALLED:]
        if not entries:
            return None
        return Recalled(
            standings=self.day.standings[-RECALLED:],
            names={entry.content: entry.name for entry in entries},
            taken={entry.content: taken for entry in entries if (taken := entry.settings.taken) is not None},
        )

    @property
    def acts(self) -> tuple[Event, ...]:
        """Roles, answers and acceptances that stand now, oldest first."""
        return tuple(event for _, event in self._said.acts)

    def tests_to_run(self) -> Iterator[tuple[str, str]]:
        """Yield dark and lit content of each ambient test that can be run now and was not yet."""
        if not self._news:
            return
        self._news = False
        for dark, lit in self.day.pairs().items():
            if self._tested.get(dark) != lit:
                self._tested[dark] = lit
                yield dark, lit

    def tested(self, dark: str, lit: str, result: Result, text: str) -> list[Standing]:
        """Take up an ambient test of a dark frame with its figures in words."""
        if self.day.entry(dark) is None:
            return []
        return self.day.change(dark, ambient=result.verdict, ambient_text=text, ambient_lit=lit)

    def figures(self, result: Result, lit_name: str) -> str:
        """Return the figures of an ambient test in words."""
        known = {reading.name: reading for spec in self._specs for reading in spec.readings}
        told = [reading for wanted in TOLD if (reading := result.reading(wanted)) is not None]
        words = [spoken_phrase(r, known[r.name]) for r in told if r.value is not None]
        if words:
            return f"{', '.join(words)}, against {printable(lit_name)}"
        reason = next((r.reason.text for r in told if r.reason is not None), "not measured")
        return f"ambient not read against {printable(lit_name)}: {reason}"

    def restated(self, standings: Iterable[Standing]) -> Iterator[Restated]:
        """Yield what has to be told of captures that were told before."""
        for standing in standings:
            entry = self.day.entry(standing.content)
            if entry is not None:
                yield Restated(name=entry.name, standing=standing)

    def purposes(self) -> set[Purpose]:
        """Return the roles that frames of the day have."""
        return {entry.purpose for entry in self.day.entries if entry.purpose is not None}


def _newest(standings: Sequence[Standing]) -> list[Standing]:
    return list({standing.content: standing for standing in standings}.values())
