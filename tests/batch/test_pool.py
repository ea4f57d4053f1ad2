"""`WorkerPool` as an executor, and the pieces of work that run through any of them."""

from __future__ import annotations

import math
import operator
import os
import signal
import time
from collections import deque
from concurrent.futures import BrokenExecutor, Executor, Future
from pathlib import Path
from typing import Any

import pytest

from qc.batch.pool import WorkerPool, usual_jobs
from qc.batch.progress import Progress
from qc.batch.runs import run
from qc.batch.work import Answer, Task
from qc.errors import UsageError, WorkerLostError
from qc.reading import Level
from qc.show.checking import closing_lines, progress_line, stopped_line
from tests.watch.running import PATIENCE_S

pytestmark = pytest.mark.timeout(300)


def test_values_come_back_whatever_they_are() -> None:
    with WorkerPool(2) as pool:
        futures = [pool.submit(math.sqrt, number) for number in range(6)]
        assert [future.result(PATIENCE_S) for future in futures] == [math.sqrt(number) for number in range(6)]
        assert pool.submit(int, "7f", base=16).result(PATIENCE_S) == 127
        assert list(pool.map(operator.neg, range(3))) == [0, -1, -2]


def test_what_is_raised_in_a_worker_is_told_in_words() -> None:
    with WorkerPool(1) as pool:
        with pytest.raises(WorkerLostError, match="ZeroDivisionError"):
            pool.submit(divmod, 1, 0).result(PATIENCE_S)
        assert pool.submit(abs, -1).result(PATIENCE_S) == 1


def test_a_worker_that_dies_takes_only_its_own_work_with_it() -> None:
    with WorkerPool(1) as pool:
        ours = pool.submit(os.kill, os.getpid(), 0)
        killed = pool.submit(_kill_self)
        after = pool.submit(abs, -1)
        assert ours.result(PATIENCE_S) is None
        with pytest.raises(WorkerLostError, match="killed") as lost:
            killed.result(PATIENCE_S)
        assert lost.value.retry
        assert after.result(PATIENCE_S) == 1


def _kill_self() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


def test_a_worker_that_hangs_is_stopped_and_the_next_goes_on() -> None:
    with WorkerPool(1, limit_s=1.0) as pool:
        hangs = pool.submit(time.sleep, 1000)
        after = pool.submit(abs, -1)
        with pytest.raises(WorkerLostError, match="took longer than 1 s"):
            hangs.result(PATIENCE_S)
        assert after.result(PATIENCE_S) == 1


def test_what_cannot_be_pickled_is_the_callers_and_the_pool_goes_on() -> None:
    with WorkerPool(1) as pool:
        with pytest.raises(Exception, match="pickle"):
            pool.submit(lambda: None).result(PATIENCE_S)
        assert pool.submit(abs, -1).result(PATIENCE_S) == 1


def test_after_its_end_it_takes_nothing_more() -> None:
    pool = WorkerPool(1)
    last = pool.submit(abs, -1)
    pool.shutdown()
    assert last.result(0) == 1
    with pytest.raises(RuntimeError, match="shutdown"):
        pool.submit(abs, -1)
    pool.shutdown()


def test_killed_it_leaves_no_future_that_never_ends(tmp_path: Path) -> None:
    pool = WorkerPool(1)
    note = tmp_path / "began"
    running, waiting = pool.submit(_note_and_sleep, str(note)), pool.submit(abs, -1)
    until = time.monotonic() + PATIENCE_S
    while not note.exists():
        assert time.monotonic() < until, "it never began"
        time.sleep(0.01)
    pool.kill()
    assert waiting.cancelled()
    with pytest.raises(BrokenExecutor):
        running.result(PATIENCE_S)


def _note_and_sleep(note: str) -> None:
    Path(note).touch()
    time.sleep(1000)


def test_jobs_are_at_least_one_and_no_more_than_cores() -> None:
    assert 1 <= usual_jobs() <= (os.cpu_count() or 1)


# -- pieces of work, on an executor that the test is


class Hand(Executor):
    """An executor whose answers are given beforehand, one for each time that something is handed in."""

    def __init__(self, *answers: Answer | BaseException) -> None:
        self.answers = deque(answers)
        self.tasks: list[str] = []

    def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
        del fn, kwargs
        self.tasks.append(args[0].paths[0])
        future: Future[Any] = Future()
        answer = self.answers.popleft()
        if isinstance(answer, BaseException):
            future.set_exception(answer)
        else:
            future.set_result(answer)
        return future


def answers(hand: Hand, *names: str, at_once: int = 1) -> list[tuple[str, str | None]]:
    todo = deque(names)

    def take() -> tuple[str, Task] | None:
        return (todo[0], Task(paths=(todo.popleft(),))) if todo else None

    found = run(hand, take, at_once=at_once, stopping=lambda: False, tick=lambda: None)
    return [(name, answer.lost) for name, answer in found]


def test_what_may_help_is_tried_three_times_and_what_cannot_is_not() -> None:
    dies = WorkerLostError("killed", retry=True)
    hand = Hand(dies, dies, Answer())
    assert answers(hand, "a") == [("a", None)]
    assert hand.tasks == ["a"] * 3
    assert answers(Hand(dies, dies, dies), "a") == [("a", "killed")]
    assert answers(Hand(WorkerLostError("crashed")), "a") == [("a", "crashed")]
    assert answers(Hand(Answer(lost="no memory", retry=True), Answer()), "a") == [("a", None)]


def test_an_exception_of_the_executor_costs_one_piece_and_is_told() -> None:
    said = answers(Hand(ValueError("odd\nthing"), Answer()), "a", "b")
    assert said == [("a", "the worker was lost (ValueError: odd thing)"), ("b", None)]


@pytest.mark.parametrize("error", [BrokenExecutor("ended"), ConnectionResetError("gone")])
def test_an_executor_that_is_gone_ends_it(error: Exception) -> None:
    with pytest.raises(UsageError, match=f"the workers are gone: {error}"):
        answers(Hand(error), "a")


def test_no_more_is_handed_out_than_asked_for() -> None:
    held: list[Future[Any]] = []

    class Slow(Executor):
        def submit(self, fn: Any, /, *args: Any, **kwargs: Any) -> Future[Any]:
            del fn, args, kwargs
            held.append(Future())
            return held[-1]

    most: list[int] = []

    def tick() -> None:
        open_ones = [future for future in held if not future.done()]
        most.append(len(open_ones))
        for future in open_ones[:1]:
            future.set_result(Answer())

    todo = deque(range(6))

    def take() -> tuple[int, Task] | None:
        return (todo[0], Task(paths=(str(todo.popleft()),))) if todo else None

    found = [about for about, _ in run(Slow(), take, at_once=2, stopping=lambda: False, tick=tick)]
    assert sorted(found) == list(range(6))
    assert max(most) == 2


# -- in words


def test_how_far_it_is_in_words() -> None:
    begun = Progress(done=0, total=600, known=0, elapsed_s=1.0)
    assert progress_line(begun) == "0 of 600 measured"
    going = Progress(done=300, total=600, known=12, elapsed_s=150.0)
    assert progress_line(going) == "300 of 600 measured, 2.0 a second, 2 min left, 12 known from before"
    slow = Progress(done=1, total=3, known=0, elapsed_s=30.0)
    assert progress_line(slow) == "1 of 3 measured, 2.0 a minute, 1 min left"
    assert stopped_line(going) == "stopped: 300 of 600 measured and logged; run it again to go on"


def test_the_sum_counts_ambient_tests_apart() -> None:
    levels = {"a": ("SB_0001.dng", Level.HALT), "b": ("SB_0002.dng", Level.CLEAR)}
    progress = Progress(done=3, total=3, known=7, elapsed_s=3.0, tests=1)
    assert closing_lines(levels, progress, "bottles.qc") == (
        "2 frames: 1 clear, 1 halt",
        "halt: SB_0001.dng",
        "2 measured, 1 ambient test, 7 known from before",
        "log: bottles.qc",
    )
