"""The numbered menu for an alarm: a pure state machine from keys to wishes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from qc.series.entry import Standing
from qc.series.findings import ORIGIN
from qc.show.watching.board import Row

NO_FLASH = frozenset({"no_flash", "nearly_black"})
"""Causes of a frame that may be the dark one of an ambient test: the series' finding and the capture's own."""


class Act(Enum):
    """What a person can say to an alarm; the key and the words of each."""

    ACCEPT = "1", "intended: accept up to this value"
    DARK = "2", "this is the dark frame"
    LEAVE_OUT = "3", "leave this frame out"
    ANSWER = "4", "seen, will be shot again"
    BASELINE = "5", "make it the baseline"
    UNDO = "u", "undo the last"

    @property
    def key(self) -> str:
        """The key that chooses it."""
        return self.value[0]

    @property
    def said(self) -> str:
        """Its words."""
        return self.value[1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wish:
    """What a person asked for.

    Attributes
    ----------
    act : Act
        What.
    about : tuple of Standing
        The alarms, of each its first cause: all frames of a row for `Act.ANSWER`, the newest for what is said of
        one frame, none for `Act.UNDO`.
    """

    act: Act
    about: tuple[Standing, ...] = ()


def acts(standing: Standing) -> list[Act]:
    """Return what makes sense for an alarm. A number always means the same, whichever are listed."""
    cause = standing.causes[0] if standing.causes else None
    reading = cause.reading if cause is not None else ""
    possible = []
    if cause is not None and cause.limit is not None and cause.origin != ORIGIN:
        possible.append(Act.ACCEPT)
    if reading in NO_FLASH:
        possible.append(Act.DARK)
    whole = reading != "file.state"  # a file that is not whole is at halt whatever it is for
    possible += [Act.LEAVE_OUT, Act.ANSWER] if whole else [Act.ANSWER]
    if whole and reading not in NO_FLASH:
        possible.append(Act.BASELINE)
    return possible


class Menu:
    """Closed until Enter is pressed; then it asks about one alarm, and about the one before it on each Enter."""

    def __init__(self) -> None:
        self._alarms: Sequence[Row] = ()
        self._at = 0

    @property
    def is_open(self) -> bool:
        """Whether it asks something."""
        return bool(self._alarms)

    def press(self, key: str, alarms: Sequence[Row]) -> Wish | None:
        """Take up a key.

        Parameters
        ----------
        key : str
            One sign, a line feed for Enter.
        alarms : sequence of rows
            What waits for an answer now, newest first, as `Board.alarms` gives it. An open menu goes on asking
            about what it was opened with until it has been through: a frame that comes meanwhile must not change
            what a key means.

        Returns
        -------
        Wish or None
            When the key chose something.
        """
        if key == "u":
            self.close()
            return Wish(act=Act.UNDO)
        if key == "\n":
            self._next(alarms)
            return None
        if not self.is_open:
            return None
        about = tuple(standing for _, standing in self._alarms[self._at])
        chosen = next((act for act in acts(about[0]) if act.key == key), None)
        if chosen is not None or key in ("0", "\x1b"):
            self.close()
        if chosen is None:
            return None
        return Wish(act=chosen, about=about if chosen is Act.ANSWER else about[:1])

    def close(self) -> None:
        """Ask nothing any more."""
        self._alarms, self._at = (), 0

    def lines(self) -> list[str]:
        """Return the question and its numbered answers; nothing while it is closed."""
        if not self.is_open:
            return []
        row = self._alarms[self._at]
        name, standing = row[0]
        reason = standing.causes[0].text if standing.causes else ""
        all_of = {Act.ANSWER: f", all {len(row)} frames"} if len(row) > 1 else {}
        numbered = [f"  {act.key}  {act.said}{all_of.get(act, '')}" for act in acts(standing)]
        rest = len(self._alarms) - self._at - 1
        older = f"     Enter: the alarm before it ({rest} more)" if rest else "     Enter: the newest again"
        return [f"{name}, {standing.level}: {reason}", *numbered, f"  0  back{older}"]

    def _next(self, alarms: Sequence[Row]) -> None:
        if self._at + 1 < len(self._alarms):
            self._at += 1
        else:  # after the last one, what is the newest by now: a menu may have been left open for an hour
            self._alarms, self._at = tuple(alarms), 0
