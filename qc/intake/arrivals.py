"""Captures on their way: from what stands in the folder to what is to be measured next, and to what counts."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Literal

from qc.errors import printable
from qc.event import Event, now
from qc.intake.placing import Arrived
from qc.intake.queue import Waiting
from qc.intake.roster import Roster
from qc.intake.scan import stamp_of
from qc.intake.settle import LOCAL, NETWORK, Release, Settle
from qc.intake.source import Source
from qc.intake.updates import Stamp
from qc.intake.writer import peek
from qc.reading import Level
from qc.result import Result


class Arrivals:
    """What stands in the folder, what of it is complete, and what waits to be measured.

    Parameters
    ----------
    folder : Path
        The watched folder.
    poll_s : float or None
        Seconds between two listings where no notices are to be relied on; found out when None.
    """

    def __init__(self, folder: Path, *, poll_s: float | None = None) -> None:
        self.roster = Roster(folder)
        self._folder = folder
        self._source = Source(folder, poll_s=poll_s)
        self._settle = Settle(NETWORK if self._source.network else LOCAL)
        self._waiting = Waiting()
        self._files: dict[str, Stamp] = {}
        self._firsts: dict[str, tuple[str, int]] = {}
        """When each capture that is not told yet was first seen, and its number."""
        self._there_at_start: set[str] = set()
        self._out: dict[str, Arrived] = {}
        self._held: dict[str, tuple[Arrived, Result]] = {}
        """Results that do not count yet: incomplete files, and those whose writer nobody knows."""
        self._time = 0.0
        self._number = 0
        self._well = True
        self._quiet_joins = False
        self._unsaid: list[Event] = []

    def know(self, path: str, stamp: Stamp | None, content: str | None) -> None:
        """Take up a capture that an earlier watch logged."""
        self.roster.remember(path, stamp, content)
        if stamp is not None:
            self._settle.know(path, stamp)

    def start(self, time: float) -> Iterator[Event]:
        """Begin to listen and take up what is there already; yields what has to be told."""
        self._source.start()
        yield from self._list(time, first=True)

    def stop(self) -> None:
        """Stop listening."""
        self._source.stop()

    @property
    def wakeup(self) -> object:
        """Something to wait for that is ready when there may be news."""
        return self._source.wakeup

    @property
    def waiting(self) -> int:
        """How many captures are complete and not handed out."""
        return len(self._waiting)

    @property
    def arriving(self) -> tuple[str, ...]:
        """Names of captures that have been incomplete for some time."""
        return tuple(Path(path).name for path in self._settle.arriving)

    @property
    def folder_state(self) -> Literal["well", "lost"]:
        """Whether the folder can be read."""
        return "well" if self._well else "lost"

    def look(self, time: float) -> Iterator[Event]:
        """Look at the folder if there is reason to, and let what is complete wait for its turn."""
        if self._source.rest_s() <= 0:
            yield from self._list(time)
        for path in self._settle.asks(time) if self._well else ():
            word, stamp = peek(self._folder / path, network=self._source.network)
            if stamp is None:
                self._gone(time, path)
            else:
                self._settle.seen(time, path, stamp)
                self._settle.writer(time, path, word)
        for due in self._settle.due():
            if self._is_joined(due.path, due.stamp):
                continue
            at, number = self._firsts[due.path]
            fresh = due.path not in self._there_at_start
            self._out[due.path] = Arrived(path=due.path, stamp=due.stamp, at=at, number=number)
            self._waiting.put(due.path, due.stamp, arrived=due.since if fresh else None)
        for path in self._settle.tell(time):
            tried = self._held.get(path)
            why = tried[1].file.detail if tried is not None else None
            self._say("arriving", path, f"{printable(Path(path).name)} is arriving: {why or 'not complete yet'}")
        unsaid, self._unsaid = self._unsaid, []
        yield from unsaid

    def take(self) -> Arrived | None:
        """Return the capture whose turn it is, or None."""
        while (taken := self._waiting.take()) is not None:
            path, stamp = taken
            if self._settle.wanted(path, stamp):
                return self._out[path]
        return None

    def again(self, arrived: Arrived) -> None:
        """Let a capture wait once more: its worker was lost."""
        self._out[arrived.path] = arrived
        self._waiting.put(arrived.path, arrived.stamp, arrived=float("inf"))

    def accept(self, time: float, arrived: Arrived, result: Result, *, final: bool = False) -> bool:
        """Tell whether a result counts: the file is complete and still the one that was measured."""
        path = arrived.path
        if self._out.get(path) != arrived:
            return False  # of what stood there before; the newer one is being measured
        after = stamp_of(self._folder / path)
        if after is None:
            self._gone(time, path)
            return False
        self._held[path] = arrived, result
        if not self._settle.measured(time, path, arrived.stamp, after, result.file.state, final=final):
            return False
        self._told(path)
        return not self._is_joined(path, arrived.stamp)

    def released(self) -> Iterator[tuple[Arrived, Result, Release]]:
        """Yield the results that count now, later than when they came."""
        for release in self._settle.released():
            arrived, result = self._held[release.path]
            self._told(release.path)
            if not self._is_joined(release.path, release.stamp):
                yield arrived, result, release

    def pause(self, time: float) -> float:
        """Return the seconds until something is to be looked at again."""
        asked = self._settle.next_time()
        until_asked = float("inf") if asked is None or not self._well else asked - time
        return max(0.0, min(self._source.rest_s(), until_asked))

    def _list(self, time: float, *, first: bool = False) -> Iterator[Event]:
        scan = self._source.scan()
        self._time = time
        yield from scan.events
        self._well = scan.folder_ok
        if not scan.folder_ok:
            return  # nothing is known of the files: they are not gone
        start = len(os.path.join(self._folder, ""))  # noqa: PTH118 - with the separator at its end
        there = {path[start:]: stamp for path, stamp in scan.files.items()}
        for path in (gone[start:] for gone in scan.gone):
            self.roster.gone(path)
            self._gone(time, path)
        for path in there.keys() - self._files.keys():
            self.roster.present(path)
        changed = [path for path, stamp in there.items() if self._files.get(path) != stamp]
        self._files |= there
        if first:
            self._there_at_start = set(changed)
            self._quiet_joins = True
        else:
            self._there_at_start.difference_update(changed)
        for path in sorted(changed):
            self._changed(time, path, there[path])
        self._quiet_joins = False

    def _changed(self, time: float, path: str, stamp: Stamp) -> None:
        if self.roster.knows(path, stamp):
            if self.roster.content_of(path) is not None:  # what was there before has come back
                self._settle.seen(time, path, stamp)
            return
        if self._is_joined(path, stamp):
            return
        if path not in self._firsts:
            self._number += 1
            self._firsts[path] = now(), self._number
        self._settle.seen(time, path, stamp)

    def _is_joined(self, path: str, stamp: Stamp) -> bool:
        """Tell whether a finished picture belongs to a raw that is here too: the raw is the capture then."""
        raw = self.roster.raw_of(path)
        if raw is None:
            return False
        content = self.roster.content_of(raw)
        if content is not None and not self._quiet_joins and not self.roster.is_known(path):
            names = [printable(Path(one).name) for one in (path, raw)]
            self._say("joined", path, f"{names[0]} belongs to {names[1]}", content=content)
        self.roster.remember(path, stamp, None)
        self._settle.know(path, stamp)
        self._settle.seen(self._time, path, stamp)  # closes it where it was open
        self._told(path)
        return True

    def _gone(self, time: float, path: str) -> None:
        self._waiting.drop(path)
        self._files.pop(path, None)  # should it come back as it was, it is new once more
        if self._settle.gone(time, path) and self._folder.is_dir():
            self._told(path)
            text = f"{printable(Path(path).name)} went away before it was measured"
            self._say("vanished", path, text, level=Level.NOTE)

    def _say(
        self, kind: str, path: str, text: str, *, content: str | None = None, level: Level | None = None
    ) -> None:
        name = Path(path).name
        self._unsaid.append(Event(kind=kind, at=now(), text=text, name=name, content=content, level=level))

    def _told(self, path: str) -> None:
        self._there_at_start.discard(path)
        for kept in (self._firsts, self._out, self._held):
            kept.pop(path, None)
