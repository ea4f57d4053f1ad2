"""`DayCheck`: every capture of a folder measured, judged and logged, what is known already left as it is.

First all captures, then the ambient tests of the dark frames among them, on one executor; then each capture is
told once, in the order taken, with what the day makes of it. Nothing told depends on which worker was faster.
"""

from __future__ import annotations

import os
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from qc.batch.book import Book, Need
from qc.batch.pairs import Test, Tests
from qc.batch.pool import WorkerPool, usual_jobs
from qc.batch.progress import Progress
from qc.batch.runs import TRIES, run
from qc.batch.work import Answer, Task
from qc.errors import UsageError, printable
from qc.event import Event, now
from qc.intake import filing
from qc.intake.intent import Intent
from qc.intake.place import folders
from qc.intake.placing import Arrived, Used
from qc.intake.scan import Listing, list_folder, stamp_of
from qc.intake.updates import Measured
from qc.log.log import Log
from qc.measure import specs as all_specs
from qc.pipeline import unmeasured
from qc.reading import Level
from qc.series.run import fold

if TYPE_CHECKING:
    from qc.decode import MosaicHint

Told = Measured | Event
"""What a check tells."""

About = TypeVar("About")


class DayCheck:
    """The check of one folder.

    Parameters
    ----------
    folder : path
        Folder of the captures, with the folders below it. Nothing is ever written there.
    sheet : path or None
        The set sheet; found for each capture as `qc.sheet.find` says when None.
    preset : str or None
        Default limits; goes before the sheet's.
    out : path or None
        Where log and digests are, those of the watch; ``FOLDER.qc`` beside the folder when None.
    jobs : int or None
        Pieces of work at a time; as many as the machine has cores and memory for when None.
    executor : Executor or None
        Any executor that hands on what `pickle` takes; it is not shut down. Processes of our own when None.
    decoder, mosaic
        As for `qc.pipeline.measure_capture`.
    on_progress : callable or None
        Called with a `Progress` at least twice a second while there is work.

    Raises
    ------
    UsageError
        When there is no such folder, or `out` would lie in it.
    SheetError
        When a sheet for the whole folder has mistakes.
    """

    def __init__(
        self,
        folder: str | os.PathLike[str],
        *,
        sheet: str | os.PathLike[str] | None = None,
        preset: str | None = None,
        out: str | os.PathLike[str] | None = None,
        jobs: int | None = None,
        executor: Executor | None = None,
        decoder: str = "auto",
        mosaic: MosaicHint | None = None,
        on_progress: Callable[[Progress], None] | None = None,
    ) -> None:
        self.folder, self.out = folders(folder, out)
        if decoder != "auto":
            from qc.decode import raw_decoder

            raw_decoder(decoder)  # one that is not installed is said once, not for each capture
        self.specs = tuple(all_specs())
        self.intent = Intent(self.folder, self.out, sheet=Path(sheet) if sheet else None, preset=preset)
        self.progress = Progress(done=0, total=0, known=0, elapsed_s=0.0)
        self.stopped = self.complete = False
        self._used = Used(sheet=None, preset=preset, text=None, mosaic=mosaic)
        self._decoder = decoder
        self._executor = executor
        self._jobs = jobs or usual_jobs()
        self._on_progress = on_progress or (lambda _: None)
        self._began = 0.0

    def stop(self) -> None:
        """Begin nothing more: what is being measured is finished and logged, then `run` ends. From anywhere."""
        self.stopped = True

    def run(self) -> Iterator[Told]:
        """Check the folder.

        Yields
        ------
        Measured or Event
            Events as things happen; when all is measured, a `Measured` for each capture in the folder, in the
            order taken, its result as the log has it: the digest is there (`Log.digest`). When stopped before
            that, no capture is told.

        Raises
        ------
        UsageError
            When the folder cannot be read, or the executor does not work any more.
        LogError
            When the log cannot be read or written; what is logged stays.
        """
        listing = self._list()
        with Log.open(self.out) as log, ExitStack() as workers:
            filing.settle(log)
            files = {self._inside(path): stamp for path, stamp in listing.files.items()}
            book = Book(log, self.folder, files, self.intent, self._used, self.specs)
            todo, events = self._plan(book)
            for event in (*self.intent.refresh(), *self._closed(listing)):
                log.event(event)
                yield event
            yield from book.gone(self._inside(path) for path in listing.closed)
            yield from events
            yield from self._measure(workers, log, book, todo)
            if not self.stopped:
                yield from self._test(workers, log, book)
            if not self.stopped:
                yield from self._tell(log, book)
                self.complete = True

    # -- before

    def _list(self) -> Listing:
        try:
            return list_folder(str(self.folder))
        except OSError as error:
            raise UsageError(f"{printable(self.folder)}: cannot be read: {error.strerror or error}") from error

    def _inside(self, path: str) -> str:
        return os.path.relpath(path, self.folder)

    def _closed(self, listing: Listing) -> Iterator[Event]:
        for path, cause in listing.closed.items():
            text = f"{printable(path)} cannot be read: {cause}; what is in it is not seen"
            yield Event(kind="folder_closed", at=now(), text=text, level=Level.WARN)

    def _plan(self, book: Book) -> tuple[deque[Arrived], list[Event]]:
        """Judge what only has to be judged; return what has to be measured, and what has to be told."""
        todo: deque[Arrived] = deque()
        told: list[Event] = []
        known = 0
        for arrived, need in book.captures():
            if need is Need.MEASURE:
                todo.append(arrived)
                continue
            known += 1
            if need is Need.JUDGE:
                told += book.judge(arrived) or ()
        self.progress = replace(self.progress, total=len(todo), known=known)
        return todo, told

    def _executor_for(self, workers: ExitStack, count: int) -> Executor:
        """Return what does so many pieces of work; our own processes are started when there is the first."""
        if self._executor is None:
            pool = WorkerPool(min(self._jobs, count))
            workers.callback(pool.kill)  # all work is done by then, or nobody waits for it any more
            self._executor = pool
        return self._executor

    # -- the captures

    def _measure(self, workers: ExitStack, log: Log, book: Book, todo: deque[Arrived]) -> Iterator[Event]:
        tries: dict[str, int] = {}

        def take() -> tuple[tuple[Arrived, Used], Task] | None:
            if not todo:
                return None
            arrived = todo.popleft()
            used = book.used(arrived.path)
            known = frozenset[str]() if arrived.path in tries else book.same_size(arrived)
            return (arrived, used), replace(self._task((arrived.path,), used), known=known)

        for (arrived, used), answer in self._run(workers, take, len(todo)):
            again, events = self._capture_done(log, book, arrived, used, answer)
            yield from events
            number = tries.pop(arrived.path, 1)
            if again is not None and number < TRIES:
                tries[arrived.path] = number + 1
                todo.append(again)
                continue
            if again is not None:
                yield _said(log, arrived.path, "arriving", "is still changing: not measured", Level.WARN)
            self._step(done=1)

    def _capture_done(
        self, log: Log, book: Book, arrived: Arrived, used: Used, answer: Answer
    ) -> tuple[Arrived | None, Iterable[Event]]:
        """Log a capture; return it once more when it is to be measured again, and what has to be told."""
        path = self.folder / arrived.path
        stamp = stamp_of(path)
        if stamp is None:
            gone = "went away before it was measured"
            return None, [_said(log, arrived.path, "vanished", gone, Level.NOTE)]
        if stamp != arrived.stamp:
            return replace(arrived, stamp=stamp), ()
        if answer.file is not None:
            judged = book.judge(arrived, answer.file)
            return (arrived, ()) if judged is None else (None, judged)
        lost, result = answer.lost, answer.result
        if result is not None and result.file.state == "vanished":
            lost = "cannot be seen from where it was to be measured"
        if lost is not None:
            event = _about(arrived.path, "worker_lost", f"was not measured: {lost}", Level.NOTE)
            return None, book.add(arrived, unmeasured(path, lost, size=stamp.size), used, answer, (event,))
        assert result is not None, "an answer is a result, a file or lost"
        return None, book.add(arrived, result, used, answer)

    # -- the ambient tests

    def _test(self, workers: ExitStack, log: Log, book: Book) -> Iterator[Event]:
        tests = Tests(log, book, self.specs)
        todo = deque(tests.to_run())
        self._step(tests=len(todo))

        def take() -> tuple[Test, Task] | None:
            if not todo:
                return None
            test = todo.popleft()
            return test, self._task(test.paths, test.used)

        for test, answer in self._run(workers, take, len(todo)):
            yield from tests.done(test, answer)
            self._step(done=1)

    # -- after

    def _tell(self, log: Log, book: Book) -> Iterator[Measured]:
        standings = fold(log.entries(self.specs), specs=self.specs)
        for standing in standings:
            if book.is_here(standing.content) and (logged := log.capture(standing.content)) is not None:
                yield Measured(result=logged.result, standing=standing)

    # -- small things

    def _run(
        self, workers: ExitStack, take: Callable[[], tuple[About, Task] | None], count: int
    ) -> Iterator[tuple[About, Answer]]:
        if not count:
            return
        self._began = self._began or time.monotonic()
        executor = self._executor_for(workers, count)
        yield from run(executor, take, at_once=self._jobs + 1, stopping=lambda: self.stopped, tick=self._step)

    def _task(self, paths: tuple[str, ...], used: Used) -> Task:
        return Task(
            paths=tuple(str(self.folder / path) for path in paths),
            sheet=used.sheet,
            preset=used.preset,
            decoder=self._decoder,
            mosaic=used.mosaic,
        )

    def _step(self, *, done: int = 0, tests: int = 0) -> None:
        elapsed = time.monotonic() - self._began if self._began else 0.0
        so_far = self.progress
        self.progress = replace(
            so_far,
            done=so_far.done + done,
            total=so_far.total + tests,
            tests=so_far.tests + tests,
            elapsed_s=elapsed,
        )
        self._on_progress(self.progress)


def check_day(
    folder: str | os.PathLike[str],
    *,
    sheet: str | os.PathLike[str] | None = None,
    preset: str | None = None,
    out: str | os.PathLike[str] | None = None,
    jobs: int | None = None,
    executor: Executor | None = None,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
    on_progress: Callable[[Progress], None] | None = None,
) -> Iterator[Told]:
    """Measure, judge and log every capture of a folder; what the log knows already is not decoded again.

    It may be ended at any time, even by ``kill -9``: the next call goes on where it was. Parameters and errors are
    those of `DayCheck`, and what is yielded that of `DayCheck.run`.

    Examples
    --------
    >>> for told in check_day("bottles"):  # doctest: +SKIP
    ...     if isinstance(told, Measured):
    ...         print(told.result.file.name, told.standing.level)
    """
    check = DayCheck(
        folder,
        sheet=sheet,
        preset=preset,
        out=out,
        jobs=jobs,
        executor=executor,
        decoder=decoder,
        mosaic=mosaic,
        on_progress=on_progress,
    )
    yield from check.run()


def _about(path: str, kind: str, what: str, level: Level) -> Event:
    name = Path(path).name
    return Event(kind=kind, at=now(), text=f"{printable(name)} {what}", name=name, level=level)


def _said(log: Log, path: str, kind: str, what: str, level: Level) -> Event:
    event = _about(path, kind, what, level)
    log.event(event)
    return event
