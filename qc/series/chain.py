"""A fold that keeps every state on its way, so that it can be taken up anywhere again."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Generic, TypeVar

State = TypeVar("State")
Item = TypeVar("Item")
Said = TypeVar("Said")


class Chain(Generic[State, Item, Said]):
    """A fold over a sequence that changes in places.

    Parameters
    ----------
    start : object
        The first state.
    step : callable
        ``step(state, item) -> (state, said)``; pure.
    """

    def __init__(self, start: State, step: Callable[[State, Item], tuple[State, Said]]) -> None:
        self._start = start
        self._step = step
        self._steps: list[tuple[State, Said] | None] = []
        """After each item; None where it is to be made."""

    def replace(self, low: int, high: int, count: int) -> None:
        """Make room for so many items in the place of others; `run` must follow."""
        self._steps[low:high] = [None] * count

    def run(self, items: Sequence[Item], low: int, high: int) -> int:
        """Fold anew from `low` on: up to `high`, and on until the state is what it was.

        Returns
        -------
        int
            Where it ended: what is said from there on has not changed.
        """
        state = self._start if low == 0 else self._at(low - 1)[0]
        for place in range(low, len(items)):
            old = self._steps[place]
            state, said = self._step(state, items[place])
            self._steps[place] = state, said
            if place >= high - 1 and old is not None and old[0] == state:
                return place + 1
        return len(items)

    def said(self, place: int) -> Said:
        """Return what is said of one item."""
        return self._at(place)[1]

    def _at(self, place: int) -> tuple[State, Said]:
        step = self._steps[place]
        assert step is not None, "run() follows every replace()"
        return step
