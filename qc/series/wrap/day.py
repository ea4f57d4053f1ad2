"""All that a whole day shows, worst first."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING

from qc.reading import Level
from qc.series.levels import severity
from qc.series.wrap.clock import clock
from qc.series.wrap.findings import FINDINGS, SHEET_UNREAD, finding
from qc.series.wrap.missing import missing
from qc.series.wrap.needs import needs
from qc.series.wrap.same import same_content, same_name
from qc.series.wrap.sheets import sheets_of, unread_of
from qc.series.wrap.sizes import sizes

if TYPE_CHECKING:
    from qc.day import Day, DayFinding
    from qc.sheet.sheet import Sheet


def wrap(day: Day, *, sheets: Mapping[str, Sheet] | None = None) -> tuple[DayFinding, ...]:
    """Return what the captures of a day show together that no standing of one of them says.

    Parameters
    ----------
    day : Day
        The day; what a capture shows beside its neighbours is in its standings (`causes`).
    sheets : mapping of str to Sheet or None
        Its set sheets by digest; None for those that its log kept (`sheets_of`).

    Returns
    -------
    tuple of DayFinding
        Worst first, then in the order of `FINDINGS`, then in that of the captures. The same for any order of
        arrival of captures that have a recorded time.
    """
    known = sheets_of(day) if sheets is None else sheets
    found = [
        *missing(day),
        *same_content(day),
        *same_name(day),
        *sizes(day),
        *clock(day),
        *needs(day, known),
        *_unread(day),
    ]
    places = {taken.entry.content: place for place, taken in enumerate(day.captures)}
    return tuple(sorted(found, key=lambda one: _order(one, places)))


def _order(one: DayFinding, places: Mapping[str, int]) -> tuple[int, int, int, str]:
    place = min((places[content] for content in one.contents if content in places), default=len(places))
    return -severity(one.level), _CODES.index(one.code), place, one.text


_CODES = tuple(FINDINGS)


def _unread(day: Day) -> Iterator[DayFinding]:
    for digest, why in unread_of(day).items():
        text = f"the set sheet in the log cannot be read: {why}"
        contents = [t.entry.content for t in day.captures if t.logged.result.sheet_digest == digest]
        yield finding(SHEET_UNREAD, Level.WARN, text, contents, sheet=digest)
