"""The captures that a day's check has to measure: handed out one after the other, filed as their answers come.

A file that looks like one that is being measured waits for it: which of two copies the capture is called by must
not depend on which worker was faster, and the second one has only to be read.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from qc.batch.book import Book
from qc.batch.runs import TRIES
from qc.batch.work import Answer, Task
from qc.container.source import read_pieces
from qc.errors import UsageError, printable
from qc.event import Event, now
from qc.intake.placing import Arrived, Used
from qc.intake.scan import stamp_of
from qc.log.log import Log
from qc.pipeline import unmeasured
from qc.reading import Level

HEAD = 1 << 16
"""Bytes at the start of two files of one size that have to be the same for one to wait for the other."""


class Captures:
    """What is to be measured.

    Parameters
    ----------
    log : Log
        Open.
    book : Book
        Of the folder.
    folder : Path
        The folder.
    todo : iterable of Arrived
        In the order in which they are handed out.
    task : callable
        Makes the piece of work for a path and what it is measured by.

    Attributes
    ----------
    finished : int
        How many are logged, or told why not.
    read : int
        How many of them only had to be read.
    """

    def __init__(
        self,
        log: Log,
        book: Book,
        folder: Path,
        todo: Iterable[Arrived],
        task: Callable[[Sequence[str], Used], Task],
    ) -> None:
        self.finished = self.read = 0
        self._log = log
        self._book = book
        self._folder = folder
        self._todo = deque(todo)
        self._task = task
        self._tries: dict[str, int] = {}
        self._in_hand: dict[str, int] = {}
        """Size of each file that is handed out."""

    def __len__(self) -> int:
        return len(self._todo)

    def take(self) -> tuple[tuple[Arrived, Used], Task] | None:
        """Return the next one with its piece of work; None when there is none at present."""
        arrived = next((one for one in self._todo if not self._waits(one)), None)
        if arrived is None:
            return None
        self._todo.remove(arrived)
        self._in_hand[arrived.path] = arrived.stamp.size
        used = self._book.used(arrived.path)
        task = self._task((arrived.path,), used)
        if arrived.path not in self._tries:
            task = replace(task, known=self._book.same_size(arrived))
        return (arrived, used), task

    def done(self, arrived: Arrived, used: Used, answer: Answer) -> Iterator[Event]:
        """Log a capture, or let it wait for another turn; yields what has to be told.

        Raises
        ------
        UsageError
            When the folder has gone.
        """
        del self._in_hand[arrived.path]
        path = self._folder / arrived.path
        stamp = stamp_of(path)
        if stamp is None:
            yield from self._away(arrived)
        elif stamp != arrived.stamp:
            yield from self._again(replace(arrived, stamp=stamp))
            return
        elif answer.file is not None:
            judged = self._book.judge(arrived, answer.file)
            if judged is None:
                yield from self._again(arrived)
                return
            self.read += 1
            yield from judged
        else:
            yield from self._add(arrived, used, answer, path)
        self._finish(arrived)

    def _waits(self, arrived: Arrived) -> bool:
        """Tell whether a file may hold what one in hand holds."""
        alike = [path for path, size in self._in_hand.items() if size == arrived.stamp.size]
        head = self._head(arrived.path) if alike else b""
        return bool(head) and any(self._head(path) == head for path in alike)

    def _head(self, path: str) -> bytes:
        try:
            with closing(read_pieces(self._folder / path, HEAD)) as pieces:
                return next(pieces, b"")
        except OSError:  # whatever it is, it is said when it is measured
            return b""

    def _add(self, arrived: Arrived, used: Used, answer: Answer, path: Path) -> Sequence[Event]:
        lost, result = answer.lost, answer.result
        if result is not None and result.file.state == "vanished":
            lost = "cannot be seen from where it was to be measured"
        if result is not None and lost is None:
            return self._book.add(arrived, result, used, answer)
        event = _about(arrived.path, "worker_lost", f"was not measured: {lost}", Level.NOTE)
        result = unmeasured(path, str(lost), size=arrived.stamp.size)
        return self._book.add(arrived, result, used, answer, (event,))

    def _away(self, arrived: Arrived) -> Iterator[Event]:
        if not self._folder.is_dir():
            raise UsageError(
                f"{printable(self._folder)} went away; what was measured is logged, run it again to go on"
            )
        yield self._said(arrived.path, "vanished", "went away before it was measured", Level.NOTE)

    def _again(self, arrived: Arrived) -> Iterator[Event]:
        number = self._tries.get(arrived.path, 1)
        if number < TRIES:
            self._tries[arrived.path] = number + 1
            self._todo.append(arrived)
            return
        yield self._said(arrived.path, "arriving", "is still changing: not measured", Level.WARN)
        self._finish(arrived)

    def _finish(self, arrived: Arrived) -> None:
        self._tries.pop(arrived.path, None)
        self.finished += 1

    def _said(self, path: str, kind: str, what: str, level: Level) -> Event:
        event = _about(path, kind, what, level)
        self._log.event(event)
        return event


def _about(path: str, kind: str, what: str, level: Level) -> Event:
    name = Path(path).name
    return Event(kind=kind, at=now(), text=f"{printable(name)} {what}", name=name, level=level)
