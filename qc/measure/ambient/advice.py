"""What to do about ambient light, in the order in which it should be tried."""

from __future__ import annotations

import math

from qc.frame import Camera
from qc.reading import Finding
from qc.settings import spoken_time

CAUTION = (
    "Keep the floor lit for people; lamps and heads are hot; change power or lamps only as the maker's "
    "instructions and local rules say."
)
"""How every advice ends."""

CLEAN = 6.6
"""Stops under the flash at which ambient light is 1 % of it (common practice, no published source)."""

SMALLEST = 22.6
"""Smallest aperture advised: beyond it diffraction costs more than ambient light does (common practice)."""

MOST_POWER = 3.0
"""Most stops of flash power advised at once: beyond it other heads are wanted. Our own choice."""

_STEP = 1 / 3
"""Apertures, powers and shutter times are set in thirds of a stop."""


def advice(stops: float, place: str, camera: Camera, sync_limit_s: float | None, mirrored: str = "") -> Finding:
    """Say what brings ambient light down to 1 % of the flash.

    Parameters
    ----------
    stops : float
        How far under the flash ambient light lies at its worst.
    place : str
        Where that is, in words.
    camera : Camera
        Settings of the lit frame.
    sync_limit_s : float or None
        Shortest shutter time at which flash and shutter agree. A shorter time is never advised without it.
    mirrored : str
        A mirrored thing to be covered, in words; empty when there is none.

    Returns
    -------
    Finding
        ``advice``; `data` holds ``short_by_stops``, the ``steps`` in order and the ``caution``.
    """
    short_by = max(0.0, CLEAN - stops)
    steps = ["cover, move or switch off the source at its own control" + (f" ({mirrored})" if mirrored else "")]
    if short_by > 0:
        needed = math.ceil(short_by / _STEP - 1e-6) * _STEP
        further = (_more_flash(needed, camera.aperture), _shorter(needed, camera.shutter_s, sync_limit_s))
        steps += [step for step in further if step]
    first = f"ambient light is {stops:.1f} stops under the flash {place}; {CLEAN:g} are clean. "
    text = f"{first if short_by > 0 else ''}{_sentence(steps)} {CAUTION}"
    data = {"short_by_stops": round(short_by, 2), "steps": steps, "caution": CAUTION}
    return Finding(code="advice", text=text[0].upper() + text[1:], data=data)


def _sentence(steps: list[str]) -> str:
    first, *rest = steps
    return ". ".join([first[0].upper() + first[1:], *("If that is not enough: " + step for step in rest)]) + "."


def _more_flash(needed: float, aperture: float | None) -> str:
    room = MOST_POWER if aperture is None else min(MOST_POWER, 2.0 * math.log2(SMALLEST / aperture))
    room = max(math.floor(room / _STEP + 0.1) * _STEP, 0.0)
    if room == 0.0:
        return ""
    more = min(needed, room)
    smaller = f" (f/{aperture * 2.0 ** (more / 2):.2g})" if aperture else ""
    part = "" if more == needed else f" gives {more:.1f} of the {needed:.1f} needed"
    return f"{more:.1f} stops more flash with a smaller aperture{smaller}{part}: depth of field changes"


def _shorter(needed: float, shutter_s: float | None, sync_limit_s: float | None) -> str:
    if shutter_s is None or sync_limit_s is None:
        return ""
    room = math.log2(shutter_s / sync_limit_s)
    if room < _STEP - 0.1:
        return ""
    wanted = max(sync_limit_s, shutter_s * 2.0**-needed)
    return (
        f"a shorter shutter, {spoken_time(wanted)} instead of {spoken_time(shutter_s)}: "
        "shoot both frames again; if the flash part drops, go back"
    )
