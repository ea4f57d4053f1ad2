"""The watch's clerk: every result and event goes through here into the log, onto the desk and out to people."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from qc.errors import printable
from qc.event import Event, now
from qc.intake import filing
from qc.intake.arrivals import Arrivals, Arrived
from qc.intake.desk import Desk
from qc.intake.heart import Heart
from qc.intake.ledger import Ledger
from qc.intake.updates import Done, Measured, Update
from qc.log.keys import key_of, known_as, limits_digest
from qc.log.rows import Captured
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.series.make import entry_of
from qc.series.order import light_of, order_of
from qc.sheet.sheet import Sheet

BY_OTHERS = ("role", "answered", "accepted", "undone")
"""Kinds of events that other commands write into the log of a running watch."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """What a capture was measured and judged by.

    Attributes
    ----------
    sheet : Sheet or None
        The set sheet with its acceptances.
    preset : str or None
        Default limits in place of the sheet's.
    text : str or None
        Text of the sheet and of its acceptances.
    """

    sheet: Sheet | None
    preset: str | None
    text: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """How a new result stands to what is known of its path and content."""

    content: str
    before: str | None
    twin: str | None
    joined: tuple[str, ...]
    replaced: tuple[str, ...]


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
        self._heard = 0
        self._said: list[tuple[int, Event]] = []

    def say(self, event: Event) -> Iterator[Update]:
        """Log an event and tell it."""
        yield event
        yield from self._ledger.event(event)

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
        place = self._place(arrived, result)
        self._roster.remember(arrived.path, arrived.stamp, place.content)
        result = replace(
            result,
            file=replace(result.file, companions=tuple(Path(path).name for path in place.joined)),
            replaces=place.replaced[0] if place.replaced else None,
        )
        order = order_of(result.camera.settings, arrived.at, result.file.name, arrived.number)
        light = light_of(result.digest) if result.digest is not None else None
        captured = Captured(
            result=result,
            path=arrived.path,
            stamp=arrived.stamp,
            key=key_of(place.content, used.sheet, self._specs),
            limits=limits_digest(used.sheet, used.preset, self._specs),
            sheet_text=used.text,
            complaints=complaints,
            light=light,
            order=order,
            took_s=took_s,
            arrived_at=arrived.at,
            replaces=place.replaced,
        )
        yield from self._ledger.add(captured)
        for event in self._events_of(arrived, place):
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
        yield Measured(result=result, standing=own)
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

    def _place(self, arrived: Arrived, result: Result) -> _Place:
        content = known_as(result.file.content, arrived.path, arrived.stamp)
        before = self._roster.content_of(arrived.path)
        joined = self._roster.finished_of(arrived.path)
        kept = before is not None and self._roster.twin_of(arrived.path, before) is not None
        old = dict.fromkeys((None if kept else before, *(self._roster.content_of(path) for path in joined)))
        return _Place(
            content=content,
            before=before,
            twin=self._roster.twin_of(arrived.path, content),
            joined=joined,
            replaced=tuple(content_before for content_before in old if content_before not in (None, content)),
        )

    def _events_of(self, arrived: Arrived, place: _Place) -> Iterator[Event]:
        name = Path(arrived.path).name
        shown = printable(name)

        def event(kind: str, text: str, level: Level | None = None, **data: str) -> Event:
            return Event(kind=kind, at=now(), text=text, name=name, content=place.content, level=level, data=data)

        if place.twin is not None:
            twin = printable(Path(place.twin).name)
            here = self._roster.is_present(place.twin)
            how = f"is {twin} once more" if here else f"is {twin} under another name"
            yield event("duplicate", f"{shown} {how}: not measured again", Level.NOTE, of=place.twin)
        elif place.before not in (None, place.content):
            yield event("new_content", f"{shown} holds another capture than before")
        for path in place.joined:
            yield event("joined", f"{printable(Path(path).name)} belongs to {shown}")
