"""Change the zones of a set sheet in its text, the way a person would by hand: all else stays byte for byte."""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from qc.errors import UsageError, printable
from qc.reading import Box
from qc.sheet.blocks import FACTS, Changes, with_changes, with_zone, without_zone
from qc.sheet.file import create, replaced
from qc.sheet.listed import list_of_zones, with_list
from qc.sheet.model import SheetTables, ZoneTable
from qc.sheet.problems import as_text, read_bytes
from qc.sheet.read import tables_of
from qc.sheet.spelling import Value
from qc.sheet.zones import Role

_Says = tuple[object, object, list[tuple[Changes, object]]]
"""A sheet's own table, its limits, and of each zone the facts and the limits."""

_TRIES = 5
"""How often a save starts again because the sheet was written to meanwhile."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ZoneText:
    """A zone as it is written in a sheet: a box stays a box. Limits of its own are not part of it.

    Attributes
    ----------
    was : str or None
        Its name in the sheet as it was read; None for a new one.
    name : str
        As the technician says it.
    role : Role or str
        What it is for.
    box : (float, float, float, float) or None
        Left, top, width, height in fractions of the upright picture.
    points : tuple of (x, y) or None
        Corners in fractions of the upright picture.
    budget : float or None
        % of the frame.
    reference : str or None
        ``"neutral"`` or ``"EDITION/patch"``.
    lightness : float or None
        L* of the reference.
    """

    was: str | None = None
    name: str
    role: Role | str
    box: Box | None = None
    points: tuple[tuple[float, float], ...] | None = None
    budget: float | None = None
    reference: str | None = None
    lightness: float | None = None


def zones_of(text: str, path: str | os.PathLike[str] = "sheet") -> tuple[ZoneText, ...]:
    """Return the zones of a sheet's text in their order.

    Raises
    ------
    SheetError
        With every mistake of the sheet.
    """
    return tuple(map(_zone, tables_of(text, path).zone))


def seen(saved: Sequence[ZoneText]) -> tuple[ZoneText, ...]:
    """Return zones that were saved as they are seen from then on: each was in the sheet by its name."""
    return tuple(replace(zone, was=zone.name) for zone in saved)


def edited(
    text: str, before: Sequence[ZoneText], after: Sequence[ZoneText], *, path: str | os.PathLike[str] = "sheet"
) -> str:
    """Return a sheet's text with what differs between two states of its zones.

    Changed facts are changed where they stand, key order and notes stay. New zones come after the last line, in
    the order of `after`; the order of those that are there is kept. A zone that is gone is taken out with its
    tables and the notes above it that are clearly its own (`qc.sheet.blocks.without_zone`). Zones that do not
    differ may be others in `text` than in `before`: they stay as they are.

    Parameters
    ----------
    text : str
        Of the sheet, line ends as they are.
    before : sequence of ZoneText
        From `zones_of`.
    after : sequence of ZoneText
        What it shall be; `was` says which zone of `before` each one is.
    path : str or os.PathLike
        For messages.

    Returns
    -------
    str

    Raises
    ------
    SheetError
        With every mistake that the result would have, or that the text has.
    UsageError
        When a zone that differs is not in the text, a name is empty or no text, or the zones are written in a way
        that cannot be changed without harm.
    """
    from tomlkit.exceptions import TOMLKitError

    there = tables_of(text, path)
    work = _Work.between(there, before, after, path)
    try:
        result = _result(text, work)
    except TOMLKitError:
        result = None
    if result is not None:
        found = tables_of(result, path)  # raises with the mistakes that it would have
        if _says(found) == work.expected(there):
            return result
    raise UsageError(
        f"{printable(path)}: its zones are written in a way that cannot be changed here without harm; write each"
        " as a [[zone]] of its own, or change them by hand"
    )


def save(
    path: str | os.PathLike[str],
    text: str,
    before: Sequence[ZoneText],
    after: Sequence[ZoneText],
    *,
    new: bool = False,
) -> str:
    """Write changed zones to a sheet, in one step.

    Where somebody changed the sheet since `text` was read, the edits go into what is there now, unless they touch
    the same zone. Then it holds zones that whoever edits may not have seen: `before` is always what they saw, or
    the next save would take those for removed. `seen` makes it of what they have just saved; `zones_of` only where
    they are shown what it returns.

    Parameters
    ----------
    path : str or os.PathLike
        The sheet. Of a link, what it leads to is written.
    text : str
        Of the sheet as it was read (`qc.sheet.problems.as_text`), or of a new one
        (`qc.sheet.write.new_sheet_text`).
    before : sequence of ZoneText
        The zones as whoever edits saw them.
    after : sequence of ZoneText
        As in `edited`.
    new : bool
        Whether there was no such file: it is made, and one that is there by now is not replaced.

    Returns
    -------
    str
        What is in the file now.

    Raises
    ------
    SheetError
        As `edited`, or when the sheet cannot be read. Nothing is written then.
    UsageError
        As `edited`, or when a zone that differs was changed in the sheet meanwhile, or it cannot be written.
        Nothing is written then.
    """
    if new:
        result = edited(text, before, after, path=path)
        create(path, result)
        return result
    for _ in range(_TRIES):
        data = read_bytes(path)
        now = as_text(data, path)
        _refuse_conflict(tables_of(text, path), tables_of(now, path), before, after, path)
        result = edited(now, before, after, path=path)
        if result == now or replaced(path, data, result):
            return result
    raise UsageError(f"{printable(path)}: the sheet keeps being changed; nothing was saved")


@dataclass(frozen=True, slots=True, kw_only=True)
class _Work:
    """What is to be done in a text, zones by their position in it."""

    changes: dict[int, Changes]
    removed: frozenset[int]
    added: tuple[ZoneText, ...]

    @classmethod
    def between(
        cls,
        there: SheetTables,
        before: Sequence[ZoneText],
        after: Sequence[ZoneText],
        path: str | os.PathLike[str],
    ) -> _Work:
        _refuse_names(before, after, path)
        changes, removed = _differences(before, after)
        places = {zone.name: number for number, zone in enumerate(there.zone)}
        for name in (*changes, *removed):
            if name not in places:
                raise UsageError(_told(path, name, "is not in the sheet; nothing was changed"))
        return cls(
            changes={places[name]: facts for name, facts in changes.items()},
            removed=frozenset(places[name] for name in removed),
            added=tuple(zone for zone in after if zone.was is None),
        )

    def expected(self, there: SheetTables) -> _Says:
        """Return what the result must say, limits of zones and all else as they are."""
        about, limits, zones = _says(there)
        kept = [
            ({**facts, **self.changes.get(number, {})}, own)
            for number, (facts, own) in enumerate(zones)
            if number not in self.removed
        ]
        return about, limits, [*kept, *((_facts(zone), {}) for zone in self.added)]


def _result(text: str, work: _Work) -> str | None:
    added = [_written(zone) for zone in work.added]
    listed = list_of_zones(text)
    if listed is not None:
        return with_list(text, listed, work.changes, work.removed, added)
    text = with_changes(text, work.changes)
    for number in sorted(work.removed, reverse=True):
        text = without_zone(text, number)
    for facts in added:
        text = with_zone(text, facts)
    return text


def _differences(before: Sequence[ZoneText], after: Sequence[ZoneText]) -> tuple[dict[str, Changes], list[str]]:
    """Return the changed facts by the zone's name in `before`, and the names of zones that are gone."""
    now = {zone.was: zone for zone in after if zone.was is not None}
    changes: dict[str, Changes] = {}
    for zone in before:
        if zone.name in now:
            old, new = _facts(zone), _facts(now[zone.name])
            differ = {key: new[key] for key in FACTS if new[key] != old[key]}
            if differ:
                changes[zone.name] = differ
    return changes, [zone.name for zone in before if zone.name not in now]


def _refuse_names(before: Sequence[ZoneText], after: Sequence[ZoneText], path: str | os.PathLike[str]) -> None:
    if not all(zone.name for zone in after):
        raise UsageError(f"{printable(path)}: a zone has no name")
    known = {zone.name for zone in before}
    for was, times in Counter(zone.was for zone in after if zone.was is not None).items():
        if was not in known:
            raise UsageError(_told(path, was, "was not in the sheet; nothing was changed"))
        if times > 1:
            raise UsageError(_told(path, was, "is there twice; nothing was changed"))


def _refuse_conflict(
    was: SheetTables,
    now: SheetTables,
    before: Sequence[ZoneText],
    after: Sequence[ZoneText],
    path: str | os.PathLike[str],
) -> None:
    """Refuse where others changed a zone that differs, limits of one that goes, or took a name that comes."""
    changes, removed = _differences(before, after)
    old, new = ({zone.name: zone for zone in tables.zone} for tables in (was, now))
    facts = {zone.name: _facts(zone) for zone in before}
    for name in (*changes, *removed):
        other = new.get(name)
        if other is None or _facts(_zone(other)) != facts[name] or (name in removed and other != old.get(name)):
            raise UsageError(_told(path, name, "was changed in the sheet meanwhile; nothing was saved"))
    for name in sorted({zone.name for zone in after} - facts.keys()):
        if name in new:
            raise UsageError(_told(path, name, "was added to the sheet meanwhile; nothing was saved"))


def _says(tables: SheetTables) -> _Says:
    return tables.set, tables.limits, [(_facts(_zone(zone)), zone.limits) for zone in tables.zone]


def _told(path: str | os.PathLike[str], name: str, what: str) -> str:
    return f'{printable(path)}: zone "{printable(name)}" {what}'


def _zone(table: ZoneTable) -> ZoneText:
    return ZoneText(was=table.name, **{key: getattr(table, key) for key in FACTS})


def _facts(zone: ZoneText) -> dict[str, Value | None]:
    return {key: getattr(zone, key) for key in FACTS}


def _written(zone: ZoneText) -> dict[str, Value]:
    return {key: value for key, value in _facts(zone).items() if value is not None}
