"""`Board`: what a watch has told so far, folded from its updates, and what each of them gives to say."""

from __future__ import annotations

from bisect import insort
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from qc.event import Event
from qc.intake.updates import Early, Heartbeat, Measured, Recalled, Restated, Update
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.alarms import ONCE
from qc.series.entry import Standing
from qc.sheet.limits import Place
from qc.show.text import time_of
from qc.show.watching import words
from qc.show.watching.words import Said

STRIP = 12
"""How many of the last verdicts the strip holds: enough that one odd frame is seen as odd."""

UNSAID = frozenset({"first_look", "series", "joined"})
"""Kinds of events that are no line of their own: the first two are in what is told of their captures, and a JPEG
joins its raw at every frame of such a day."""

ALONE = ONCE | {"file.state"}
"""Causes that are something that happened to one frame: two frames with one are two things to answer."""

ALARMS = (Level.HALT, Level.WARN)


Row = list[tuple[str, Standing]]
"""File names and standings of frames that have the same first cause."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A capture that was told: when it was taken, what it is called, what the day makes of it."""

    order: tuple[str, int]
    time: str
    name: str
    standing: Standing


class Board:
    """The state behind the view of a watch.

    Parameters
    ----------
    specs : sequence of Spec
        The measurements.
    clock : callable
        Gives the time of day as ``HH:MM:SS``.
    """

    def __init__(self, specs: Sequence[Spec] = (), *, clock: Callable[[], str] | None = None) -> None:
        self.specs = specs
        self.clock = clock or (lambda: datetime.now().strftime("%H:%M:%S"))
        self.told: OrderedDict[str, Told] = OrderedDict()
        """Captures of this watch, by content, in the order they were told."""
        self.looking: OrderedDict[str, Result] = OrderedDict()
        """First looks at captures of which the rest is being measured, by name."""
        self.open: dict[str, tuple[str, Standing]] = {}
        """Halts that nobody answered, by content, oldest first: name and standing."""
        self.beat = Heartbeat()
        self.beat_at = self.clock()
        self._last: list[tuple[tuple[str, int], str]] = []
        """Order and content of the captures on the strip and one before them, in the order taken."""
        self._handled: set[tuple[str, Place | None]] = set()
        self._heard: set[tuple[str, str, str]] = set()

    def take(self, update: Update) -> Said | None:
        """Take up an update; returns what is to be said of it, if anything."""
        if isinstance(update, Early):
            self.looking[update.result.file.name] = update.result
            return None
        if isinstance(update, Measured):
            return self._measured(update)
        if isinstance(update, Restated):
            return self._restated(update)
        if isinstance(update, Recalled):
            return None
        if isinstance(update, Heartbeat):
            self.beat, self.beat_at = update, self.clock()
            self.open = {s.content: (update.names.get(s.content, ""), s) for s in update.open_halts}
            if not update.waiting:  # what was looked at and is not waiting will not be told: a duplicate, say
                self.looking.clear()
            return None
        return self._event(update)

    def strip(self) -> list[Level]:
        """Return the levels of the last captures, in the order taken."""
        return [self.told[content].standing.level for _, content in self._last[-STRIP:]]

    def open_rows(self) -> list[Row]:
        """Return the open halts, oldest first, those with the same first cause together."""
        return _rows(self.open.values())

    def alarms(self) -> list[Row]:
        """Return what waits for an answer, newest first, frames with the same first cause together."""
        told = [(one.name, one.standing) for one in reversed(self.told.values()) if one.standing.level in ALARMS]
        earlier = [named for content, named in reversed(self.open.items()) if content not in self.told]
        return _rows((name, own) for name, own in (*told, *earlier) if _mark(own) not in self._handled)

    def handled(self, standings: Iterable[Standing], events: Iterable[Event]) -> None:
        """Note that alarms were acted on from here: they are offered no more, the events are not said twice."""
        self._handled.update(map(_mark, standings))
        self._heard.update((event.kind, event.at, event.text) for event in events)

    def unhandled(self, events: Iterable[Event]) -> None:
        """Note that something was taken back."""
        self._handled.clear()
        self._heard.update((event.kind, event.at, event.text) for event in events)

    def levels(self) -> dict[str, tuple[str, Level]]:
        """Return name and level of each capture told, by content."""
        return {content: (one.name, one.standing.level) for content, one in self.told.items()}

    def _measured(self, update: Measured) -> Said:
        result, standing = update.result, update.standing
        self.looking.pop(result.file.name, None)
        # a camera that records no time still gives its frames in the order of their arrival
        order = (result.camera.settings.taken or "~", len(self.told))
        told = Told(order=order, time=time_of(result), name=result.file.name, standing=standing)
        before = self._before(order)
        if result.replaces is not None:
            self._drop(result.replaces)
        self.told[standing.content] = told
        insort(self._last, (order, standing.content))
        del self._last[: -STRIP - 1]
        self._set_open(told.name, standing)
        return words.of_capture(result, standing, self.specs, before)

    def _drop(self, content: str) -> None:
        self.told.pop(content, None)
        self.open.pop(content, None)
        self._last = [(order, other) for order, other in self._last if other != content]

    def _before(self, order: tuple[str, int]) -> Standing | None:
        earlier = [content for place, content in self._last if place < order]
        return self.told[earlier[-1]].standing if earlier else None

    def _restated(self, update: Restated) -> Said | None:
        standing = update.standing
        self._set_open(update.name, standing)
        told = self.told.get(standing.content)
        if told is None:  # of a day that was begun before this watch
            return words.of_restated("--:--:--", update.name, standing, None)
        self.told[standing.content] = replace(told, standing=standing)
        return words.of_restated(told.time, told.name, standing, told.standing)

    def _set_open(self, name: str, standing: Standing) -> None:
        if standing.level is Level.HALT:
            self.open[standing.content] = name, standing
        else:
            self.open.pop(standing.content, None)

    def _event(self, event: Event) -> Said | None:
        mark = event.kind, event.at, event.text
        if event.kind in UNSAID or mark in self._heard:
            self._heard.discard(mark)
            return None
        return words.of_event(event)


def _rows(named: Iterable[tuple[str, Standing]]) -> list[Row]:
    rows: dict[object, Row] = {}
    for name, standing in named:
        place = _place(standing)
        alone = place is None or place[0] in ALONE
        rows.setdefault(_mark(standing) if alone else place, []).append((name, standing))
    return list(rows.values())


def _mark(standing: Standing) -> tuple[str, Place | None]:
    return standing.content, _place(standing)


def _place(standing: Standing) -> Place | None:
    cause = standing.causes[0] if standing.causes else None
    return (cause.reading, cause.zone) if cause is not None else None
