"""How many captures each set of a day has, and what became of the numbers between its first and its last."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.series.entry import Purpose
from qc.series.wrap.missing import Gap, gaps
from qc.series.wrap.sheets import Set, sets_of
from qc.series.wrap.times import recorded

if TYPE_CHECKING:
    from qc.day import Day
    from qc.sheet.sheet import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Count:
    """The captures of one set.

    Attributes
    ----------
    name : str
        Of the set.
    first, last : str
        File names of the first and last capture in the order taken, as the operating system gives names; those
        without a recorded time stand where they arrived and count only where no capture has one.
    captures : int
        How many there are, a content counted once.
    whole : int
        How many of them are whole.
    not_whole : tuple of (str, str)
        File name and state of each that is not.
    left_out : tuple of str
        File names of those that were left out.
    copies : int
        Further files of contents that are counted already.
    gaps : tuple of Gap
        Numbers missing behind a capture of this set, with the reason where the log knows one.
    """

    name: str
    first: str
    last: str
    captures: int
    whole: int
    not_whole: tuple[tuple[str, str], ...] = ()
    left_out: tuple[str, ...] = ()
    copies: int = 0
    gaps: tuple[Gap, ...] = ()

    @property
    def missing(self) -> int:
        """How many numbers are missing that nothing explains."""
        return sum(gap.count for gap in self.gaps if gap.why is None)

    @property
    def text(self) -> str:
        """What there is to explain, in one line: gaps, files that are not whole, captures left out."""
        told = [gap.text for gap in self.gaps]
        told += [f"{printable(name)} is {state}" for name, state in self.not_whole]
        told += [f"{printable(name)} was left out" for name in self.left_out]
        return "; ".join(told)


def counts(day: Day, sheets: Mapping[str, Sheet]) -> tuple[Count, ...]:
    """Return the counts of each set of a day, in the order of `sets_of`.

    Parameters
    ----------
    day : Day
        The day.
    sheets : mapping of str to Sheet
        As `qc.series.wrap.sheets.sheets_of` returns them.
    """
    found = gaps(day)
    return tuple(_count(one, found) for one in sets_of(day, sheets))


def _count(one: Set, found: tuple[Gap, ...]) -> Count:
    entries = [taken.entry for taken in one.captures]
    timed = [entry for entry in entries if recorded(entry) is not None] or entries
    contents = {entry.content for entry in entries}
    broken = tuple((entry.name, str(entry.state)) for entry in entries if entry.state != "whole")
    return Count(
        name=one.name,
        first=timed[0].name,
        last=timed[-1].name,
        captures=len(entries),
        whole=len(entries) - len(broken),
        not_whole=broken,
        left_out=tuple(entry.name for entry in entries if entry.purpose is Purpose.LEAVE_OUT),
        copies=sum(max(len(taken.logged.held) - 1, 0) for taken in one.captures),
        gaps=tuple(gap for gap in found if gap.before in contents),
    )
