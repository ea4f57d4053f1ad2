"""The watch's clerk: every result and event goes through here into the log, onto the desk and out to people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

from qc.errors import printable
from qc.event import Event, now
from qc.intake import filing
from qc.intake.arrivals import Arrivals
from qc.intake.desk import Desk
from qc.intake.heart import Heart
from qc.intake.ledger import Ledger
from qc.intake.placing import Arrived, Clock, Used, captured, events_of, place_of
from qc.intake.updates import Done, Judged, Update
from qc.log.keys import limits_digest
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.series.make import entry_of

BY_OTHERS = ("role", "answered", "accepted", "undone")
"""Kinds of events that other commands write into the log of a running watch."""


class Clerk:
    """Keeps log and desk of one watch in step.

    Parameters
    ----------
    ledger, desk, arrivals, heart
        Of the watch.
    specs : sequence of Spec
        The measurements.
    """

    def __init__(
        self, ledger: Ledger, desk: Desk, arrivals: Arrivals, heart: Heart, *, specs: Sequence[Spec]
    ) -> None:
        self._ledger = ledger
        self._desk = desk
        self._arrivals = arrivals
        self._roster = arrivals.roster
        self._heart = heart
        self._specs = specs
        self._clock = Clock()
        self._heard = 0
        self._said: list[tuple[int, Event]] = []

    def say(self, event: Event) -> Iterator[Update]:
        """Log an event and tell it: what was told is in the log, whatever happens next."""
        told = self._ledger.event(event)
        yield event
        yield from told

    def recall(self) -> Iterator[Update]:
        """Take up what earlier watches logged, and finish what a command left half done."""
        _, told = self._ledger.read(filing.settle)
        yield from told
        entries, told = self._ledger.read(lambda log: list(log.entries(self._specs)))
        yield from told
        self._desk.load(entries or ())
        arrivals, told = self._ledger.read(lambda log: log.arrivals())
        yield from told
        for path, stamp, content in arrivals or ():
            self._arrivals.know(path, stamp, content)
        if (recalled := self._desk.recalled()) is not None:
            yield recalled

    def hear(self) -> Iterator[Update]:
        """Take up roles, answers and acceptances that other commands logged; flush what waits for the log."""
        if self._ledger.state == "lost":
            yield from self._ledger.flush()
        new, told = self._ledger.read(lambda log: log.events(self._heard, BY_OTHERS))
        yield from told
        if not new:
            return
        first = not self._said
        self._heard = new[-1][0]
        self._said += new
        if not first or self._heart.beating:
            for _, event in new:
                yield event
        yield from self._desk.restated(self._desk.heard(self._said))

    def lost(self, arrived: Arrived, why: str) -> Iterator[Update]:
        """Tell that a worker was lost over a capture."""
        name = Path(arrived.path).name
        text = f"{printable(name)}: {why}"
        yield from self.say(Event(kind="worker_lost", at=now(), text=text, name=name, level=Level.NOTE))

    def left_incomplete(self, result: Result) -> Iterator[Update]:
        """Tell that a capture stayed incomplete; its verdict follows."""
        file = result.file
        text = f"{printable(file.name)} stayed incomplete and nothing writes to it any more"
        event = Event(kind="left_incomplete", at=now(), text=text, name=file.name, content=file.content)
        yield from self.say(event)

    def tell(
        self, arrived: Arrived, result: Result, used: Used, *, took_s: float = 0.0, complaints: str = ""
    ) -> Iterator[Update]:
        """Log a capture and tell it, unless its content was told before."""
        place = place_of(self._roster, arrived.path, arrived.stamp, result.file.content)
        self._roster.remember(arrived.path, arrived.stamp, place.content)
        filed = captured(
            arrived,
            result,
            used,
            place,
            specs=self._specs,
            took_s=took_s,
            complaints=complaints,
            clock=self._clock,
        )
        result, order, light = filed.result, filed.order, filed.light
        yield from self._ledger.add(filed)
        before = self._desk.day.entry(place.before) if place.before else None
        was_whole = before is None or before.state == "whole"
        for event in events_of(self._roster, arrived.path, place, was_whole=was_whole):
            yield from self.say(event)
        if place.twin is not None or place.before == place.content:
            return
        self._heart.came(result.file.name, result.file.bytes)
        changed = [standing for old in place.replaced for standing in self._desk.replaced(old)]
        flash = used.sheet is None or used.sheet.light == "flash"
        entry = entry_of(result, content=place.content, order=order, light=light, specs=self._specs, flash=flash)
        changed += self._desk.put(entry)
        own = self._desk.day.standing(place.content)
        assert own is not None
        yield Judged(result=result, standing=own)
        yield from self._restated(changed, without=place.content)

    def tested(self, dark: str, lit: str, done: Done, used: Used) -> Iterator[Update]:
        """Log an ambient test that the watch ran, and tell what it makes of its dark frame."""
        if done.result is None:
            yield from self.say(
                Event(kind="worker_lost", at=now(), text=f"ambient test: {done.lost}", content=dark)
            )
            return
        result = done.result
        text = self._desk.figures(result, Path(self._roster.path_of(lit) or "").name)
        limits = limits_digest(used.sheet, used.preset, self._specs)
        yield from self._ledger.write(
            lambda log: log.add_ambient(
                result,
                dark=dark,
                lit=lit,
                limits=limits,
                sheet=used.sheet,
                sheet_text=used.text,
                text=text,
                took_s=done.took_s,
            )
        )
        yield from self._restated(self._desk.tested(dark, lit, result, text))

    def _restated(self, standings: Sequence[Standing], *, without: str = "") -> Iterator[Update]:
        yield from self._desk.restated(s for s in standings if s.content != without)
