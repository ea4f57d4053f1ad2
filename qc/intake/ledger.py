"""The log as a watch needs it: losing it never stops the measuring, and what was missing is added later."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Literal, TypeVar

from qc.errors import LogError, printable
from qc.event import Event, now
from qc.log.log import Log
from qc.log.rows import Captured
from qc.reading import Level

Answer = TypeVar("Answer")

RETRY_S = 10.0
"""Seconds between two tries at a log that cannot be written: one that somebody else holds makes each try wait for
seconds (`qc.log`), and captures are measured in between. Our own choice."""

DIGESTS_KEPT = 50
"""How many captures that could not be logged keep their picture in memory (about 2 MB each); readings and verdicts
of all of them are kept, and are written when the log is well again."""


class Ledger:
    """The log behind a watch.

    Parameters
    ----------
    out : Path
        Folder of the log.
    """

    def __init__(self, out: Path) -> None:
        self._out = out
        self._log: Log | None = None
        self._waiting: deque[Captured | Callable[[Log], object]] = deque()
        self._trouble: str | None = None
        self._gap: Event | None = None
        self._first: tuple[int, Event] | None = None
        """The first event that this ledger wrote, with its number: by it the log is known again."""
        self._retry_at = float("-inf")

    @property
    def state(self) -> Literal["well", "lost"]:
        """Whether the log can be written."""
        return "lost" if self._trouble else "well"

    def add(self, captured: Captured) -> list[Event]:
        """Log a capture, now or as soon as that is possible; returns what has to be told."""
        self._waiting.append(captured)
        return self.flush()

    def write(self, act: Callable[[Log], object]) -> list[Event]:
        """Do something else with the log, now or as soon as that is possible."""
        self._waiting.append(act)
        return self.flush()

    def event(self, event: Event) -> list[Event]:
        """Put an event into the timeline."""

        def put(log: Log) -> None:
            number = log.event(event)
            self._first = self._first or (number, event)

        return self.write(put)

    def flush(self, *, now_or_never: bool = False) -> list[Event]:
        """Write what could not be written before; call it now and then while the log is lost.

        Parameters
        ----------
        now_or_never : bool
            Try at once, however short ago the last try was.
        """
        told: list[Event] = []
        if self._trouble and not now_or_never and time.monotonic() < self._retry_at:
            self._thin_out()
            return told
        try:
            log = self._opened()
            while self._waiting:
                first = self._waiting[0]
                if isinstance(first, Captured):
                    told += log.add(first)
                else:
                    first(log)
                self._waiting.popleft()
            told += self._well(log)
        except LogError as error:
            self._thin_out()
            told += self._lost(error)
        return told

    def read(self, ask: Callable[[Log], Answer]) -> tuple[Answer | None, list[Event]]:
        """Ask the log something; None without it, and what has to be told."""
        told = self.flush()
        if self._trouble:
            return None, told
        try:
            return ask(self._opened()), told
        except LogError as error:
            return None, [*told, *self._lost(error)]

    def close(self) -> list[Event]:
        """Write what can be written and let go of the file."""
        told = self.flush(now_or_never=True)
        if self._log is not None:
            self._log.close()
            self._log = None
        return told

    def _opened(self) -> Log:
        if self._log is None:
            self._log = Log.open(self._out)
        return self._log

    def _lost(self, error: LogError) -> list[Event]:
        if self._log is not None:
            self._log.close()  # opened again at the next try: the file may be another one by then
            self._log = None
        self._retry_at = time.monotonic() + RETRY_S
        told = self._trouble
        self._trouble = str(error)
        if told is not None:
            return []
        self._gap = Event(
            kind="log_lost", at=now(), text=f"not logged, measuring goes on: {error}", level=Level.WARN
        )
        return [self._gap]

    def _well(self, log: Log) -> list[Event]:
        """Put the gap into the timeline once it is over."""
        if self._gap is None:
            return []
        text, level = "the log is written again; what was missing has been added", None
        if not self._is_ours(log):
            text = f"a new log begins in {printable(self._out)}: what was logged before this gap is not in it"
            level = Level.WARN
        back = Event(kind="log_back", at=now(), text=text, level=level)
        log.event(self._gap)
        log.event(back)
        self._trouble = self._gap = None
        return [back]

    def _is_ours(self, log: Log) -> bool:
        if self._first is None:
            return True
        number, event = self._first
        found = log.events(number - 1, (event.kind,))
        return bool(found) and found[0] == (number, event)

    def _thin_out(self) -> None:
        captures = [i for i, item in enumerate(self._waiting) if isinstance(item, Captured)]
        for i in captures[:-DIGESTS_KEPT]:
            item = self._waiting[i]
            assert isinstance(item, Captured)
            if item.result.digest is not None:
                self._waiting[i] = replace(item, result=replace(item.result, digest=None))
