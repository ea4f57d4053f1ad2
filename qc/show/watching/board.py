"""`Board`: what a watch has told so far, folded from its updates, and what each of them gives to say."""

from __future__ import annotations

import time
from bisect import insort
from collections import OrderedDict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from qc.event import Event
from qc.intake.updates import Early, Heartbeat, Judged, Recalled, Restated, Update
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.show.text import clock_of, time_of
from qc.show.watching import words
from qc.show.watching.rows import Mark, Row, is_unread, mark_of, place_of, rows_of, waits
from qc.show.watching.words import NO_TIME, Said

STRIP = 12
"""How many of the last verdicts the strip holds: enough that one odd frame is seen as odd."""

HOLD_S = 2.0
"""Seconds for which a line is held back that only says in other words what was said of its frame: while a watch
catches up, the figures of a dark frame change with each lit one that comes nearer."""

UNSAID = frozenset({"first_look", "series", "joined"})
"""Kinds of events that are no line of their own: the first two are in what is told of their captures, and a JPEG
joins its raw at every frame of such a day."""

LOG_STATE = {"log_lost": True, "log_back": False}
"""Events that tell whether the log is lost, also after the last heartbeat."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A capture that was told.

    Attributes
    ----------
    order : (str, int)
        When it was taken, and its number among those that were told.
    time : str
        When it was taken, ``HH:MM:SS``, or dashes.
    name : str
        File name.
    standing : Standing
        What the day makes of it now.
    at : float or None
        When it was told, by the board's monotonic clock; None for one that an earlier watch logged.
    """

    order: tuple[str, int]
    time: str
    name: str
    standing: Standing
    at: float | None = None

    @property
    def waits(self) -> bool:
        """Whether it waits for an answer."""
        return waits(self.standing)


class Board:
    """The state behind the view of a watch.

    Parameters
    ----------
    specs : sequence of Spec
        The measurements.
    clock : callable
        Gives the time of day as ``HH:MM:SS``.
    now : callable
        Gives seconds that only grow.
    """

    def __init__(
        self,
        specs: Sequence[Spec] = (),
        *,
        clock: Callable[[], str] | None = None,
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self.specs = specs
        self.clock = clock or (lambda: datetime.now().strftime("%H:%M:%S"))
        self.told: OrderedDict[str, Told] = OrderedDict()
        """Captures by content, in the order they were told; first those of earlier watches, as far as known."""
        self.looking: OrderedDict[str, Result] = OrderedDict()
        """First looks at captures of which the rest is being measured, by name."""
        self.beat = Heartbeat()
        self.beat_at = self.clock()
        self.log_lost = False
        """Whether the log cannot be written."""
        self._now = now
        self._count = 0
        self._halts: dict[str, tuple[str, Standing]] = {}
        self._last: list[tuple[tuple[str, int], str]] = []
        """Order and content of the captures on the strip and one before them, in the order taken."""
        self._said: dict[str, Standing] = {}
        """What was last said of each capture."""
        self._held: dict[str, tuple[Restated, float]] = {}
        """What is held back of a capture, and since when."""
        self._handled: set[Mark] = set()
        self._heard: set[tuple[str, str, str]] = set()

    @property
    def open(self) -> dict[str, tuple[str, Standing]]:
        """What nobody answered, by content: halts, oldest first, then files that could not be read."""
        unread = {key: (one.name, one.standing) for key, one in self.told.items() if is_unread(one.standing)}
        return self._halts | unread

    def take(self, update: Update) -> list[Said]:
        """Take up an update; returns what is to be said of it, if anything."""
        if isinstance(update, Early):
            self.looking[update.result.file.name] = update.result
            return []
        if isinstance(update, Judged):
            return [self._measured(update)]
        if isinstance(update, Restated):
            return self._restated(update)
        if isinstance(update, Recalled):
            return self._recalled(update)
        if isinstance(update, Heartbeat):
            return self._beaten(update)
        return self._event(update)

    def strip(self) -> list[Level]:
        """Return the levels of the last captures, in the order taken."""
        return [told.standing.level for told in self.last()]

    def last(self) -> list[Told]:
        """Return the last captures, in the order taken."""
        return [self.told[content] for _, content in self._last[-STRIP:]]

    def before(self, told: Told) -> Standing | None:
        """Return what the day makes of the capture taken before one of the last, as far as it is known."""
        return self._before(told.order)

    def looked_at(self) -> Result | None:
        """Return the newest first look, where it is at a capture taken after all that were told."""
        if not self.looking:
            return None
        result = next(reversed(self.looking.values()))
        latest = self._last[-1][0][0] if self._last else ""
        return result if (result.camera.settings.taken or latest) >= latest else None

    def open_rows(self) -> list[Row]:
        """Return what is open, oldest first, frames with the same first cause together."""
        return rows_of(self.open.values())

    def open_beside(self, content: str) -> list[Row]:
        """Return what is open besides one capture, halts first and the newest first of all, in rows."""
        others = [named for key, named in reversed(self.open.items()) if key != content]
        return rows_of(sorted(others, key=lambda named: named[1].level is not Level.HALT))

    def alarms(self) -> list[Row]:
        """Return what waits for an answer, the newest taken first, frames with the same first cause together."""
        waiting = [one for one in self.told.values() if one.waits]
        newest_first = sorted(waiting, key=lambda one: one.order, reverse=True)
        told = [(one.name, one.standing) for one in newest_first]
        earlier = [named for content, named in reversed(self._halts.items()) if content not in self.told]
        return rows_of((name, own) for name, own in (*told, *earlier) if mark_of(own) not in self._handled)

    def newest(self) -> Row | None:
        """Return the frame taken last, where it does not wait for an answer: one that does is among the alarms."""
        last = self.last()
        return [(last[-1].name, last[-1].standing)] if last and not last[-1].waits else None

    def asked(self) -> list[Row]:
        """Return what people are asked about: what waits for an answer, then the newest frame."""
        newest = self.newest()
        return [*self.alarms(), *([newest] if newest is not None else [])]

    def handled(self, standings: Iterable[Standing], events: Iterable[Event]) -> None:
        """Note that alarms were acted on from here: they are offered no more, the events are not said twice."""
        self._handled.update(map(mark_of, standings))
        self._heard.update((event.kind, event.at, event.text) for event in events)

    def unhandled(self, events: Iterable[Event]) -> None:
        """Note that something was taken back."""
        self._handled.clear()
        self._heard.update((event.kind, event.at, event.text) for event in events)

    def levels(self, *, before: bool = False) -> dict[str, tuple[str, Level]]:
        """Return name and level of each capture of this watch, or of those known from before it, by content."""
        told = {key: one for key, one in self.told.items() if (one.at is None) is before}
        return {content: (one.name, one.standing.level) for content, one in told.items()}

    def open_before(self) -> list[str]:
        """Return the names of open halts of captures that this watch did not tell, oldest first."""
        told = self.levels()
        return [name for content, (name, _) in self._halts.items() if content not in told]

    # -- updates

    def _measured(self, update: Judged) -> Said:
        result, standing = update.result, update.standing
        self.looking.pop(result.file.name, None)
        for content in {standing.content, result.replaces}:
            self._drop(content)
        taken = result.camera.settings.taken
        told = self._put(result.file.name, standing, taken=taken, time=time_of(result), at=self._now())
        return words.of_capture(result, standing, self.specs, self._before(told.order))

    def _recalled(self, update: Recalled) -> list[Said]:
        for standing in update.standings:
            taken = update.taken.get(standing.content)
            self._put(update.names.get(standing.content, ""), standing, taken=taken, time=clock_of(taken))
        return []

    def _put(
        self,
        name: str,
        standing: Standing,
        *,
        taken: str | None = None,
        time: str = NO_TIME,
        at: float | None = None,
    ) -> Told:
        # a frame without a recorded time has its place after those that are there when it comes
        latest = self._last[-1][0][0] if self._last else ""
        self._count += 1
        told = Told(order=(taken or latest, self._count), time=time, name=name, standing=standing, at=at)
        self.told[standing.content] = told
        self._said[standing.content] = standing
        insort(self._last, (told.order, standing.content))
        del self._last[: -STRIP - 1]
        self._set_halt(name, standing)
        return told

    def _drop(self, content: str | None) -> None:
        if content is not None and self.told.pop(content, None) is not None:
            self._halts.pop(content, None)
            self._held.pop(content, None)
            self._last = [(order, other) for order, other in self._last if other != content]

    def _before(self, order: tuple[str, int]) -> Standing | None:
        earlier = [content for place, content in self._last if place < order]
        return self.told[earlier[-1]].standing if earlier else None

    def _restated(self, update: Restated) -> list[Said]:
        standing = update.standing
        content = standing.content
        self._set_halt(update.name, standing)
        if (told := self.told.get(content)) is not None:
            self.told[content] = replace(told, standing=standing)
        said = self._said.get(content)
        if said is not None and (said.level, place_of(said)) == (standing.level, place_of(standing)):
            self._held[content] = update, self._held.get(content, (update, self._now()))[1]
            return []
        return self._say_again(update)

    def _say_again(self, update: Restated) -> list[Said]:
        content = update.standing.content
        self._held.pop(content, None)
        was, self._said[content] = self._said.get(content), update.standing
        told = self.told.get(content)
        said = words.of_restated(told.time if told is not None else NO_TIME, update.name, update.standing, was)
        return [said] if said is not None else []

    def _say_held(self, *, since_s: float) -> list[Said]:
        due = [update for update, at in self._held.values() if self._now() - at >= since_s]
        return [said for update in due for said in self._say_again(update)]

    def _beaten(self, beat: Heartbeat) -> list[Said]:
        self.beat, self.beat_at = self._with_last_taken(beat), self.clock()
        self.log_lost = beat.log == "lost"
        self._halts = {s.content: (beat.names.get(s.content, ""), s) for s in beat.open_halts}
        if beat.waiting:
            return []
        self.looking.clear()  # what was looked at and is not waiting will not be told: a duplicate, say
        return self._say_held(since_s=HOLD_S)

    def _with_last_taken(self, beat: Heartbeat) -> Heartbeat:
        """Return a heartbeat that names the frame taken last: a watch that catches up tells older ones later."""
        last = self.told[self._last[-1][1]] if self._last else None
        if last is None or last.name == beat.last_name:
            return beat
        return replace(beat, last_name=last.name, last_age_s=None if last.at is None else self._now() - last.at)

    def _set_halt(self, name: str, standing: Standing) -> None:
        if standing.level is Level.HALT:
            self._halts[standing.content] = name, standing
        else:
            self._halts.pop(standing.content, None)

    def _event(self, event: Event) -> list[Said]:
        held = self._say_held(since_s=0.0) if event.kind == "ended" else []
        if event.kind in LOG_STATE:
            self.log_lost = LOG_STATE[event.kind]
        mark = event.kind, event.at, event.text
        if event.kind in UNSAID or mark in self._heard:
            self._heard.discard(mark)
            return held
        return [*held, words.of_event(event)]
