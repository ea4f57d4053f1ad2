"""Questions that wait for the one thread of a capture: of each tab that asks, only the newest."""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future
from dataclasses import dataclass, field
from typing import Any, Final

from qc.errors import QcError

MOST_TABS: Final = 16
"""Most tabs whose questions wait; of more, the one that asked longest ago is left out. Our own choice."""

Check = Callable[[], None]
Answer = dict[str, Any]


class OvertakenError(QcError):
    """A newer question came before this one was answered."""


@dataclass(slots=True, kw_only=True, eq=False)
class _Question:
    answer: Callable[[Check], Answer]
    future: Future[Answer] = field(default_factory=Future)
    waits: bool = True


class Questions:
    """Lets the newest question of each tab be answered in a thread; what waits for it stays bounded.

    Parameters
    ----------
    submit : callable
        Has something done in the thread; called once for each question that waits.
    """

    def __init__(self, submit: Callable[[Callable[[], None]], object]) -> None:
        self._submit = submit
        self._lock = threading.Lock()
        self._newest: dict[str, _Question] = {}  # by tab; who asked last is last

    def ask(self, tab: str, answer: Callable[[Check], Answer]) -> Future[Answer]:
        """Have a question answered.

        Parameters
        ----------
        tab : str
            Who asks: a newer question of the same tab overtakes this one.
        answer : callable
            Answers in the thread. What it is given it calls now and then: that raises `OvertakenError`.
        """
        one = _Question(answer=answer)
        with self._lock:
            over = self._newest.pop(tab, None)
            if over is None and len(self._newest) >= MOST_TABS:
                over = self._newest.pop(next(iter(self._newest)))
            self._newest[tab] = one
            takes_its_turn = over is not None and over.waits
            if over is not None:
                over.waits = False
        if takes_its_turn and over is not None:
            _fail(over.future)
        else:
            self._submit(self._answer_next)
        return one.future

    @property
    def waiting(self) -> int:
        """How many questions wait."""
        with self._lock:
            return sum(one.waits for one in self._newest.values())

    def close(self) -> None:
        """Leave what waits unanswered."""
        with self._lock:
            for one in self._newest.values():
                one.future.cancel()
                one.waits = False

    def _answer_next(self) -> None:
        with self._lock:
            tab, one = next((tab, one) for tab, one in self._newest.items() if one.waits)
            one.waits = False
        if not one.future.set_running_or_notify_cancel():
            return
        try:
            answer = one.answer(lambda: self._check(tab, one))
        except BaseException as error:  # noqa: BLE001 - raised where the answer is waited for
            one.future.set_exception(error)
        else:
            one.future.set_result(answer)

    def _check(self, tab: str, one: _Question) -> None:
        if self._newest.get(tab) is not one:
            raise OvertakenError("a newer question came")


def _fail(future: Future[Answer]) -> None:
    if future.set_running_or_notify_cancel():
        future.set_exception(OvertakenError("a newer question came"))
