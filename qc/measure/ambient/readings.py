"""From light to readings: pooled, worst, colour; for the frame and for zones alike."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.measure.ambient.colour import Hue
from qc.measure.ambient.light import VISIBLE, Light
from qc.measure.ambient.spec import READINGS
from qc.measure.ambient.structure import Structure
from qc.reading import Reading, Reason
from qc.words import spoken_number

Array = NDArray[np.float64]

_UNITS = {spec.name: spec.unit for spec in READINGS}

WORST = 2.0
"""Percentile of the groups that stands for the worst place."""

NO_MODEL = Reason("no_noise_model", "neighbouring pixels of this kind of file are not independent")


def reading(
    name: str, zone: str | None, value: float, plus_minus: float | None, *, stated: bool = True
) -> Reading:
    """Return a reading with its ±, or with the doubt where none may be stated."""
    return Reading(
        name=name,
        unit=_UNITS[name],
        zone=zone,
        value=value,
        plus_minus=plus_minus if stated else None,
        doubt=None if stated else NO_MODEL,
    )


def missing(name: str, zone: str | None, reason: Reason) -> Reading:
    """Return a reading that has no value."""
    return Reading(name=name, unit=_UNITS[name], zone=zone, reason=reason)


def at_least(name: str, zone: str | None, value: float) -> Reading:
    """Return a reading whose true value may be larger: at the measuring floor, or cut off by clipping."""
    return Reading(name=name, unit=_UNITS[name], zone=zone, value=value, bound="at least")


def at_most(name: str, zone: str | None, value: float) -> Reading:
    """Return the other kind of bound."""
    return Reading(name=name, unit=_UNITS[name], zone=zone, value=value, bound="at most")


def pooled(light: Light, colour: int, zone: str | None, *, stated: bool) -> list[Reading]:
    """Return ``ambient.stops_under`` and ``ambient.to_flash`` of one place."""
    stops = float(light.stops()[colour])
    percent = 100.0 * 2.0**-stops
    if not light.measured()[colour]:
        return [at_least("ambient.stops_under", zone, stops), at_most("ambient.to_flash", zone, percent)]
    pm = float(light.stops_pm()[colour])
    return [
        reading("ambient.stops_under", zone, stops, pm, stated=stated),
        reading("ambient.to_flash", zone, percent, percent * pm * float(np.log(2.0)), stated=stated),
    ]


def visible(light: Light, colour: int) -> NDArray[np.bool_]:
    """Where the lit frame is above L* 10: deeper places are mapped, never judged."""
    return np.asarray(light.flash[colour] + light.ambient[colour] >= VISIBLE)


def worst(light: Light, colour: int, where: NDArray[np.bool_], zone: str | None, *, stated: bool) -> Reading:
    """Return ``ambient.worst_stops_under`` over groups, of which at least one is in `where`."""
    name = "ambient.worst_stops_under"
    stops, sure = light.stops()[colour], where & light.measured()[colour]
    if not sure.any():
        return at_least(name, zone, float(np.percentile(stops[where], WORST)))
    at = at_percentile(stops, sure, WORST)
    return reading(name, zone, float(stops[at]), float(light.stops_pm()[colour][at]), stated=stated)


def worst_shift(
    shift: Array, plus_minus: Array, where: NDArray[np.bool_], zone: str | None, *, stated: bool
) -> Reading:
    """Return ``ambient.colour_shift`` over groups, of which at least one is in `where`."""
    name = "ambient.colour_shift"
    sure = where & (plus_minus < shift / 3.0)
    if not sure.any():
        # the half that noise hides least: in the rest a bound would only tell how dark it is
        clear = where & (plus_minus <= np.median(plus_minus[where]))
        return at_most(name, zone, float(np.percentile((shift + plus_minus)[clear], 100.0 - WORST)))
    at = at_percentile(-shift, sure, WORST)
    return reading(name, zone, float(shift[at]), float(plus_minus[at]), stated=stated)


def at_percentile(values: Array, where: NDArray[np.bool_], percent: float) -> tuple[np.intp, ...]:
    """Return the index of the element of `values` at a low percentile of those in `where`; the lower of two."""
    places = np.flatnonzero(where)
    ordered = places[np.argsort(values.ravel()[places], kind="stable")]
    chosen = ordered[int(percent / 100.0 * (len(ordered) - 1))]
    return tuple(np.unravel_index(chosen, values.shape))


def coloured(hue: Hue | Reason, zone: str | None, *, stated: bool) -> list[Reading]:
    """Return ``ambient.temperature`` and ``ambient.tint``."""
    names = "ambient.temperature", "ambient.tint"
    if isinstance(hue, Reason):
        return [missing(name, zone, hue) for name in names]
    if hue.duv is None:
        none = Reason("no_colour_matrix", "the file carries no usable camera matrix")
        return [missing(name, zone, none) for name in names]
    tint = reading(names[1], zone, hue.duv, hue.duv_pm, stated=stated)
    if hue.kelvin is None:
        duv = spoken_number(hue.duv, 3, signed=True)
        far = Reason("colour_uncertain", f"Duv is {duv}: so far from white that no temperature describes it")
        return [missing(names[0], zone, far), tint]
    return [reading(names[0], zone, hue.kelvin, hue.kelvin_pm, stated=stated), tint]


def structured(found: Structure | None, *, stated: bool, clipped: bool) -> Reading:
    """Return ``ambient.structure``; a bound where a dark frame is clipped, since no clipped cell is read."""
    name = "ambient.structure"
    if found is None:
        return missing(name, None, Reason("clipped", "every cell is clipped in one of the frames"))
    if clipped:
        return at_least(name, None, 100.0 * found.value)
    if not found.clear:
        return at_most(name, None, 100.0 * (found.value + found.plus_minus))
    return reading(name, None, 100.0 * found.value, 100.0 * found.plus_minus, stated=stated)


def flash_spread(spread: float | Reason) -> Reading:
    """Return ``ambient.flash_spread``."""
    name = "ambient.flash_spread"
    if isinstance(spread, Reason):
        return missing(name, None, spread)
    return Reading(name=name, unit=_UNITS[name], value=spread)


@dataclass(frozen=True, slots=True)
class Groups:
    """Light of 3 × 3 tiles around each tile of the frame, and what it does to a neutral.

    Attributes
    ----------
    light : Light
        Shape (colours, rows, columns).
    where : ndarray of bool
        Groups with enough usable tiles above L* 10 in the lit frame.
    coloured : ndarray of bool
        Those of them that are usable in every colour.
    shift, shift_pm : ndarray of float or Reason
        ΔE00 and its ±; NaN elsewhere. The reason when colour cannot be computed.
    """

    light: Light
    where: NDArray[np.bool_]
    coloured: NDArray[np.bool_]
    shift: Array | Reason
    shift_pm: Array
