"""Questions of several tabs wait for one thread without overtaking each other, and never more than so many."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from typing import Any

import pytest

from qc.pages.drawing.questions import MOST_TABS, Check, OvertakenError, Questions

Work = list[Callable[[], None]]


def answer(number: int) -> Callable[[Check], dict[str, Any]]:
    def answered(check: Check) -> dict[str, Any]:
        check()
        return {"number": number}

    return answered


def do(work: Work) -> None:
    while work:
        work.pop(0)()


def test_the_newest_of_each_tab_is_answered() -> None:
    work: Work = []
    questions = Questions(work.append)
    asked = [questions.ask(tab, answer(number)) for number, tab in enumerate("abaab")]
    assert len(work) == 2
    do(work)
    overtaken = [isinstance(one.exception(), OvertakenError) for one in asked]
    assert overtaken == [True, True, True, False, False]
    assert [one.result()["number"] for one in asked[3:]] == [3, 4]
    assert questions.waiting == 0


def test_a_question_that_is_being_answered_is_overtaken_by_its_own_tab_alone() -> None:
    work: Work = []
    questions = Questions(work.append)
    later: list[Future[dict[str, Any]]] = []

    def interrupted(tab: str) -> Callable[[Check], dict[str, Any]]:
        def answered(check: Check) -> dict[str, Any]:
            later.append(questions.ask(tab, answer(0)))
            check()
            return {"number": 1}

        return answered

    own, others = questions.ask("a", interrupted("a")), questions.ask("b", interrupted("c"))
    do(work)
    assert isinstance(own.exception(), OvertakenError)
    assert others.result() == {"number": 1}
    assert [one.result() for one in later] == [{"number": 0}, {"number": 0}]


def test_what_waits_stays_bounded_however_many_ask() -> None:
    work: Work = []
    questions = Questions(work.append)
    asked = [questions.ask(f"tab {number % 60}", answer(number)) for number in range(600)]
    assert len(work) == questions.waiting == MOST_TABS
    do(work)
    answered = [one.result()["number"] for one in asked if one.exception() is None]
    assert answered == list(range(600 - MOST_TABS, 600))


def test_a_fault_is_raised_where_the_answer_is_waited_for() -> None:
    work: Work = []

    def faulty(_: Check) -> dict[str, Any]:
        raise ValueError("no number")

    asked = Questions(work.append).ask("a", faulty)
    do(work)
    with pytest.raises(ValueError, match="no number"):
        asked.result()


def test_what_waits_when_it_is_closed_is_not_waited_for() -> None:
    work: Work = []
    questions = Questions(work.append)
    asked = questions.ask("a", answer(1))
    questions.close()
    assert asked.cancelled()
