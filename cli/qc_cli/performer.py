"""What the menu of a watch does, by the same calls that the commands make."""

from __future__ import annotations

from pathlib import Path

from qc.event import Event
from qc.intake import actions
from qc.intake.offer import offer
from qc.series.entry import Purpose, Standing
from qc.show.watching.menu import Act, Wish

PURPOSES = {Act.DARK: Purpose.DARK, Act.LEAVE_OUT: Purpose.LEAVE_OUT, Act.BASELINE: Purpose.BASELINE}


class Performer:
    """Does what was chosen; what one key did to several frames, one key takes back.

    Parameters
    ----------
    folder, out : Path
        The watched folder, and where its log is.
    sheet, preset
        As the watch was started with.
    """

    def __init__(self, folder: Path, out: Path, sheet: Path | None, preset: str | None) -> None:
        self._folder = folder
        self._out = out
        self._sheet = sheet
        self._preset = preset
        self._done: list[list[Event]] = []

    def __call__(self, wish: Wish) -> list[Event]:
        """Do it and return its events.

        Raises
        ------
        QcError
            As the functions of `qc.intake.actions`.
        """
        if wish.act is Act.UNDO:
            return self._undo()
        events = self._act(wish)
        self._done.append(events)
        return events

    def offer(self, standing: Standing) -> str | None:
        """Say up to where the first cause of a standing would be accepted; see `qc.intake.offer`."""
        return offer(
            self._out,
            folder=self._folder,
            sheet=self._sheet,
            preset=self._preset,
            content=standing.content,
            cause=standing.causes[0],
        )

    def _act(self, wish: Wish) -> list[Event]:
        about = [(standing.content, standing.causes[0] if standing.causes else None) for standing in wish.about]
        if wish.act is Act.ANSWER:
            return [actions.answer(self._out, content=content, cause=cause) for content, cause in about]
        content, cause = about[0]
        if wish.act is not Act.ACCEPT:
            return [actions.give(self._out, PURPOSES[wish.act], content=content)]
        event = actions.accept(
            self._out, folder=self._folder, sheet=self._sheet, preset=self._preset, content=content, cause=cause
        )
        return [event]

    def _undo(self) -> list[Event]:
        events = [actions.undo(self._out)]
        last = self._done.pop() if self._done else []
        # another command may have acted since: then only what it did is taken back
        if last and events[0].content == last[-1].content:
            events += [actions.undo(self._out) for _ in last[1:]]
        return events
