"""Decodes counted across processes, and checks of a day that run beside the test."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import Any, TypeVar

import qc.decode
from qc.batch.check import DayCheck, Told
from qc.batch.pool import WorkerPool
from qc.batch.work import Task
from qc.event import Event
from qc.intake.updates import Judged

Value = TypeVar("Value")

COMMAND = "from tests.batch.counting import main; main()"  # by its name, so that workers can import it

DIES = "dies"
"""Part of the names of captures over which a worker is killed, as often as their last digit says."""


class Counting(Executor):
    """An executor that has each decode noted in a file, wherever it happens.

    Parameters
    ----------
    inner : Executor
        What does the work.
    notes : Path
        The file; one line a decode, with the name of the capture.
    """

    def __init__(self, inner: Executor, notes: Path) -> None:
        self.inner = inner
        self.notes = notes
        self.submitted: list[Task] = []

    def submit(self, fn: Callable[..., Value], /, *args: Any, **kwargs: Any) -> Future[Value]:
        self.submitted += args
        assert not kwargs
        return self.inner.submit(counted, fn, str(self.notes), *args)


def counted(fn: Callable[[Task], Value], notes: str, task: Task) -> Value:
    """Do a task, noting each decode; die over a capture whose name asks for it."""
    decode = qc.decode.decode

    def noted(loaded: Any, *args: Any, **kwargs: Any) -> Any:
        name = Path(os.fsdecode(loaded.path)).name
        note(notes, name)
        if DIES in name and decodes(Path(notes))[name] <= int(Path(name).stem[-1]):
            os.kill(os.getpid(), signal.SIGKILL)
        return decode(loaded, *args, **kwargs)

    qc.decode.decode = noted
    try:
        return fn(task)
    finally:
        qc.decode.decode = decode


def note(notes: str, line: str) -> None:
    """Append a line whole, whoever else does the same."""
    handle = os.open(notes, os.O_WRONLY | os.O_APPEND | os.O_CREAT)
    try:
        os.write(handle, os.fsencode(line) + b"\n")
    finally:
        os.close(handle)


def decodes(notes: Path) -> Counter[str]:
    """Return how often each capture was decoded."""
    return Counter(os.fsdecode(notes.read_bytes()).splitlines()) if notes.exists() else Counter()


class Checked:
    """What a check told, and what it decoded.

    Parameters
    ----------
    folder : Path
        The captures.
    notes : Path
        A file for the decodes; emptied.
    how
        As `DayCheck` takes them.
    """

    def __init__(self, folder: Path, notes: Path, *, workers: int = 2, **how: Any) -> None:
        notes.unlink(missing_ok=True)
        with WorkerPool(workers) as pool:
            self.executor = Counting(pool, notes)
            self.check = DayCheck(folder, executor=self.executor, jobs=workers, **how)
            self.told: list[Told] = list(self.check.run())
        self.decoded = decodes(notes)

    @property
    def measured(self) -> list[Judged]:
        return [told for told in self.told if isinstance(told, Judged)]

    @property
    def names(self) -> list[str]:
        return [told.result.file.name for told in self.measured]

    def events(self, *kinds: str) -> list[Event]:
        return [t for t in self.told if isinstance(t, Event) and (not kinds or t.kind in kinds)]

    def one(self, name: str) -> Judged:
        found = [told for told in self.measured if told.result.file.name == name]
        assert len(found) == 1, f"{name} was told {len(found)} times"
        return found[0]


def check_beside(folder: Path, notes: Path) -> subprocess.Popen[bytes]:
    """Start a check in a process of its own, which notes its decodes."""
    return subprocess.Popen([sys.executable, "-c", COMMAND, str(folder), str(notes)])


def main() -> None:
    """Check a folder with two workers, from the command line."""
    folder, notes = map(Path, sys.argv[1:])
    with WorkerPool(2) as pool:
        for _ in DayCheck(folder, executor=Counting(pool, notes), jobs=2).run():
            pass
