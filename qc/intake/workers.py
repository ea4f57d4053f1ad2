"""`Pool`: at most two processes that measure, so that no decoder can hang, crash or litter the watch.

`concurrent.futures.ProcessPoolExecutor` cannot end one worker that hangs without losing the whole pool, and
`multiprocessing` imports the caller's main module into every process, which starts the caller over again where it
has no ``if __name__ == "__main__"``. So each worker is an interpreter of its own that runs `qc.intake.worker`,
with one `multiprocessing` connection to it; its death shows as the end of that connection.
"""

from __future__ import annotations

import pickle
import subprocess
import sys
import time
from collections.abc import Sequence
from contextlib import suppress
from functools import partial
from multiprocessing.connection import Connection, wait
from types import TracebackType
from typing import Any, Self

from qc.errors import UsageError
from qc.intake.updates import Done, FirstLook, Job
from qc.intake.worker import Look, Message, Ready, Taken, Task, measure
from qc.intake.worker_process import GRACE_S, WorkerProcess, environment

RECYCLE = 250
"""Jobs after which a worker is replaced, so that what the wrapped libraries leak stays bounded. Our own choice."""


class Pool:
    """Worker processes, each with one job at a time. To be used from one thread.

    Parameters
    ----------
    workers : int
        How many; all are started at once.
    limit_s : float
        Seconds that one job may take.
    task : callable or None
        What a worker does with a job, importable by its name; None for `qc.intake.worker.measure`. Where
        its module has a function `warm`, that is called once before the first job.
    recycle : int
        Jobs after which a worker is replaced by a fresh one, which is warm before the old one goes.
    """

    def __init__(
        self, workers: int = 2, *, limit_s: float = 60.0, task: Task | None = None, recycle: int = RECYCLE
    ) -> None:
        self._limit_s = limit_s
        self._recycle = self._share = recycle
        self._start = partial(WorkerProcess, limit_s, _name_of(task or measure), environment())
        self._coming: list[WorkerProcess] = []
        self._going: list[subprocess.Popen[bytes]] = []
        self._unsaid: list[FirstLook | Done] = []
        self._closed = False
        self._workers: list[WorkerProcess | None] = [None] * workers
        try:
            for place in range(workers):
                self._workers[place] = self._start()
        except OSError:
            self.close()
            raise

    @property
    def free(self) -> int:
        """How many jobs can be taken now."""
        return sum(worker is None or worker.job is None for worker in self._workers)

    @property
    def running(self) -> tuple[Job, ...]:
        """The jobs in hand."""
        return tuple(worker.job for worker in self._workers if worker and worker.job)

    def submit(self, job: Job) -> None:
        """Give a job to an idle worker.

        Raises
        ------
        UsageError
            When none is idle (`free` is 0), or the pool is closed.
        """
        if self._closed or not self.free:
            raise UsageError("the pool has no free worker")
        for place, worker in sorted(enumerate(self._workers), key=lambda pair: not (pair[1] and pair[1].warm)):
            if worker is None or worker.job is None:
                self._give(place, job)
                return

    def poll(self, timeout_s: float, also: Sequence[Any] = ()) -> list[FirstLook | Done]:
        """Wait for the workers.

        Parameters
        ----------
        timeout_s : float
            Longest wait, seconds.
        also : sequence
            Further things to wait for (`multiprocessing.connection.wait`); returns when one of them is ready.

        Returns
        -------
        list of FirstLook or Done
            In the order they came; empty when the time ran out or one of `also` is ready.
        """
        until = time.monotonic() + timeout_s
        while True:
            said, self._unsaid = self._unsaid, []
            ready = wait([*self._connections(), *also], 0 if said else self._pause(until))
            for worker in self._all():
                if worker.connection in ready:
                    said += self._hear(worker)
            said += self._overdue()
            self._exchange()
            if said or any(thing in ready for thing in also) or time.monotonic() >= until:
                return said

    def close(self, *, wait_s: float = 0.0) -> list[FirstLook | Done]:
        """Let running jobs end, then stop all workers. Closing twice is once.

        Parameters
        ----------
        wait_s : float
            Longest wait, seconds; ``math.inf`` waits as long as their limit allows.

        Returns
        -------
        list of FirstLook or Done
            What the last jobs came to; those that did not end in time are lost, and say so.
        """
        said = list(self._unsaid)
        until = time.monotonic() + wait_s
        while self.running and (left := until - time.monotonic()) > 0:
            said += self.poll(min(left, self._limit_s))
        for worker in self._all():
            if worker.job is not None:
                said.append(worker.lost("the watch ended before it was measured", retry=True))
            worker.process.kill()
            self._going.append(worker.let_go())
        self._workers, self._coming, self._unsaid, self._closed = [], [], [], True
        for process in self._going:
            with suppress(
                subprocess.TimeoutExpired
            ):  # it waits for a dead disk: no signal ends it before that does
                process.wait(timeout=GRACE_S)
        self._going = []
        return said

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    # -- the life of workers

    def _all(self) -> list[WorkerProcess]:
        return [worker for worker in (*self._workers, *self._coming) if worker is not None]

    def _connections(self) -> list[Connection]:
        return [worker.connection for worker in self._all()]

    def _pause(self, until: float) -> float:
        return max(0.0, min([until, *(worker.due for worker in self._all())]) - time.monotonic())

    def _give(self, place: int, job: Job) -> None:
        """Hand a job to the worker of a place; one that died while it was idle is replaced first."""
        for _ in range(2):
            worker = self._workers[place]
            try:
                worker = self._workers[place] = worker or self._start()
                worker.take(job)
            except OSError as error:
                cause = error.strerror or error
                if worker is not None:
                    self._let_go(worker)
            else:
                return
        lost = f"no worker could be started ({cause})"
        self._unsaid.append(Done(job=job, result=None, lost=lost, retry=True, took_s=0.0))

    def _hear(self, worker: WorkerProcess) -> list[FirstLook | Done]:
        try:
            message: Message = pickle.loads(worker.connection.recv_bytes())
        except (EOFError, OSError):
            return self._ended(worker)
        if isinstance(message, Ready):
            worker.ready()
            return []
        if isinstance(message, Taken):
            worker.taken()
            return []
        if isinstance(message, Look):
            return [worker.looked(message)]
        return [worker.finish(message)]

    def _ended(self, worker: WorkerProcess) -> list[FirstLook | Done]:
        """Take leave of a worker that has died; a job it had not begun goes to the next."""
        waiting = worker.job if worker.warm and not worker.at_work else None
        said = [worker.lost_by_its_end()] if worker.job and not waiting else []
        place = self._replace(worker)
        if waiting and place is not None:
            self._give(place, waiting)
        return [*said]

    def _overdue(self) -> list[Done]:
        said = []
        for worker in self._all():
            # what it has said in time and nobody has read yet counts
            if time.monotonic() >= worker.due and not worker.connection.poll():
                worker.process.kill()  # not waited for: one that reads from a dead disk does not end even so
                if worker.job:
                    said.append(worker.lost_by_time())
                self._replace(worker)
        return said

    def _replace(self, worker: WorkerProcess) -> int | None:
        """Put a fresh worker in the place of a lost one; return the place, if it had one.

        Where it never came to work, `submit` tries again and tells when it cannot; the old one goes on for another
        share of jobs. So whatever keeps workers from starting costs one try a job, no endless trying.
        """
        if worker in self._coming:
            self._share += self._recycle
        place = self._let_go(worker)
        if place is not None and worker.warm:
            with suppress(OSError):  # no memory or no descriptors now: see above
                self._workers[place] = self._start()
        return place

    def _let_go(self, worker: WorkerProcess) -> int | None:
        """Forget a worker and return the place it leaves empty, if it had one."""
        self._going.append(worker.let_go())
        if worker in self._coming:
            self._coming.remove(worker)
            return None
        place = self._workers.index(worker)
        self._workers[place] = None
        return place

    def _exchange(self) -> None:
        """Bring in fresh workers for those that have done their share, once they are warm; bury the dead."""
        worn = [worker for worker in self._workers if worker and worker.jobs >= self._share]
        if len(worn) > len(self._coming):
            try:
                self._coming.append(self._start())
            except OSError:  # no memory or no descriptors now: the old one goes on
                self._share += self._recycle
        for old in worn:
            if old.job is None and self._coming and self._coming[0].warm:
                self._workers[self._workers.index(old)] = self._coming.pop(0)
                self._going.append(old.let_go())
        self._going = [process for process in self._going if process.poll() is None]


def _name_of(task: Task) -> str:
    module, name = task.__module__, task.__qualname__
    if module == "__main__" or getattr(sys.modules.get(module), name, None) is not task:
        raise UsageError(f"{name} cannot be imported by name: a worker could not find it")
    return f"{module}:{name}"
