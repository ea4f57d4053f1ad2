"""What a set still needs by its sheet before it is struck."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from pathlib import PurePath
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.reading import Level
from qc.series.entry import Purpose
from qc.series.pairs import pairs
from qc.series.wrap.findings import DARK_WITHOUT_LIT, STILL_NEEDED, finding
from qc.series.wrap.sheets import Set, sets_of
from qc.sheet.zones import Role

if TYPE_CHECKING:
    from qc.day import Day, DayFinding, Taken
    from qc.sheet.sheet import Sheet

PATCH_READING = "cast.chroma"
"""A patch zone with a value of this in some frame has been read as a reference."""


def lacking(one: Set) -> tuple[str, ...]:
    """Return what the set's sheet needs and the set does not have, in the words of the sheet.

    ``dark``: a frame declared to be shot without flash that has a lit one of the same settings, or any frame that
    was tested for ambient light. ``patch``: a frame of that role, or one whose patch zone could be read.
    ``clean plate``: a frame of that role. ``baseline``: a frame of that role, or the one that the sheet names.
    """
    needs = one.sheet.needs if one.sheet is not None else ()
    return tuple(need for need in dict.fromkeys(needs) if not _THERE[need](one))


def needs(day: Day, sheets: Mapping[str, Sheet]) -> Iterator[DayFinding]:
    """Yield what each set lacks, and declared dark frames that no lit frame fits."""
    for one in sets_of(day, sheets):
        alone = _dark_alone(one)
        for need in lacking(one):
            told, alone = (alone, []) if need == "dark" else ([], alone)
            text = f"{printable(one.name)} still needs {_said(need, one, told)}"
            contents = [taken.entry.content for taken in told]
            yield finding(STILL_NEEDED, Level.WARN, text, contents, need=need, set=one.name)
        for taken in alone:
            text = f"{printable(taken.entry.name)} was shot without flash, and {_NO_LIT}"
            yield finding(DARK_WITHOUT_LIT, Level.WARN, text, [taken.entry.content], set=one.name)


_NO_LIT = "no lit frame has its settings"

_WHAT: Mapping[str, str] = {
    "dark": "a dark frame: the shot again with the flash trigger off",
    "patch": "a frame with the patch",
    "clean plate": "a clean plate: the set without the product",
    "baseline": "a baseline: no frame was approved as one",
}


def _said(need: str, one: Set, alone: list[Taken]) -> str:
    if alone:
        names = ", ".join(printable(taken.entry.name) for taken in alone)
        return f"a dark frame with its lit one: {names} is there, and {_NO_LIT}"
    named = one.sheet.baseline if one.sheet is not None else None
    if need == "baseline" and named is not None:
        return f"its baseline: {printable(named)} is not among its captures"
    return _WHAT[need]


def _paired(one: Set) -> Mapping[str, str]:
    return pairs(taken.entry for taken in one.captures)


def _dark_alone(one: Set) -> list[Taken]:
    lit = _paired(one)
    declared = [taken for taken in one.captures if taken.entry.purpose is Purpose.DARK]
    return [taken for taken in declared if taken.entry.content not in lit and not _tested(taken)]


def _tested(taken: Taken) -> bool:
    return taken.logged.ambient is not None or taken.entry.ambient is not None


def _has_dark(one: Set) -> bool:
    lit = _paired(one)
    declared = (t for t in one.captures if t.entry.purpose is Purpose.DARK and t.entry.content in lit)
    return any(_tested(taken) for taken in one.captures) or any(declared)


def _has_patch(one: Set) -> bool:
    zones = {zone.name for zone in one.sheet.zones if zone.role is Role.PATCH} if one.sheet is not None else set()
    return _has(one, Purpose.PATCH) or any(
        reading.name == PATCH_READING and reading.zone in zones and reading.value is not None
        for taken in one.captures
        for reading in taken.logged.result.readings
    )


def _has_baseline(one: Set) -> bool:
    named = one.sheet.baseline if one.sheet is not None else None
    names = {PurePath(path).name for taken in one.captures for path in (taken.entry.name, *taken.logged.paths)}
    return _has(one, Purpose.BASELINE) or (named is not None and PurePath(named).name in names)


def _has(one: Set, purpose: Purpose) -> bool:
    return any(taken.entry.purpose is purpose for taken in one.captures)


_THERE: Mapping[str, Callable[[Set], bool]] = {
    "dark": _has_dark,
    "patch": _has_patch,
    "clean plate": lambda one: _has(one, Purpose.CLEAN_PLATE),
    "baseline": _has_baseline,
}
