"""`WorkerPool`: the executor a batch uses by itself, over the worker processes of the watch.

`concurrent.futures.ProcessPoolExecutor` loses all its work with one worker that dies, cannot end one that hangs,
and starts a caller over again that has no ``if __name__ == "__main__"``. See `qc.intake.workers`.
"""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable
from concurrent.futures import BrokenExecutor, Executor, Future
from contextlib import suppress
from dataclasses import replace
from multiprocessing import Pipe
from threading import Lock, Thread
from typing import Any, TypeVar

from qc.batch.work import Answer, Call, call
from qc.errors import WorkerLostError
from qc.intake.updates import Done
from qc.intake.workers import Pool

LIMIT_S = 120.0
"""Seconds that one piece of work may take. Our own choice, twice that of a watch: nobody waits for one frame here,
and a disk that several workers read from may be slow."""

WORKER_BYTES = 800_000_000
"""Memory a worker may need: 700 MB for 50 megapixels is what the measurements are held to, and some to spare."""

_LOOK_S = 60.0

Value = TypeVar("Value")


def usual_jobs() -> int:
    """Return how many workers this machine has cores and memory for."""
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    try:
        memory = os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
    except (AttributeError, ValueError, OSError):  # Windows has no such question
        return cores
    return max(1, min(cores, memory // WORKER_BYTES))


class WorkerPool(Executor):
    """An executor of worker processes that outlives their deaths.

    A future whose worker crashed, was killed or took too long raises `qc.errors.WorkerLostError`, and so does one
    whose call raised, with that in words; all others go on. What is called, its arguments and what it returns are
    pickled; it must be importable by its name.

    Parameters
    ----------
    jobs : int
        Processes.
    limit_s : float
        Seconds that one call may take.

    Raises
    ------
    OSError
        When no process can be started.
    """

    def __init__(self, jobs: int, *, limit_s: float = LIMIT_S) -> None:
        self._pool = Pool(jobs, limit_s=limit_s, task=call)
        self._waiting: deque[tuple[Future[Any], Call]] = deque()
        self._running: dict[int, Future[Any]] = {}
        self._number = 0
        self._ending: str | None = None
        self._lock = Lock()
        self._wake_read, self._wake_write = Pipe(duplex=False)
        self._thread = Thread(target=self._serve, name="qc batch", daemon=True)
        self._thread.start()

    def submit(self, fn: Callable[..., Value], /, *args: Any, **kwargs: Any) -> Future[Value]:
        """Let a worker call a function; see `concurrent.futures.Executor.submit`."""
        future: Future[Value] = Future()
        with self._lock:
            if self._ending is not None:
                raise RuntimeError("cannot schedule new futures after shutdown")
            self._number += 1
            job = Call(number=self._number, task="capture", paths=(), function=fn, arguments=args, named=kwargs)
            self._waiting.append((future, job))
        self._wake()
        return future

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """Take no more calls, end those that are taken, then the workers; see `Executor.shutdown`."""
        self._end("shutdown", cancel=cancel_futures, wait=wait)

    def kill(self) -> None:
        """End the workers at once, in the middle of whatever they do."""
        self._end("kill", cancel=True, wait=True)

    def _end(self, how: str, *, cancel: bool, wait: bool) -> None:
        with self._lock:
            self._ending = how
            dropped = list(self._waiting) if cancel else []
            if cancel:
                self._waiting.clear()
        for future, _ in dropped:
            future.cancel()
        self._wake()
        if wait:
            self._thread.join()

    def _wake(self) -> None:
        with suppress(OSError):  # the thread has ended: there is nothing to wake
            self._wake_write.send_bytes(b"!")

    # -- in the thread, which alone uses the pool

    def _serve(self) -> None:
        broken: BaseException | None = None
        try:
            with self._pool:
                while not self._is_done():
                    self._hand_out()
                    for said in self._pool.poll(_LOOK_S, also=(self._wake_read,)):
                        if isinstance(said, Done):
                            self._finish(said)
                    while self._wake_read.poll():
                        self._wake_read.recv_bytes()
        except BaseException as error:  # noqa: BLE001 - whoever waits for a future is told, or would wait for ever
            broken = error
        with self._lock:
            self._ending = self._ending or "broken"
            left = [*self._running.values(), *(future for future, _ in self._waiting)]
            self._waiting.clear()
        for future in left:
            future.set_exception(BrokenExecutor(f"the pool of workers has ended: {broken or 'it was stopped'}"))
        self._wake_read.close()
        self._wake_write.close()

    def _is_done(self) -> bool:
        with self._lock:
            idle = not self._running and not self._waiting
            return self._ending == "kill" or (self._ending is not None and idle)

    def _hand_out(self) -> None:
        while self._pool.free:
            with self._lock:
                if not self._waiting:
                    return
                future, job = self._waiting.popleft()
            if not future.set_running_or_notify_cancel():
                continue
            self._running[job.number] = future
            try:
                self._pool.submit(job)
            except Exception as error:  # noqa: BLE001 - what cannot be pickled is the caller's, see Executor.submit
                del self._running[job.number]
                future.set_exception(error)

    def _finish(self, done: Done) -> None:
        future = self._running.pop(done.job.number)
        if done.lost is not None:
            future.set_exception(WorkerLostError(done.lost, retry=done.retry, complaints=done.complaints))
            return
        answer: object = done.result  # what the function returned: see qc.batch.work.call
        future.set_result(replace(answer, complaints=done.complaints) if isinstance(answer, Answer) else answer)
