"""The numbered menu for an alarm: a pure state machine from keys to wishes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from qc.series.entry import Standing

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
    name : str
        File name of the capture; empty for `Act.UNDO`.
    standing : Standing or None
        The alarm; its first cause is the one that is meant.
    """

    act: Act
    name: str = ""
    standing: Standing | None = None


def acts(standing: Standing) -> list[Act]:
    """Return what makes sense for an alarm. A number always means the same, whichever are listed."""
    cause = standing.causes[0] if standing.causes else None
    reading = cause.reading if cause is not None else ""
    possible = []
    if cause is not None and cause.limit is not None:
        possible.append(Act.ACCEPT)
    if reading in NO_FLASH:
        possible.append(Act.DARK)
    possible += [Act.LEAVE_OUT, Act.ANSWER]
    if reading not in NO_FLASH and reading != "file.state":
        possible.append(Act.BASELINE)
    return possible


class Menu:
    """Closed until Enter is pressed; then it asks about one alarm, and about the one before it on each Enter."""

    def __init__(self) -> None:
        self._alarms: Sequence[tuple[str, Standing]] = ()
        self._at = 0

    @property
    def is_open(self) -> bool:
        """Whether it asks something."""
        return bool(self._alarms)

    def press(self, key: str, alarms: Sequence[tuple[str, Standing]]) -> Wish | None:
        """Take up a key.

        Parameters
        ----------
        key : str
            One sign, a line feed for Enter.
        alarms : sequence of (str, Standing)
            Name and standing of what waits for an answer now, newest first. An open menu goes on asking about
            those it was opened with: a frame that comes meanwhile must not change what a key means.

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
        name, standing = self._alarms[self._at]
        chosen = next((act for act in acts(standing) if act.key == key), None)
        if chosen is not None or key in ("0", "\x1b"):
            self.close()
        return Wish(act=chosen, name=name, standing=standing) if chosen is not None else None

    def close(self) -> None:
        """Ask nothing any more."""
        self._alarms, self._at = (), 0

    def lines(self) -> list[str]:
        """Return the question and its numbered answers; nothing while it is closed."""
        if not self.is_open:
            return []
        name, standing = self._alarms[self._at]
        reason = standing.causes[0].text if standing.causes else ""
        numbered = [f"  {act.key}  {act.said}" for act in acts(standing)]
        rest = len(self._alarms) - self._at - 1
        older = f"     Enter: the alarm before it ({rest} more)" if rest else ""
        return [f"{name}, {standing.level}: {reason}", *numbered, f"  0  back{older}"]

    def _next(self, alarms: Sequence[tuple[str, Standing]]) -> None:
        if not self.is_open:
            self._alarms, self._at = tuple(alarms), 0
        elif self._at + 1 < len(self._alarms):
            self._at += 1
