"""The day on the watch's desk: the folds over its captures, roles and answers as given, ambient tests to run."""

from __future__ import annotations

from dataclasses import replace
from collections.abc import Iterable, Iterator, Sequence

from qc.errors import printable
from qc.event import Event
from qc.intake.updates import Restated
from qc.judge import spoken_phrase
from qc.log.said import Said, said
from qc.reading import Spec
from qc.result import Result
from qc.series.entry import Entry, Purpose, Standing
from qc.series.run import Day
from qc.series.pairs import pairs
from qc.sheet.limits import Place

NO_FLASH = "no_flash"
"""Code of the series' finding of a frame that the flash did not light."""

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
        self._dark: dict[str, str | None] = {}
        """Content of each frame without flash, and of the lit frame it was tested or is being tested against."""
        self.day = Day(specs)

    def load(self, entries: Iterable[Entry]) -> None:
        """Take up what was logged before this watch began."""
        for entry in entries:
            self._note_dark(self.day.put(entry))
            if entry.content in self._dark:
                self._dark[entry.content] = entry.ambient_lit

    def put(self, entry: Entry) -> list[Standing]:
        """Add a capture; returns the standings that are new or changed, its own among them."""
        purpose = self._said.purposes.get(entry.content, entry.purpose)
        changed = self.day.put(_with(entry, purpose, self._said.answered.get(entry.content, frozenset())))
        self._note_dark(changed)
        if self._test and purpose is None and entry.content in self._dark:
            changed = _newest([*changed, *self.day.change(entry.content, purpose=Purpose.DARK)])
        return changed

    def replaced(self, content: str) -> list[Standing]:
        """Drop a capture that another one stands for now."""
        self._dark.pop(content, None)
        return self.day.drop(content)

    def heard(self, events: Sequence[tuple[int, Event]]) -> list[Standing]:
        """Take up every role and answer given so far; returns the standings that changed."""
        before, self._said = self._said, said(events)
        changed: list[Standing] = []
        given = before.purposes.keys() | self._said.purposes | before.answered.keys() | self._said.answered.keys()
        for content in sorted(given):
            if self.day.standing(content) is None:
                continue
            now = self._said.purposes.get(content), self._said.answered.get(content, frozenset())
            if now != (before.purposes.get(content), before.answered.get(content, frozenset())):
                changed += self.day.change(content, purpose=now[0], answered=now[1])
        self._note_dark(changed)
        return _newest(changed)

    def tests_to_run(self) -> Iterator[tuple[str, str]]:
        """Yield dark and lit content of each ambient test that can be run now and was not yet."""
        if not self._dark:
            return
        for dark, lit in pairs(self.day.entries).items():
            if dark in self._dark and self._dark[dark] != lit:
                self._dark[dark] = lit
                yield dark, lit

    def tested(self, dark: str, lit: str, result: Result | None, name: str) -> list[Standing]:
        """Take up an ambient test; `name` is the lit frame's. Without a result it is not tried again."""
        if result is None or self.day.standing(dark) is None:
            return []
        return self.day.change(
            dark, ambient=result.verdict, ambient_text=self.figures(result, name), ambient_lit=lit
        )

    def figures(self, result: Result, name: str) -> str:
        """Return the figures of an ambient test in words."""
        known = {reading.name: reading for spec in self._specs for reading in spec.readings}
        told = [reading for wanted in TOLD if (reading := result.reading(wanted)) is not None]
        words = [spoken_phrase(r, known[r.name]) for r in told if r.value is not None]
        if words:
            return f"{', '.join(words)}, against {printable(name)}"
        reason = next((r.reason.text for r in told if r.reason is not None), "not measured")
        return f"ambient not read against {printable(name)}: {reason}"

    def restated(self, standings: Iterable[Standing]) -> Iterator[Restated]:
        """Yield what has to be told of captures that were told before."""
        names = {entry.content: entry.name for entry in self.day.entries}
        for standing in standings:
            yield Restated(name=names.get(standing.content, ""), standing=standing)

    def purposes(self) -> set[Purpose]:
        """Return the roles that frames of the day have."""
        return {entry.purpose for entry in self.day.entries if entry.purpose is not None}

    def _note_dark(self, standings: Iterable[Standing]) -> None:
        for standing in standings:
            codes: set[str] = {cause.reading for cause in standing.causes}
            given = self._said.purposes.get(standing.content)
            if NO_FLASH in codes or given is Purpose.DARK:
                self._dark.setdefault(standing.content, None)
            else:
                self._dark.pop(standing.content, None)


def _with(entry: Entry, purpose: Purpose | None, answered: frozenset[Place]) -> Entry:
    return replace(entry, purpose=purpose, answered=entry.answered | answered)


def _newest(standings: Sequence[Standing]) -> list[Standing]:
    return list({standing.content: standing for standing in standings}.values())
