"""Where each limit comes from: what was accepted, over a zone of the sheet, over the sheet, over the preset.

A limit has a place, the frame or one zone, and one that is meant for the frame never falls onto a zone. A
preset's limits hold where the reading's `SPEC` says (`limits` with `limit_roles`, `frame_limits`). A ``[limits]``
table of the sheet is for the frame; for a reading that the frame has none of, it is for the zones that the
preset's are for. A table of limits in the sheet replaces the whole table below it: with a note taken from one
place and a halt from another nobody could read off the sheet what is judged. An empty table takes the limits
away. What was accepted as intended comes last: it moves those bars of a place that the accepted capture had
passed, and makes no limit where there is none.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.reading import Level, Preset, ReadingSpec, Spec, Worse
from qc.sheet.accepted import Acceptance, widened
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
    accepted : tuple of (Level, str)
        The severities whose bar was moved by an acceptance, and its words:
        ``"accepted at SB_0042.dng, 10:12"``.
    """

    values: Preset
    origin: str
    accepted: tuple[tuple[Level, str], ...] = ()

    def origin_of(self, level: Level) -> str:
        """Return where the bar of one severity comes from."""
        return dict(self.accepted).get(level, self.origin)


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
    chosen = preset or (sheet.preset if sheet else None) or ""
    limits: dict[Place, Limit] = {}
    for reading in (r for spec in specs for r in spec.readings):
        zones = _zones_of(reading, sheet)
        if chosen in reading.limits:
            limit = Limit(reading.limits[chosen], f"preset {chosen}")
            limits |= {(reading.name, zone): limit for zone in (zones if reading.limit_roles else (None,))}
        if chosen in reading.frame_limits:
            limits[reading.name, None] = Limit(reading.frame_limits[chosen], f"preset {chosen}")
        if sheet and reading.name in sheet.limits:
            limit = Limit(sheet.limits[reading.name], "sheet")
            limits |= {(reading.name, zone): limit for zone in ((None,) if reading.per_frame else zones)}
        for zone in sheet.zones if sheet and reading.budget else ():
            if zone.budget is not None and zone.role in reading.per_zone:
                limits[reading.name, zone.name] = Limit(
                    Preset(warn=zone.budget), f"sheet, zone {zone.name}, budget"
                )
        for name, table in sheet.zone_limits.items() if sheet else ():
            if reading.name in table:
                limits[reading.name, name] = Limit(table[reading.name], f"sheet, zone {name}")
        for acceptance in sheet.accepted if sheet else ():
            place = (acceptance.reading, acceptance.zone)
            if acceptance.reading == reading.name and reading.worse is not None and place in limits:
                limits[place] = _accept(limits[place], acceptance, reading.worse)
    return {place: limit for place, limit in limits.items() if limit.values != Preset()}


def _zones_of(reading: ReadingSpec, sheet: Sheet | None) -> tuple[str, ...]:
    roles = reading.limit_roles or reading.per_zone
    return tuple(zone.name for zone in sheet.zones if zone.role in roles) if sheet else ()


def _accept(limit: Limit, acceptance: Acceptance, worse: Worse) -> Limit:
    values, moved = widened(limit.values, acceptance, worse)
    accepted = dict(limit.accepted) | dict.fromkeys(moved, acceptance.origin)
    return Limit(values, limit.origin, tuple(sorted(accepted.items())))
