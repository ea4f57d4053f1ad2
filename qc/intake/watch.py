"""`Watch`: a folder that fills, each capture measured once, whole, newest first, and never lost.

One thread does everything here but listening for hints (`qc.intake.source`) and measuring (`qc.intake.workers`):
it looks at the folder, lets `Settle` say what is complete, hands work out, logs what comes back and yields it.
Whoever iterates may be slow: nothing is lost meanwhile, since the folder is compared with what is known, not with
what was announced.
"""

from __future__ import annotations

import contextlib
import os
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from multiprocessing import Pipe
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from qc.errors import printable
from qc.event import Event, now
from qc.intake.arrivals import Arrivals
from qc.intake.clerk import Clerk
from qc.intake.desk import Desk
from qc.intake.heart import Heart
from qc.intake.intent import Intent
from qc.intake.ledger import Ledger
from qc.intake.place import Running, announce, folders, running_watches
from qc.intake.placing import Arrived, Used
from qc.intake.updates import Done, Early, FirstLook, Job, Update
from qc.intake.workers import Pool
from qc.measure import specs as all_specs
from qc.pipeline import check_call, unmeasured

if TYPE_CHECKING:
    from qc.decode import MosaicHint

LOOK_S = 1.0
"""Seconds between looks at what other commands wrote: the sheet, acceptances, roles."""


@dataclass(frozen=True, slots=True)
class _Running:
    """What a job is about: a capture, or dark and lit content of an ambient test; and the intent it was given."""

    about: Arrived | tuple[str, str]
    used: Used


class Watch:
    """A watch over one folder.

    Parameters
    ----------
    folder : path
        The watched folder, with the folders below it. Nothing is ever written there.
    sheet : path or None
        The set sheet; found as `qc.sheet.find` says when None.
    preset : str or None
        Default limits; goes before the sheet's.
    out : path or None
        Where the log and digests go; ``FOLDER.qc`` beside the folder when None.
    poll_s : float or None
        Seconds between looks at a folder that gives no notice of changes; decided by the file system when None.
    test : bool
        Whether frames without flash are the ambient test by declaration.
    decoder, mosaic
        As for `qc.pipeline.measure_capture`.
    workers : int
        Processes that measure, 1 or 2: the machine also runs the program that fills the folder.
    limit_s : float
        Seconds a capture may take before its worker is stopped.

    Raises
    ------
    UsageError
        When there is no such folder, `out` would lie in it, or no preset is called so.
    """

    def __init__(
        self,
        folder: str | os.PathLike[str],
        *,
        sheet: str | os.PathLike[str] | None = None,
        preset: str | None = None,
        out: str | os.PathLike[str] | None = None,
        poll_s: float | None = None,
        test: bool = False,
        decoder: str = "auto",
        mosaic: MosaicHint | None = None,
        workers: int = 2,
        limit_s: float = 60.0,
    ) -> None:
        check_call(None, preset)
        self.folder, self.out = folders(folder, out)
        self.specs = tuple(all_specs())
        self.intent = Intent(self.folder, self.out, sheet=Path(sheet) if sheet else None, preset=preset)
        self._preset = preset
        self._sheet = os.path.abspath(sheet) if sheet else None  # noqa: PTH100 - as above
        self._decoder = decoder
        self._mosaic = mosaic
        self._workers = workers
        self._limit_s = limit_s
        self._ledger = Ledger(self.out)
        self._desk = Desk(self.specs, test=test)
        self._arrivals = Arrivals(self.folder, poll_s=poll_s)
        self._heart = Heart(self.folder)
        self._clerk = Clerk(self._ledger, self._desk, self._arrivals, self._heart, specs=self.specs)
        self._jobs: dict[int, _Running] = {}
        self._tests: list[tuple[str, str]] = []
        self._number = 0
        self._stopping = False
        self._wake_read, self._wake_write = Pipe(duplex=False)

    def stop(self) -> None:
        """End the watch: running captures are finished and logged, then `run` ends. From any thread or signal."""
        self._stopping = True
        self.wake()

    def wake(self) -> None:
        """Make `run` yield a heartbeat at once. From any thread."""
        with contextlib.suppress(OSError):  # the watch has ended: there is nothing to wake
            self._wake_write.send_bytes(b"!")

    def run(self) -> Iterator[Update]:
        """Watch until stopped.

        Yields
        ------
        Update
            `Early` and then `Judged` for each capture, each once; `Restated` when what the day makes of an
            earlier one changed; `Event`; and `Heartbeat` at least every few seconds.
        """
        others = [other for other in running_watches() if other.folder == self.folder]
        with announce(self.folder, self.out) as unfound, Pool(self._workers, limit_s=self._limit_s) as pool:
            try:
                yield from self._begin(unfound, others)
                while not self._stopping:
                    yield from self._look()
                    self._hand_out(pool)
                    yield from self._take_in(pool, self._pause())
                    yield from self._beat()
                while self._jobs:
                    yield from self._take_in(pool, LOOK_S)
                yield from self._clerk.say(Event(kind="ended", at=now(), text="the watch ended"))
            finally:
                self._arrivals.stop()
                unsaid = self._ledger.close()
        yield from unsaid

    # -- the steps of the loop

    def _begin(self, unfound: str | None, others: Sequence[Running]) -> Iterator[Update]:
        started = {"folder": str(self.folder), "sheet": self._sheet, "preset": self._preset}
        text = f"watching {printable(self.folder)}"
        if others:
            text += f"; process {others[0].pid} watches it too: each capture is measured twice"
        if unfound:
            text += f"; other commands need --folder to find this watch: {unfound}"
        yield from self._clerk.say(Event(kind="started", at=now(), text=text, data=started))
        yield from self._clerk.recall()
        yield from self._others()
        for event in self._arrivals.start(time.monotonic()):
            yield from self._clerk.say(event)

    def _look(self) -> Iterator[Update]:
        for event in self._arrivals.look(time.monotonic()):
            yield from self._clerk.say(event)
        for arrived, result, release in self._arrivals.released():
            if release.left:
                yield from self._clerk.left_incomplete(result)
            yield from self._clerk.tell(arrived, result, self._used(arrived.path))
        if self._heart.time_to_look(LOOK_S):
            yield from self._others()

    def _others(self) -> Iterator[Update]:
        """Take up what people and other commands wrote meanwhile."""
        yield from self._clerk.hear()
        for event in (*self.intent.refresh(self._desk.acts), *self._heart.disk_news()):
            yield from self._clerk.say(event)

    def _pause(self) -> float:
        return min(self._arrivals.pause(time.monotonic()), self._heart.pause(), LOOK_S)

    def _hand_out(self, pool: Pool) -> None:
        while pool.free and (arrived := self._arrivals.take()) is not None:
            self._submit(pool, "capture", (arrived.path,), arrived)
        self._tests += self._desk.tests_to_run()
        while pool.free and self._tests and not self._arrivals.waiting:
            dark, lit = self._tests.pop(0)
            paths = self._arrivals.roster.path_of(dark), self._arrivals.roster.path_of(lit)
            if paths[0] is not None and paths[1] is not None:
                self._submit(pool, "ambient", (paths[0], paths[1]), (dark, lit))

    def _submit(
        self,
        pool: Pool,
        task: Literal["capture", "ambient"],
        paths: tuple[str, ...],
        about: Arrived | tuple[str, str],
    ) -> None:
        self._number += 1
        used = self._used(paths[-1])
        self._jobs[self._number] = _Running(about, used)
        pool.submit(
            Job(
                number=self._number,
                task=task,
                paths=tuple(str(self.folder / path) for path in paths),
                sheet=used.sheet,
                preset=self._preset,
                decoder=self._decoder,
                mosaic=self._mosaic,
            )
        )

    def _used(self, path: str) -> Used:
        sheet = self.intent.for_capture(self.folder / path)
        return Used(sheet=sheet, preset=self._preset, text=self.intent.text_of(sheet), mosaic=self._mosaic)

    def _take_in(self, pool: Pool, pause: float) -> Iterator[Update]:
        for message in pool.poll(pause, also=(self._arrivals.wakeup, self._wake_read)):
            running = self._jobs[message.job.number]
            if isinstance(message, FirstLook):
                if message.job.task == "capture" and message.result.file.state == "whole":
                    yield Early(result=message.result)
                continue
            del self._jobs[message.job.number]
            if isinstance(running.about, Arrived):
                yield from self._capture_done(running.about, running.used, message)
            else:
                yield from self._clerk.tested(*running.about, message, running.used)
        while self._wake_read.poll():
            self._wake_read.recv_bytes()
            self._heart.hurry()

    def _capture_done(self, arrived: Arrived, used: Used, done: Done) -> Iterator[Update]:
        if done.result is None and done.retry and not arrived.tried:
            self._arrivals.again(replace(arrived, tried=True))
            return
        result = done.result or unmeasured(self.folder / arrived.path, str(done.lost), size=arrived.stamp.size)
        if done.result is None:
            yield from self._clerk.lost(arrived, str(done.lost))
        if self._arrivals.accept(time.monotonic(), arrived, result, final=done.result is None):
            yield from self._clerk.tell(arrived, result, used, took_s=done.took_s, complaints=done.complaints)

    def _beat(self) -> Iterator[Update]:
        running = sum(isinstance(job.about, Arrived) for job in self._jobs.values())
        beat = self._heart.beat(self._arrivals, self._ledger, self._desk, intent=self.intent, running=running)
        if beat is not None:
            yield beat
