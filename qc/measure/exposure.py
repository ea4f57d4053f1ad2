"""Exposure: how far under saturation the light of the frame, or of a place, lies on average.

Headroom tells of the brightest tone; this tells of the whole place. The colour that saturation is nearest to
decides, since it is the one that would clip first if the light of the place were even.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame, Plane
from qc.measure.highlights.headroom import light_at_saturation
from qc.measure.highlights.zone_cells import Window, ZoneCells
from qc.reading import Measured, Rank, Reading, ReadingSpec, Reason, Spec, Unit
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone

CLEAR_OF_NOISE = 3.0
"""Standard errors that a mean must exceed to count as light. Common practice, no published source."""

READING = ReadingSpec(
    name="exposure.level",
    unit=Unit.STOPS,
    phrase="mean light {value} {stops} under clipping",
    called="mean light under clipping",
    meaning="How many stops the mean light lies under saturation, in the colour that is nearest to it: how bright"
    " the place is, and how far from clipping on average.",
    low_end="0: all of it is at saturation",
    high_end="no upper end: a white surface lies 0 to 1 under, mid grey about 2½ further, a room without its flash"
    " seven and more (common practice, no published source)",
    method="log2(light at saturation / mean light) of the colour for which it is least; all cells count, clipped"
    " ones as saturation, which makes the number the most it can be. Saturation is the level at which photosites"
    " clip, less black; in a finished picture the top code of its linear light, which the sensor may not have"
    " reached. ± holds photon and read noise and the uncertainty of black, not that of the level of saturation.",
    source="a stop is a factor of two of exposure (APEX arithmetic, Exif 2.32 annex C); DNG 1.7.1.0 chapter 5"
    " (white level is where the sensor or converter saturates)",
    per_zone=tuple(Role),
    comparable_when="same body, ISO and file kind: saturation belongs to all three",
)


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """Measure how bright the frame and every zone are; see `READING`."""
    del brief  # nothing of a set changes how bright a picture is
    return Measured(readings=(of_frame(frame), *(of_zone(frame, zone) for zone in zones)))


def of_frame(frame: Frame) -> Reading:
    """Return how far the mean light of the whole frame lies under saturation."""
    rows, columns = frame.cells.shape[1:]
    if rows == 0 or columns == 0:
        return _missing(None, _no_cell(frame))
    return _level(frame, None, (slice(0, rows), slice(0, columns)), None)


def of_zone(frame: Frame, zone: Zone) -> Reading:
    """Return how far the mean light of one zone lies under saturation; it looks nowhere else."""
    shape = frame.cells.shape[1], frame.cells.shape[2]
    if 0 in shape:
        return _missing(zone.name, _no_cell(frame))
    cells = ZoneCells.of(zone, shape, frame.orientation)
    if not cells.inside.any():
        return _missing(zone.name, Reason("outside_frame", f"the zone {zone.name} holds no cell of the frame"))
    return _level(frame, zone.name, cells.window, None if cells.inside.all() else cells.inside)


def _no_cell(frame: Frame) -> Reason:
    return Reason("too_small", f"{frame.width} × {frame.height} px hold no whole cell")


def _missing(zone: str | None, reason: Reason) -> Reading:
    return Reading(name=READING.name, unit=READING.unit, zone=zone, reason=reason)


def _level(frame: Frame, zone: str | None, window: Window, inside: NDArray[np.bool_] | None) -> Reading:
    levels = light_at_saturation(frame)
    if (unknown := _no_saturation(frame, levels)) is not None:
        return _missing(zone, unknown)
    light = _light(frame, levels, window, inside)
    black = frame.black.uncertainty / frame.scale
    least = CLEAR_OF_NOISE * math.hypot(light.noise, black)
    if light.mean <= least:
        text = f"the mean, {100 * light.mean:.2g} % of full scale, does not stand clear of noise and black"
        return _missing(zone, Reason("too_dark", text))
    burnt = _any_clipped(frame, window, inside)
    stops = math.log2(light.saturation / light.mean)
    return Reading(
        name=READING.name,
        unit=READING.unit,
        zone=zone,
        # photosites of a soft plateau read a little over its lower end, where clipping begins
        value=max(0.0, stops) if burnt else stops,
        # the wider side: the mean less its error
        plus_minus=-math.log2(1 - 2 * math.hypot(light.noise, black) / light.mean) if light.modelled else None,
        bound="at most" if burnt else None,
        doubt=None if light.modelled else _no_noise(frame),
    )


def _no_saturation(frame: Frame, levels: NDArray[np.float64]) -> Reason | None:
    letters = "".join(s.colour for s in frame.saturation if s.level is None)
    if letters:
        return Reason("saturation_unknown", f"the level at which {letters} saturates cannot be told")
    if np.any(levels <= 0):
        return Reason("saturation_unknown", "saturation lies at or under black")
    return None


def _no_noise(frame: Frame) -> Reason:
    if frame.kind == "rendered":
        text = "a finished picture is read against its top code, and its noise is not known"
    else:
        text = "the noise of the sensor is not known"
    return Reason("no_noise_model", text)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Light:
    """Mean light of the colour nearest to saturation, its standard error by noise, and where it saturates."""

    mean: float
    noise: float
    saturation: float
    modelled: bool


def _light(frame: Frame, levels: NDArray[np.float64], window: Window, inside: NDArray[np.bool_] | None) -> _Light:
    planes = frame.cells[(slice(None), *window)]
    mask = None if inside is None else inside.view(np.uint8)
    cells = planes[0].size if inside is None else int(np.count_nonzero(inside))
    means = [_mean(plane, mask) for plane in planes]
    colour = int(np.argmax(np.array(means) / levels))
    variance = frame.variance_of_photosite(means[colour])
    if variance is not None:
        noise = math.sqrt(float(variance) / (cells * frame.photosites_per_cell()[colour]))
    else:  # detail is in the scatter too: an upper end, good for telling darkness, not for a ±
        noise = float(cv2.meanStdDev(planes[colour], mask=mask)[1][0, 0]) / math.sqrt(cells)
    return _Light(mean=means[colour], noise=noise, saturation=float(levels[colour]), modelled=variance is not None)


def _mean(plane: Plane, mask: NDArray[np.uint8] | None) -> float:
    if mask is not None:
        return float(cv2.mean(plane, mask)[0])
    # sums of the rows first: OpenCV shares them between processors; twice as fast as a mean in one call
    return float(cv2.reduce(plane, 1, cv2.REDUCE_SUM, dtype=cv2.CV_64F).sum()) / plane.size


def _any_clipped(frame: Frame, window: Window, inside: NDArray[np.bool_] | None) -> bool:
    """Tell whether any cell of a place holds a clipped photosite of any colour."""
    step = frame.cell // frame.clip_cell
    rows, columns = (slice(part.start * step, part.stop * step) for part in window)
    planes = [plane[rows, columns] for plane in frame.clip]
    touched = [plane for plane in planes if cv2.countNonZero(plane)]
    if inside is None or not touched:
        return bool(touched)
    where = inside.repeat(step, axis=0).repeat(step, axis=1) if step > 1 else inside
    return any(bool(np.any(plane[where])) for plane in touched)


SPEC = Spec(
    name="exposure",
    version=1,
    measure=measure,
    readings=(READING,),
    rank=Rank.REST,
)
