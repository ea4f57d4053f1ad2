"""A small loop that joins source, settle machine, writer's question and queue, without measuring anything.

An attempt reads the file and takes it for whole when it ends as `capture` makes them; the watch does the same with
the container check.
"""

from __future__ import annotations

import os
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from multiprocessing.connection import wait
from pathlib import Path

from qc.container import load
from qc.errors import CaptureError
from qc.event import Event
from qc.intake.queue import Waiting
from qc.intake.scan import stamp_of
from qc.intake.settle import LOCAL, Pace, Settle
from qc.intake.source import Source
from qc.intake.updates import Stamp
from qc.intake.writer import peek
from qc.result import State

END = b"-- its end --"
LONGEST_S = 60.0
"""Against hanging only."""


def capture(number: int, size: int = 20_000) -> bytes:
    """Return a file that is whole only with its last bytes, and has none of zeros."""
    body = (f"{number:08d}".encode() * (size // 8 + 1))[:size]
    return body + END


def state_of(path: str) -> State:
    try:
        data = load(path).data
    except CaptureError as error:
        return "vanished" if error.state == "vanished" else "empty" if error.state == "empty" else "unreadable"
    if 0 in data:
        return "damaged"
    return "whole" if data.endswith(END) else "truncated"


@dataclass
class Drive:
    """A watch in small."""

    folder: Path
    poll_s: float | None = None
    blind: bool = False
    pace: Pace = LOCAL
    source: Source = field(init=False)
    settle: Settle = field(init=False)
    accepted: list[tuple[str, Stamp]] = field(default_factory=list)
    contents: dict[str, bytes] = field(default_factory=dict)
    left: list[str] = field(default_factory=list)
    told: list[str] = field(default_factory=list)
    vanished: list[str] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    attempts: Counter[str] = field(default_factory=Counter)
    waiting: Waiting = field(default_factory=Waiting)

    def __post_init__(self) -> None:
        self.source = Source(self.folder, poll_s=self.poll_s)
        self.settle = Settle(self.pace)

    def __enter__(self) -> Drive:
        self.source.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.source.stop()

    def turn(self) -> None:
        """Go round once."""
        time_now = time.monotonic()
        if self.source.rest_s() <= 0:
            scan = self.source.scan()
            self.events += scan.events
            for path in scan.gone:
                self._gone(path)
            for path, stamp in scan.files.items():
                self.settle.seen(time_now, path, stamp)
        for path in self.settle.asks(time_now):
            word, found = peek(path, network=self.blind)
            if found is None:
                self._gone(path)
            else:
                self.settle.seen(time_now, path, found)
                self.settle.writer(time_now, path, word)
        for due in self.settle.due():
            self.waiting.put(due.path, due.stamp, arrived=due.since)
        self._measure_one()
        for release in self.settle.released():
            if release.left:
                self.left.append(release.path)
            else:
                self._accept(release.path, release.stamp)
        self.told += self.settle.tell(time_now)
        self._sleep()

    def until(self, done: Callable[[], bool], *, longest_s: float = LONGEST_S) -> None:
        """Go round until something is true; fail rather than hang."""
        end = time.monotonic() + longest_s
        while not done():
            assert time.monotonic() < end, f"accepted {len(self.accepted)}, attempts {self.attempts}"
            self.turn()

    def idle(self, seconds: float) -> None:
        """Go round for a while."""
        end = time.monotonic() + seconds
        while time.monotonic() < end:
            self.turn()

    def while_writing(self, write: Callable[[], object]) -> None:
        """Go round while a writer works in a thread of its own, and until all is told."""
        failed: list[BaseException] = []

        def work() -> None:
            try:
                write()
            except BaseException as error:  # noqa: BLE001 - handed to the test below
                failed.append(error)

        thread = threading.Thread(target=work)
        thread.start()
        self.until(lambda: not thread.is_alive())
        thread.join()
        assert not failed, failed
        self.idle(0.3)
        self.until(lambda: self.settle.next_time() is None and not self.waiting)

    def kinds(self) -> list[str]:
        return [event.kind for event in self.events]

    def names(self) -> list[str]:
        return sorted(os.path.relpath(path, self.folder) for path, _ in self.accepted)

    def _measure_one(self) -> None:
        while (taken := self.waiting.take()) is not None:
            path, stamp = taken
            if not self.settle.wanted(path, stamp):
                continue
            self.attempts[path] += 1
            state = state_of(path)
            if self.settle.measured(time.monotonic(), path, stamp, stamp_of(path), state):
                self._accept(path, stamp)
            return

    def _accept(self, path: str, stamp: Stamp) -> None:
        self.accepted.append((path, stamp))
        self.contents[path] = load(path).data

    def _gone(self, path: str) -> None:
        if self.settle.gone(time.monotonic(), path):
            self.vanished.append(path)

    def _sleep(self) -> None:
        at = self.settle.next_time()
        rest = min(self.source.rest_s(), LONGEST_S if at is None else max(0.0, at - time.monotonic()), 0.2)
        if not self.waiting:
            wait([self.source.wakeup], rest)
            if self.source.changed() and (more := self.source.rest_s()) > 0:
                time.sleep(min(more, rest))
