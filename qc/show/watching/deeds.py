"""`Deeds`: what people ask for while a watch runs, done once and said once by every view of it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from qc.event import Event
from qc.show.watching.board import Board
from qc.show.watching.menu import Act, Wish
from qc.show.watching.words import Said, of_event


class Deeds:
    """Does what was asked for in one view, and has all views say it.

    Parameters
    ----------
    board : Board
        Notes what was answered, so that it is offered no more and its event is not said again.
    perform : callable
        Does it and returns its events; raises `QcError` where it cannot be done.
    """

    def __init__(self, board: Board, perform: Callable[[Wish], Sequence[Event]]) -> None:
        self._board = board
        self._perform = perform
        self.heard_by: list[Callable[[Said], None]] = []
        """What each view says it with."""

    def __call__(self, wish: Wish) -> Said:
        """Do it; returns what was said of it.

        Raises
        ------
        QcError
            As `perform`; nothing was said then.
        """
        events = self._perform(wish)
        if wish.act is Act.UNDO:
            self._board.unhandled(events)
        else:
            # a baseline is not what is right: what stands against that frame waits for its own answer
            self._board.handled(() if wish.act is Act.BASELINE else wish.about, events)
        said = of_event(events[0])
        if len(events) > 1:
            said = replace(said, reason=f"{said.reason}, and for {len(events) - 1} more")
        for say in self.heard_by:
            say(said)
        return said
