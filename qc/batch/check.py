"""`DayCheck`: every capture of a folder measured, judged and logged, what is known already left as it is.

First all captures, then the ambient tests of the dark frames among them, on one executor; then each capture is
told once, in the order taken, with what the day makes of it. Nothing told depends on which worker was faster.
"""

from __future__ import annotations

import os
import time
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from qc.batch.book import Book, Need
from qc.batch.captures import Captures
from qc.batch.pairs import Tests
from qc.batch.pool import WorkerPool, usual_jobs
from qc.batch.progress import Progress
from qc.batch.runs import run
from qc.batch.work import Answer, Task
from qc.errors import UsageError, printable
from qc.event import Event, now
from qc.intake import filing
from qc.intake.intent import Intent
from qc.intake.place import folders
from qc.intake.placing import Arrived, Used
from qc.intake.scan import Listing, list_folder
from qc.intake.updates import Judged
from qc.log.log import Log
from qc.measure import specs as all_specs
from qc.pipeline import check_call
from qc.reading import Level
from qc.series.run import fold

if TYPE_CHECKING:
    from qc.decode import MosaicHint

Told = Judged | Event
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
        When there is no such folder, `out` would lie in it, or one of the words is none of ours.
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
        if jobs is not None and jobs < 1:
            raise UsageError(f"jobs must be 1 or more, not {jobs}")
        check_call(None, preset)
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
        self._pool: WorkerPool | None = None
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
        Judged or Event
            Events as things happen; when all is measured, a `Judged` for each capture in the folder, in the
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
            yield from events
            yield from self._measure(workers, Captures(log, book, self.folder, todo, self._task))
            if files and not self.stopped:  # an empty one may be a disk that is not there
                yield from book.gone(self._inside(path) for path in listing.closed)
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

    def _plan(self, book: Book) -> tuple[list[Arrived], list[Event]]:
        """Judge what only has to be judged; return what has to be measured, and what has to be told."""
        todo: list[Arrived] = []
        told: list[Event] = []
        known = 0
        for arrived, need in book.captures():
            if self.stopped:
                break
            if need is Need.MEASURE:
                todo.append(arrived)
                continue
            known += 1
            if need is Need.JUDGE:
                told += book.judge(arrived) or ()
        self.progress = replace(self.progress, total=len(todo), known=known)
        return todo, told

    # -- the work

    def _measure(self, workers: ExitStack, captures: Captures) -> Iterator[Event]:
        for (arrived, used), answer in self._run(workers, captures.take, len(captures)):
            yield from captures.done(arrived, used, answer)
            self._step(done=captures.finished, read=captures.read)

    def _test(self, workers: ExitStack, log: Log, book: Book) -> Iterator[Event]:
        before = self.progress.done
        tests = Tests(log, book, self.specs, self._task)
        self._step(done=before, tests=len(tests))
        for test, answer in self._run(workers, tests.take, len(tests)):
            yield from tests.done(test, answer)
            self._step(done=before + tests.finished)

    def _run(
        self, workers: ExitStack, take: Callable[[], tuple[About, Task] | None], count: int
    ) -> Iterator[tuple[About, Answer]]:
        if not count or self.stopped:
            return
        self._began = self._began or time.monotonic()
        executor = self._executor or self._own(workers, count)
        yield from run(executor, take, at_once=self._jobs + 1, stopping=lambda: self.stopped, tick=self._step)

    def _own(self, workers: ExitStack, count: int) -> Executor:
        """Return processes of our own; they are started when there is work, no more of them than that needs."""
        if self._pool is None:
            try:
                self._pool = WorkerPool(min(self._jobs, count))
            except OSError as error:
                raise UsageError(f"no worker can be started: {error.strerror or error}") from error
            workers.callback(self._end)
        return self._pool

    def _end(self) -> None:
        """End our own processes: all work is done, or nobody waits for it any more."""
        if self._pool is not None:
            self._pool.kill()
            self._pool = None

    # -- after

    def _tell(self, log: Log, book: Book) -> Iterator[Judged]:
        standings = fold(log.entries(self.specs), specs=self.specs)
        for standing in standings:
            path = book.present(standing.content)
            if path is not None and (logged := log.capture(standing.content)) is not None:
                facts = replace(logged.result.file, path=str(self.folder / path), name=Path(path).name)
                yield Judged(result=replace(logged.result, file=facts), standing=standing)

    # -- small things

    def _task(self, paths: Sequence[str], used: Used) -> Task:
        return Task(
            paths=tuple(str(self.folder / path) for path in paths),
            sheet=used.sheet,
            preset=used.preset,
            decoder=self._decoder,
            mosaic=used.mosaic,
        )

    def _step(self, *, done: int | None = None, tests: int = 0, read: int | None = None) -> None:
        so_far = self.progress
        self.progress = replace(
            so_far,
            done=so_far.done if done is None else done,
            total=so_far.total + tests,
            tests=so_far.tests + tests,
            read=so_far.read if read is None else read,
            elapsed_s=time.monotonic() - self._began if self._began else 0.0,
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
    ...     if isinstance(told, Judged):
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
