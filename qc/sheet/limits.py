"""Where each limit comes from: a zone of the sheet, over the sheet, over the preset.

A limit has a place, the frame or one zone. Whether a reading's limits are for the frame or for zones of certain
roles stands in its `SPEC` (`limit_roles`), so that a limit meant for the frame never falls onto a zone. A table
of limits in the sheet replaces the whole table below it: with a note taken from one place and a halt from
another nobody could read off the sheet what is judged. An empty table takes the limits away.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.reading import Preset, ReadingSpec, Spec
from qc.sheet.sheet import Sheet

Place = tuple[str, str | None]
"""Catalogue name of a reading, and the zone's name or None for the frame."""


@dataclass(frozen=True, slots=True)
class Limit:
    """The limits of one reading at one place.

    Attributes
    ----------
    values : Preset
        A number for each severity, or None.
    origin : str
        ``"preset series"``, ``"sheet"`` or ``"sheet, zone label"``.
    """

    values: Preset
    origin: str


def resolve(specs: Sequence[Spec], sheet: Sheet | None, preset: str | None = None) -> Mapping[Place, Limit]:
    """Return the limits that hold.

    Parameters
    ----------
    specs : sequence of Spec
        Measurements whose readings are judged.
    sheet : Sheet or None
        Without a sheet, and without a preset, nothing has a limit.
    preset : str or None
        Goes before the sheet's preset.

    Returns
    -------
    mapping of (reading, zone or None) to Limit
        Only places where at least one severity has a number.
    """
    chosen = preset or (sheet.preset if sheet else None)
    limits: dict[Place, Limit] = {}
    for reading in (r for spec in specs for r in spec.readings):
        if chosen is not None and chosen in reading.limits:
            limits |= _at_places(reading, sheet, Limit(reading.limits[chosen], f"preset {chosen}"))
        if sheet and reading.name in sheet.limits:
            limits |= _at_places(reading, sheet, Limit(sheet.limits[reading.name], "sheet"))
        for zone, table in sheet.zone_limits.items() if sheet else ():
            if reading.name in table:
                limits[reading.name, zone] = Limit(table[reading.name], f"sheet, zone {zone}")
    return {place: limit for place, limit in limits.items() if any(limit_values(limit.values))}


def limit_values(preset: Preset) -> tuple[bool, bool, bool]:
    """Tell which of note, warn and halt have a number."""
    return preset.note is not None, preset.warn is not None, preset.halt is not None


def _at_places(reading: ReadingSpec, sheet: Sheet | None, limit: Limit) -> Mapping[Place, Limit]:
    return {(reading.name, zone): limit for zone in _places(reading, sheet)}


def _places(reading: ReadingSpec, sheet: Sheet | None) -> Iterator[str | None]:
    if not reading.limit_roles:
        yield None
    for zone in sheet.zones if sheet else ():
        if zone.role in reading.limit_roles:
            yield zone.name
