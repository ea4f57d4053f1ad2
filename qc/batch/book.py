"""`Book`: log and roster of a day as its check uses them: what is known, what has to be done, what was done.

It knows nothing of workers. Each capture is one transaction; whatever ends the process, the next check goes on.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from enum import Enum
from pathlib import Path

from qc.batch.work import Answer
from qc.errors import printable
from qc.event import Event, now
from qc.intake.intent import Intent
from qc.intake.names import is_raw
from qc.intake.placing import Arrived, Clock, Place, Used, captured, events_of, place_of
from qc.intake.roster import Roster
from qc.intake.updates import Stamp
from qc.log.keys import Key, key_of, limits_digest
from qc.log.log import Log
from qc.log.rows import Judged
from qc.pipeline import rejudge
from qc.reading import Level, Spec
from qc.result import FileFacts, Result

UNREAD = "unread:"
"""How a capture is known that could not be read: see `qc.log.keys.known_as`."""


class Need(Enum):
    """What has to be done for a capture of the folder."""

    NOTHING = "measured and judged as the sheet says now"
    JUDGE = "measured as the sheet says now, judged by other limits"
    MEASURE = "to be measured"


class Book:
    """What is known of the captures of one folder.

    Parameters
    ----------
    log : Log
        Open.
    folder : Path
        The folder.
    files : mapping of str to Stamp
        What stands in it, by path relative to it.
    intent : Intent
        Of the folder.
    preset, mosaic
        As `qc.batch.check.check_day` takes them; in `used`.
    specs : sequence of Spec
        The measurements.
    """

    def __init__(
        self, log: Log, folder: Path, files: Mapping[str, Stamp], intent: Intent, used: Used, specs: Sequence[Spec]
    ) -> None:
        self._log = log
        self._folder = folder
        self._files = files
        self._intent = intent
        self._used = used
        self._specs = specs
        self._states: dict[str, list[tuple[Stamp | None, str]]] = {}
        self._of_size: dict[int, set[str]] = {}
        self._seen: set[str] = set()
        self._digests: dict[str | None, tuple[Key, str]] = {}
        self._clock = Clock()
        self.roster = Roster(folder)
        for path in files:
            self.roster.present(path)
        for path, stamp, content in log.arrivals():
            self._know(path, stamp, content)

    def used(self, path: str) -> Used:
        """Return what a capture is measured and judged by."""
        sheet = self._intent.for_capture(self._folder / path)
        return replace(self._used, sheet=sheet, text=self._intent.text_of(sheet))

    def captures(self) -> Iterator[tuple[Arrived, Need]]:
        """Yield each capture of the folder with what has to be done for it; what belongs to a raw is none."""
        for number, (path, stamp) in enumerate(sorted(self._files.items())):
            if self._belongs_to_a_raw(path):
                if not self.roster.knows(path, stamp):  # else it was a capture before its raw came
                    self.roster.remember(path, stamp, None)
                continue
            arrived = Arrived(path=path, stamp=stamp, at=_came(stamp), number=number)
            yield (
                arrived,
                self._need(arrived, self.used(path)),
            )  # its sheet is looked up, so that a bad one is told

    def same_size(self, arrived: Arrived) -> frozenset[str]:
        """Return the contents in the log that a file could hold, by its size; none where its content is known."""
        if self._content_of(arrived) is not None:
            return frozenset()
        return frozenset(self._of_size.get(arrived.stamp.size, ()))

    def judge(self, arrived: Arrived, file: FileFacts | None = None) -> Sequence[Event] | None:
        """Judge a capture from the log by the limits that hold now, and log it.

        Parameters
        ----------
        arrived : Arrived
            The capture.
        file : FileFacts or None
            Of a file that was read anew; None for one whose content is known by its stamp.

        Returns
        -------
        sequence of Event or None
            What has to be told; None when it was not measured as it has to be now.
        """
        content = file.content if file is not None else self._content_of(arrived)
        assert content is not None, "only what is known by its stamp, or was read, is judged"
        twin = self.roster.twin_of(arrived.path, content)  # the same is judged by the sheet it was judged by
        used = self.used(arrived.path if twin is None or file is None else twin)
        result = self._log.measured(self._key(content, used))
        if result is None:
            return None
        path = self._folder / arrived.path
        facts = replace(result.file, path=str(path), name=path.name, bytes=arrived.stamp.size)
        result = replace(rejudge(result, used.sheet, preset=used.preset), file=facts)
        return self.add(arrived, result, used, Answer())

    def add(
        self, arrived: Arrived, result: Result, used: Used, answer: Answer, events: Sequence[Event] = ()
    ) -> Sequence[Event]:
        """Log a capture in one transaction, with events about it; returns all that has to be told."""
        place = place_of(self.roster, arrived.path, arrived.stamp, result.file.content)
        told = [*events, *self._new_events(arrived, place)]
        self._know(arrived.path, arrived.stamp, place.content)
        filed = captured(
            arrived,
            result,
            used,
            place,
            specs=self._specs,
            took_s=answer.took_s,
            complaints=answer.complaints,
            events=told,
            clock=self._clock,
        )
        return (*told, *self._log.add(filed))

    def gone(self, closed: Iterable[str]) -> Iterator[Event]:
        """Log and yield what is in the log and not in the folder any more, each once.

        Parameters
        ----------
        closed : iterable of str
            Folders in it that could not be read, relative to it: nothing is known of what lies there.
        """
        said = {event.content for _, event in self._log.events(kinds=("gone",))}
        shut = tuple(os.path.join(one, "") for one in closed)  # noqa: PTH118 - with the separator at its end
        for path in self._states:
            content = self.roster.content_of(path)
            if content is None or content in said or path.startswith(shut):
                continue
            if self.present(content) is None:
                said.add(content)
                yield self._say_gone(path, content)

    def present(self, content: str) -> str | None:
        """Return the path of a file of the folder that holds a content, relative to it, or None."""
        path = self.roster.path_of(content)
        return path if path is not None and self.roster.is_present(path) else None

    def _new_events(self, arrived: Arrived, place: Place) -> Iterator[Event]:
        events = events_of(self.roster, arrived.path, place)
        if not self.roster.knows(arrived.path, arrived.stamp):
            return events
        names = {printable(name) for name in self._companions(arrived.path)}
        return (e for e in events if e.kind == "joined" and not any(e.text.startswith(f"{n} ") for n in names))

    def _say_gone(self, path: str, content: str) -> Event:
        name = Path(path).name
        text = f"{printable(path)} is in the log and not in the folder any more"
        event = Event(kind="gone", at=now(), text=text, name=name, content=content, level=Level.NOTE)
        self._log.event(event)
        return event

    def _know(self, path: str, stamp: Stamp | None, content: str) -> None:
        self.roster.remember(path, stamp, content)
        self._states.setdefault(path, []).append((stamp, content))
        if stamp is not None and not content.startswith(UNREAD):
            self._of_size.setdefault(stamp.size, set()).add(content)

    def _content_of(self, arrived: Arrived) -> str | None:
        """Return what a file holds, by its stamp alone."""
        states = reversed(self._states.get(arrived.path, ()))
        return next((content for stamp, content in states if stamp == arrived.stamp), None)

    def _need(self, arrived: Arrived, used: Used) -> Need:
        content = self._content_of(arrived)
        if content is None or (content.startswith(UNREAD) and arrived.stamp.size):
            return Need.MEASURE  # what could not be read is tried again, unless there is nothing in it
        if content in self._seen:  # a second file of it: the first one decides by which sheet it is judged
            return Need.NOTHING
        self._seen.add(content)
        wanted = Judged(key=self._key(content, used), limits=self._limits(used))
        if self._log.judged(content) == wanted:
            return Need.JUDGE if self._has_new_companions(arrived.path) else Need.NOTHING
        return Need.JUDGE if self._log.measured(wanted.key) is not None else Need.MEASURE

    def _belongs_to_a_raw(self, path: str) -> bool:
        raws = [other for other in self.roster.beside(path) if is_raw(other)] if not is_raw(path) else []
        if any(Path(path).name in self._companions(raw) for raw in raws):
            return True  # it was looked into before
        return bool(raws) and self.roster.raw_of(path) is not None

    def _has_new_companions(self, raw: str) -> bool:
        beside = self.roster.beside(raw) if is_raw(raw) else ()
        if {Path(one).name for one in beside} <= set(self._companions(raw)):
            return False
        return not {Path(one).name for one in self.roster.finished_of(raw)} <= set(self._companions(raw))

    def _companions(self, path: str) -> tuple[str, ...]:
        if self.roster.content_of(path) is None:
            return ()
        found = self._log.find(path)
        return found[0].file.companions if found is not None else ()

    def _key(self, content: str | None, used: Used) -> Key:
        return replace(self._of_sheet(used)[0], content=content)

    def _limits(self, used: Used) -> str:
        return self._of_sheet(used)[1]

    def _of_sheet(self, used: Used) -> tuple[Key, str]:
        """Return key and limits that all captures of one sheet have in common."""
        name = used.sheet.digest if used.sheet is not None else None
        if name not in self._digests:
            key = key_of(None, used.sheet, self._specs, mosaic=used.mosaic)
            self._digests[name] = key, limits_digest(used.sheet, used.preset, self._specs)
        return self._digests[name]


def _came(stamp: Stamp) -> str:
    """Return when a file came, as well as it can be told: when it was last written."""
    written = stamp.mtime_ns / 1e9
    try:
        when = min(datetime.fromtimestamp(written).astimezone(), datetime.now().astimezone())
    except (ValueError, OverflowError, OSError):  # a disk that keeps no such time
        return now()
    return when.isoformat(timespec="milliseconds")
