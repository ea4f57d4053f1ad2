"""The set sheets of a day, from the texts that its log kept, and which set each capture belongs to."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from qc.errors import SheetError
from qc.sheet.accepted_file import parse_accepted
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet

if TYPE_CHECKING:
    from qc.day import Day, Taken
    from qc.result import Result

UNNAMED = "unnamed set"
"""What a set is called whose sheet names neither itself nor its captures, and one without a sheet."""

_ACCEPTED = re.compile(
    r"""^[ \t]*(?:\[\[[ \t]*(["']?)accepted\1[ \t]*\]\]|(["']?)accepted\2[ \t]*=)""", re.MULTILINE
)
"""Where the part begins that `qc.intake.intent` put behind what a person typed. A sheet has no such key."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Set:
    """One set of the day with its captures.

    Attributes
    ----------
    name : str
        As its sheet calls it, else the pattern of its captures, else `UNNAMED`.
    sheet : Sheet or None
        Of the capture that arrived last, with what was accepted until then; None where there is none that can be
        read.
    captures : tuple of Taken
        In the order taken.
    """

    name: str
    sheet: Sheet | None
    captures: tuple[Taken, ...]


def sheets_of(day: Day) -> dict[str, Sheet]:
    """Return the sheets that the day was judged by, acceptances included, by their digest in the results.

    A text that cannot be read as a sheet is left out; `unread_of` says why.
    """
    return _parsed(day)[0]


def unread_of(day: Day) -> dict[str, str]:
    """Return for each sheet of the day that cannot be read any more why, in one line, by digest."""
    return _parsed(day)[1]


def set_of(taken: Taken, sheets: Mapping[str, Sheet]) -> str:
    """Return the name of the set that a capture belongs to (`Set.name`).

    Parameters
    ----------
    taken : Taken
        The capture.
    sheets : mapping of str to Sheet
        As `sheets_of` returns them.
    """
    sheet = sheet_of(taken, sheets)
    pattern = sheet.captures if sheet is not None else None
    return taken.logged.result.sheet_name or pattern or UNNAMED


def sheet_of(taken: Taken, sheets: Mapping[str, Sheet]) -> Sheet | None:
    """Return the sheet that a capture was judged by; None where there was none that can be read."""
    return sheets.get(taken.logged.result.sheet_digest or "")


def kept_sheet(text: str, digest: str, name: str) -> Sheet:
    """Return the sheet of a text that the log kept, with what was accepted on top of it.

    Parameters
    ----------
    text : str
        Word for word (`qc.log.rows.Logged.sheet_text`).
    digest : str
        By which results know it.
    name : str
        What it is called in a message.

    Raises
    ------
    SheetError
        When it cannot be read as a sheet.
    """
    start = _ACCEPTED.search(text)
    typed = text[: start.start()] if start else text
    sheet = parse_sheet(typed, path=name, digest=digest)
    sheet = replace(sheet, path=None)
    return replace(sheet, accepted=parse_accepted(text[start.start() :], path=name)) if start else sheet


def sets_of(day: Day, sheets: Mapping[str, Sheet]) -> tuple[Set, ...]:
    """Return the sets of a day, that with the earliest capture first."""
    groups: dict[str, list[Taken]] = {}
    for taken in day.captures:
        groups.setdefault(set_of(taken, sheets), []).append(taken)
    return tuple(
        Set(name=name, sheet=_newest(captures, sheets), captures=tuple(captures))
        for name, captures in groups.items()
    )


def _newest(captures: Iterable[Taken], sheets: Mapping[str, Sheet]) -> Sheet | None:
    arrived = sorted(captures, key=lambda taken: (taken.logged.arrived_at, taken.entry.order[3]))
    found = [sheet for taken in arrived if (sheet := sheet_of(taken, sheets)) is not None]
    return found[-1] if found else None


def _parsed(day: Day) -> tuple[dict[str, Sheet], dict[str, str]]:
    sheets: dict[str, Sheet] = {}
    unread: dict[str, str] = {}
    for digest, (text, result) in _texts(day).items():
        name = result.sheet_name or UNNAMED
        try:
            sheets[digest] = kept_sheet(text, digest, name)
        except SheetError as error:
            unread[digest] = " ".join(str(error).split())
    return sheets, unread


def _texts(day: Day) -> dict[str, tuple[str, Result]]:
    logged = [*(taken.logged for taken in day.captures), *day.replaced]
    return {
        digest: (one.sheet_text, one.result)
        for one in logged
        if one.sheet_text and (digest := one.result.sheet_digest)
    }
