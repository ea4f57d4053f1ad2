"""Pieces of work through an executor: never more of them at a time than it needs, lost ones again, none twice."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, CancelledError, Executor, Future, wait
from typing import Generic, NamedTuple, TypeVar

from qc.batch.work import Answer, Task, work
from qc.errors import UsageError, WorkerLostError

TRIES = 3
"""How often a capture is handed out before it is told as lost, when a worker died over it."""

TICK_S = 0.5
"""Longest time without a look at whether to stop, and without a word about how far it is."""

About = TypeVar("About")


class _Try(NamedTuple, Generic[About]):
    about: About
    task: Task
    number: int


def run(
    executor: Executor,
    take: Callable[[], tuple[About, Task] | None],
    *,
    at_once: int,
    stopping: Callable[[], bool],
    tick: Callable[[], None],
) -> Iterator[tuple[About, Answer]]:
    """Do all work there is.

    Parameters
    ----------
    executor : Executor
        Any.
    take : callable
        Returns what the next piece is about, and the piece; None when there is none now. It is asked again after
        each answer.
    at_once : int
        Pieces in the hands of the executor at a time: so many results are in memory at most.
    stopping : callable
        Whether no more work is to be begun; what is in hand is finished.
    tick : callable
        Called every half second or more often.

    Yields
    ------
    (About, Answer)
        In the order they are done.

    Raises
    ------
    UsageError
        When the executor does not work any more.
    """
    running: dict[Future[Answer], _Try[About]] = {}

    def begin(attempt: _Try[About]) -> None:
        try:
            running[executor.submit(work, attempt.task)] = attempt
        except (RuntimeError, OSError) as error:
            raise _gone(error) from error

    while True:
        while len(running) < at_once and not stopping() and (taken := take()) is not None:
            begin(_Try(*taken, 1))
        if not running:
            return
        done, _ = wait(running, timeout=TICK_S, return_when=FIRST_COMPLETED)
        tick()
        while done:
            future = done.pop()
            attempt, answer = running.pop(future), _answer_of(future)
            del future  # with all that it holds
            if answer.lost is not None and answer.retry and attempt.number < TRIES:
                begin(attempt._replace(number=attempt.number + 1))
                continue
            yield attempt.about, answer
            del attempt, answer


def _answer_of(future: Future[Answer]) -> Answer:
    try:
        return future.result()
    except WorkerLostError as lost:
        return Answer(lost=str(lost), retry=lost.retry, complaints=lost.complaints)
    except (BrokenExecutor, CancelledError, OSError) as error:
        raise _gone(error) from error
    except Exception as error:  # noqa: BLE001 - of the executor (`work` raises nothing): this piece is lost, and told
        return Answer(lost=f"the worker was lost ({type(error).__name__}: {' '.join(str(error).split())})")


def _gone(error: BaseException) -> UsageError:
    cause = " ".join(str(error).split()) or type(error).__name__
    return UsageError(f"the workers are gone: {cause}; what was measured is logged, run it again to go on")
