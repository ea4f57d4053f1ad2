"""What of a save is not in the sheet yet: one whose answer was lost is sent again, and is no conflict then."""

from __future__ import annotations

from collections.abc import Sequence, Set
from dataclasses import replace

from qc.sheet.edit import ZoneText, seen

Zones = Sequence[ZoneText]


def outstanding(now: Zones, before: Zones, after: Zones) -> tuple[tuple[ZoneText, ...], tuple[ZoneText, ...]]:
    """Return both states of the zones with what is in the sheet already taken as seen there.

    Parameters
    ----------
    now : sequence of ZoneText
        What is in the sheet.
    before, after : sequence of ZoneText
        As `qc.sheet.edit.save` takes them.

    Returns
    -------
    before, after : tuple of ZoneText
        Between them lies what is still to be done.
    """
    done = _done(now, before, after)
    names = {zone.name for zone in done}
    there = {zone.name for zone in now}
    own = {zone.was for zone in done}
    kept = {zone.was for zone in after}
    # a zone that goes is gone, or another has its name by now
    gone = {
        zone.name for zone in before if zone.name not in kept and (zone.name not in there or zone.name in names)
    }
    left = [zone for zone in before if zone.name not in own and zone.name not in gone]
    return (*left, *seen(done)), tuple(replace(zone, was=zone.name) if zone in done else zone for zone in after)


def _done(now: Zones, before: Zones, after: Zones) -> list[ZoneText]:
    """Return the zones that were to come, or to change, and are in the sheet as they shall be."""
    done = [zone for zone in after if _is_in(zone, now) and _differs(zone, before)]
    there = {zone.name for zone in now}
    while True:  # one may have the name of another, which must have moved on then
        sure = [zone for zone in done if _fits(zone, there, done, after)]
        if len(sure) == len(done):
            return done
        done = sure


def _fits(zone: ZoneText, there: Set[str], done: Zones, after: Zones) -> bool:
    """Tell whether what a zone was called before, and what is called as it is now, agree with its being done."""
    if any(other.was == zone.name and other is not zone and other not in done for other in after):
        return False
    if zone.was in (None, zone.name) or zone.was not in there:
        return True
    return any(other.name == zone.was for other in done)


def _differs(zone: ZoneText, before: Zones) -> bool:
    was = [one for one in before if one.name == zone.was]
    return zone.was is None or (bool(was) and not _is_in(zone, was))


def _is_in(zone: ZoneText, zones: Zones) -> bool:
    return any(replace(one, was=zone.was) == zone for one in zones)
