"""What to do about ambient light, in the order in which it should be tried.

Made after judging and not by the measurement: what is enough depends on the limits of the set.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from qc.frame import Camera
from qc.measure.ambient.words import under_flash
from qc.reading import Finding, Reading
from qc.settings import spoken_time
from qc.words import spoken_stops

CAUTION = (
    "Keep the floor lit for people; lamps and heads are hot; change power or lamps only as the maker's "
    "instructions and local rules say."
)
"""How every advice ends."""

CLEAN = 6.6
"""Stops under the flash at which ambient light is 1 % of it (common practice, no published source): what is wanted
where the set has no limit of its own."""

SMALLEST = 22.6
"""Smallest aperture advised: beyond it diffraction costs more than ambient light does (common practice)."""

MOST_POWER = 3.0
"""Most stops of flash power advised at once: beyond it other heads are wanted. Our own choice."""

READ = ("ambient.stops_under", "ambient.worst_stops_under")
"""Readings that advice hangs on."""

MISFIRED = frozenset({"flash_in_dark", "no_flash_in_lit", "dark_like_flash"})
"""Findings after which the dark frame is no measure of the room, and nothing is advised about its lamps."""

_STEP = 1 / 3
"""Apertures, powers and shutter times are set in thirds of a stop."""


@dataclass(frozen=True, slots=True)
class Wanted:
    """How many stops under the flash ambient light is to lie at one place, and who says so."""

    stops: float = CLEAN
    origin: str = "1 % of the flash"


def advised(
    readings: Sequence[Reading],
    findings: Sequence[Finding],
    camera: Camera,
    sync_limit_s: float | None,
    wanted: Mapping[tuple[str, str | None], Wanted],
) -> list[Finding]:
    """Give advice where ambient light is measured to be less than is wanted, or something mirrors it.

    Parameters
    ----------
    readings, findings : sequence
        Of the ambient test.
    camera : Camera
        Settings of the lit frame.
    sync_limit_s : float or None
        Shortest shutter time at which flash and shutter agree. A shorter time is never advised without it.
    wanted : mapping of (reading, zone or None) to Wanted
        Where the set has limits; where it has none at all, `CLEAN` is wanted everywhere.

    Returns
    -------
    list of Finding
        ``advice`` or nothing. `data` holds ``stops_under``, ``wanted_stops`` and ``short_by_stops`` as they are
        said, so that they add up; the ``steps`` in order; the ``caution``.
    """
    if MISFIRED & {finding.code for finding in findings}:
        return []
    short = []
    for reading in readings:
        aim = wanted.get((reading.name, reading.zone)) if wanted else Wanted()
        if reading.name in READ and reading.value is not None and reading.bound is None and aim is not None:
            short.append((aim.stops - _shown(reading), reading, aim))
    worst = max(short, default=None, key=lambda one: one[0])
    mirrored = _mirrored(findings)
    if worst is not None and worst[0] > 0:
        _, reading, aim = worst
        return [advice(_shown(reading), _place(reading, findings), camera, sync_limit_s, mirrored, aim)]
    return [_finding("", [_cover(mirrored)], {})] if mirrored else []


def advice(
    stops: float,
    place: str,
    camera: Camera,
    sync_limit_s: float | None,
    mirrored: str = "",
    wanted: Wanted = Wanted(),
) -> Finding:
    """Say what brings ambient light from `stops` under the flash, at a place in words, to what is wanted."""
    stops, aim = round(stops, 1), round(wanted.stops, 1)
    short_by = round(aim - stops, 1)
    further = (_more_flash(short_by, camera.aperture), _shorter(short_by, camera.shutter_s, sync_limit_s))
    steps = [_cover(mirrored), *(step for step in further if step)]
    first = (
        f"Ambient light is {under_flash(stops)} {place}; {spoken_stops(aim)} under are wanted ({wanted.origin}): "
        f"{short_by:.1f} short. "
    )
    data = {"stops_under": stops, "wanted_stops": aim, "wanted_by": wanted.origin, "short_by_stops": short_by}
    return _finding(first, steps, data)


def _shown(reading: Reading) -> float:
    return round(reading.value or 0.0, 1)


def _finding(first: str, steps: list[str], data: dict[str, object]) -> Finding:
    cover, *rest = steps
    sentences = [cover[0].upper() + cover[1:], *("If that is not enough: " + step for step in rest)]
    text = f"{first}{'. '.join(sentences)}. {CAUTION}"
    return Finding(
        code="advice", text=text, data={"short_by_stops": 0.0, **data, "steps": steps, "caution": CAUTION}
    )


def _cover(mirrored: str) -> str:
    return "cover, move or switch off the source at its own control" + (f" ({mirrored})" if mirrored else "")


def _mirrored(findings: Sequence[Finding]) -> str:
    found = (f for f in findings if f.code == "ambient_mirrored")
    return next((f.text if f.zone is None else f"{f.text}, in {f.zone}" for f in found), "")


def _place(reading: Reading, findings: Sequence[Finding]) -> str:
    if reading.zone:
        return f"in {reading.zone}"
    if reading.name == "ambient.stops_under":
        return "over the frame"
    return next((f.data["words"] for f in findings if f.code == "worst_place"), "at the worst place")


def _more_flash(short_by: float, aperture: float | None) -> str:
    room = MOST_POWER if aperture is None else min(MOST_POWER, 2.0 * math.log2(SMALLEST / aperture))
    more = min(_thirds(short_by), max(math.floor(room / _STEP + 0.1) * _STEP, 0.0))
    if more == 0.0:
        return ""
    smaller = f" (f/{aperture * 2.0 ** (more / 2):.2g})" if aperture else ""
    of_all = f"{more:.1f} of the {spoken_stops(short_by)} as" if round(more, 1) < short_by else spoken_stops(more)
    return f"{of_all} more flash with a smaller aperture{smaller}: depth of field changes"


def _shorter(short_by: float, shutter_s: float | None, sync_limit_s: float | None) -> str:
    if shutter_s is None or sync_limit_s is None:
        return ""
    room = math.log2(shutter_s / sync_limit_s)
    if room < _STEP - 0.1:
        return ""
    wanted = max(sync_limit_s, shutter_s * 2.0 ** -_thirds(short_by))
    gives = round(math.log2(shutter_s / wanted), 1)
    part = f", which gives {gives:.1f} of the {short_by:.1f}" if gives < short_by else ""
    return (
        f"a shorter shutter, {spoken_time(wanted)} instead of {spoken_time(shutter_s)}{part}: "
        "shoot both frames again; if the flash part drops, go back"
    )


def _thirds(stops: float) -> float:
    return math.ceil(stops / _STEP - 1e-6) * _STEP
