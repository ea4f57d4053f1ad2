"""The numbered menu for an alarm or the newest frame: a pure state machine from keys to wishes."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import Enum

from qc.series.entry import Standing
from qc.series.findings import ORIGIN
from qc.show.watching.rows import Row, waits

NO_FLASH = frozenset({"no_flash", "nearly_black"})
"""Causes of a frame that may be the dark one of an ambient test: the series' finding and the capture's own."""


class Act(Enum):
    """What a person can say to a frame; the key, the words, and what it is for where it can not be said."""

    ACCEPT = "1", "intended: accept up to this value", "no limit to raise"
    DARK = "2", "this is the dark frame", "for a frame without flash"
    LEAVE_OUT = "3", "leave this frame out", "for a whole file"
    ANSWER = "4", "seen, will be shot again", "for an alarm"
    BASELINE = "5", "make it the baseline", "for a whole, lit frame"
    UNDO = "u", "undo the last", ""

    @property
    def key(self) -> str:
        """The key that chooses it."""
        return self.value[0]

    @property
    def said(self) -> str:
        """Its words."""
        return self.value[1]

    @property
    def only(self) -> str:
        """What it is for, said where it makes no sense."""
        return self.value[2]


NUMBERED = tuple(act for act in Act if act is not Act.UNDO)
"""What the menu lists, always all of it: a number means the same at each alarm, all day, and none is missing. What
makes no sense for an alarm stands in brackets."""


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
    """Return what makes sense for a frame."""
    cause = standing.causes[0] if standing.causes else None
    reading = cause.reading if cause is not None else ""
    whole = reading != "file.state"  # a file that is not whole is what it is, whatever it is for
    sense = {
        Act.ACCEPT: cause is not None and cause.limit is not None and cause.origin != ORIGIN,
        Act.DARK: reading in NO_FLASH,
        Act.LEAVE_OUT: whole,
        Act.ANSWER: waits(standing),
        Act.BASELINE: whole and reading not in NO_FLASH,
    }
    return [act for act in NUMBERED if sense[act]]


def _nothing(_: Standing) -> str | None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """One answer to a question.

    Attributes
    ----------
    act : Act
        What it does.
    said : str
        Its words, with what it is for where it makes no sense.
    can : bool
        Whether it makes sense here.
    """

    act: Act
    said: str
    can: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """What is asked about a row of alarms or one frame, and every answer in the order of the numbers.

    Attributes
    ----------
    about : tuple of Standing
        The frames, the newest first.
    text : str
        The question.
    answers : tuple of Answer
        Always all of `NUMBERED`.
    """

    about: tuple[Standing, ...]
    text: str
    answers: tuple[Answer, ...]

    def wish(self, act: Act) -> Wish:
        """Return what choosing an answer asks for."""
        return Wish(act=act, about=self.about if act is Act.ANSWER else self.about[:1])


def question(row: Row, offered: str | None = None) -> Question:
    """Return what is asked about a row of alarms or one frame.

    Parameters
    ----------
    row : Row
        As `qc.show.watching.board.Board.asked` gives it.
    offered : str or None
        What accepting would do: "accept label burnt up to 3.05 %"; None where that is not known.
    """
    name, standing = row[0]
    reason = f": {standing.causes[0].text}" if standing.causes else ""
    others = f" and {len(row) - 1} more" if len(row) > 1 else ""
    possible = acts(standing)
    return Question(
        about=tuple(standing for _, standing in row),
        text=f"{name}{others}, {standing.level}{reason}",
        answers=tuple(_answer(act, act in possible, len(row), offered) for act in NUMBERED),
    )


def _answer(act: Act, can: bool, frames: int, offered: str | None) -> Answer:
    said = act.said
    if not can:
        said = f"{said}: {act.only}"
    elif act is Act.ACCEPT and offered is not None:
        said = f"intended: {offered}"
    elif act is Act.ANSWER and frames > 1:
        said = f"{said}, all {frames} frames"
    return Answer(act=act, said=said, can=can)


class Menu:
    """Closed until Enter is pressed; then it asks about one alarm, and about the one before it on each Enter.

    After the last alarm, and where there is none, it asks about the newest frame: a good one may be left out, or
    be the baseline.

    Parameters
    ----------
    offer : callable
        Says what accepting the first cause of a standing would do: "accept label burnt up to 3.05 %"; None where
        that is not known. Asked once for each question.
    """

    def __init__(self, offer: Callable[[Standing], str | None] = _nothing) -> None:
        self._offer = offer
        self._offered: str | None = None
        self._rows: Sequence[Row] = ()
        self._at = 0

    @property
    def is_open(self) -> bool:
        """Whether it asks something."""
        return bool(self._rows)

    def press(self, key: str, rows: Sequence[Row]) -> Wish | None:
        """Take up a key.

        Parameters
        ----------
        key : str
            One sign, a line feed for Enter.
        rows : sequence of rows
            What can be asked about now, as `Board.asked` gives it. An open menu goes on asking about what it was
            opened with until it has been through: a frame that comes meanwhile must not change what a key means.

        Returns
        -------
        Wish or None
            When the key chose something.
        """
        if key == "u":
            self.close()
            return Wish(act=Act.UNDO)
        if key == "\n":
            self._next(rows)
            return None
        if not self.is_open:
            return None
        asked = question(self._rows[self._at])
        chosen = next((answer.act for answer in asked.answers if answer.can and answer.act.key == key), None)
        if chosen is not None or key in ("0", "\x1b"):
            self.close()
        return asked.wish(chosen) if chosen is not None else None

    def close(self) -> None:
        """Ask nothing any more."""
        self._rows, self._at, self._offered = (), 0, None

    def lines(self) -> list[str]:
        """Return the question and its numbered answers; nothing while it is closed."""
        if not self.is_open:
            return []
        asked = question(self._rows[self._at], self._offered)
        return [asked.text, *map(_entry, asked.answers), f"   0  back     Enter: {after(self._rows, self._at)}"]

    def _next(self, rows: Sequence[Row]) -> None:
        if self._at + 1 < len(self._rows):
            self._at += 1
        else:  # after the last one, what is the newest by now: a menu may have been left open for an hour
            self._rows, self._at = tuple(rows), 0
        asked = self._rows[self._at][0][1] if self.is_open else None
        self._offered = self._offer(asked) if asked is not None and Act.ACCEPT in acts(asked) else None


def after(rows: Sequence[Row], at: int) -> str:
    """Say what is asked about after one of some rows."""
    rest = rows[at + 1 :]
    alarms = sum(waits(row[0][1]) for row in rest)
    if alarms:
        return f"the alarm before it ({alarms} more)"
    return "the newest frame" if rest else "the newest again"


def _entry(answer: Answer) -> str:
    entry = f"{answer.act.key}  {answer.said}"
    return f"   {entry}" if answer.can else f"  ({entry})"
