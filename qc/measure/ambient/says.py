"""What there is to say about the frames themselves: flicker, repeatability, scaling, other shutter times."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure.ambient.advice import CLEAN, advice
from qc.measure.ambient.light import Light, Pair
from qc.measure.ambient.tiles import Tiles
from qc.reading import Finding, Reading
from qc.settings import spoken_time

_PREDICTED = (2, 1, -1, -2, -3)
"""Stops of shutter time from the present one that are predicted."""


def dark_findings(pair: Pair, where: NDArray[np.bool_], shape: tuple[int, int]) -> tuple[list[Finding], float]:
    """Say how much the dark frames differ, or that there is only one.

    Returns
    -------
    (findings, spread)
        The spread in stops between the brightest and the darkest dark frame over the usable tiles; 0 where
        there is one only or where they are at the floor.
    """
    if len(pair.darks) == 1:
        text = "only one dark frame: lamps on mains may flicker; a second one would show by how much"
        return [Finding(code="single_dark", text=text)], 0.0
    lights = []
    for i, dark in enumerate(pair.darks):
        alone = replace(
            pair,
            darks=(dark,),
            factors=(pair.factors[i],),
            shifts=pair.shifts[[0, i + 1]],
            dark_noises=(pair.dark_noises[i],),
        )
        lights.append(alone.light(alone.tiles(shape), where))
    levels = np.array([light.ambient[pair.colour] for light in lights])
    if not all(light.measured()[pair.colour] for light in lights):
        text = f"{len(lights)} dark frames, at the measuring floor: their spread cannot be told"
        return [Finding(code="dark_spread", text=text, data={"stops": None, "frames": len(lights)})], 0.0
    spread = float(np.log2(levels.max() / levels.min()))
    text = f"{len(lights)} dark frames differ by {spread:.2f} stop: their mean is used, half of it is in the ±"
    return [
        Finding(code="dark_spread", text=text, data={"stops": round(spread, 3), "frames": len(lights)})
    ], spread


def repeatability(pair: Pair, tiles: Tiles, others: Sequence[Pair]) -> list[Finding]:
    """Say how much the flash differs between lit frames: the median over tiles, in stops from the first."""
    if not others:
        return []
    colour, shape = pair.colour, (tiles.cells.shape[0], tiles.cells.shape[1])
    stops = []
    for other in others:
        second = other.tiles(shape)
        both = tiles.usable(colour) & second.usable(colour)
        if not both.any():
            return []
        stops.append(float(np.median(np.log2(second.flash[colour][both] / tiles.flash[colour][both]))))
    spread = max(0.0, *stops) - min(0.0, *stops)
    text = f"the flash differs by {spread:.2f} stop over {len(stops) + 1} lit frames"
    data = {"stops": round(spread, 3), "each": [0.0, *(round(s, 3) for s in stops)]}
    return [Finding(code="flash_repeatability", text=text, data=data)]


def scaled(scaling: Sequence[tuple[float, float]], darks: Sequence[Frame]) -> list[Finding]:
    """Say by what the dark frames were scaled for their shutter time."""
    findings = []
    for (stops, doubt), dark in zip(scaling, darks, strict=True):
        if stops:
            time = spoken_time(dark.camera.shutter_s or 1.0)
            text = f"the dark frame was shot at {time}: its light is scaled by {stops:+.2f} stop of shutter time"
            data = {"stops": round(stops, 3), "doubt_stops": round(doubt, 3)}
            findings.append(Finding(code="scaled_shutter", text=text, data=data))
    return findings


def prediction(light: Light, pair: Pair, sync_limit_s: float | None) -> list[Finding]:
    """Predict stops under for other shutter times: ambient light follows the time, flash does not.

    No time is predicted that is shorter than a stated sync limit: there the flash does change.
    """
    shutter, colour = pair.lit.camera.shutter_s, pair.colour
    if shutter is None or not float(light.ambient[colour]) > 0:
        return []
    steps = [s for s in _PREDICTED if sync_limit_s is None or shutter * 2.0**s >= sync_limit_s * 0.93]
    times = [shutter * 2.0**s for s in steps]
    under = [float(light.stops()[colour]) - s for s in steps]
    measured = bool(light.measured()[colour])
    least = "" if measured else "at least "
    pairs = ", ".join(f"{spoken_time(t)} {least}{u:.1f}" for t, u in zip(times, under, strict=True))
    data = {
        "shutter_s": [float(f"{t:.6g}") for t in times],
        "stops_under": [round(u, 2) for u in under],
        "bound": None if measured else "at least",
        "sync_limit_s": sync_limit_s,
    }
    unsure = "" if sync_limit_s is not None else "; no sync limit is stated, so short times may cut the flash"
    text = f"stops under the flash at other shutter times: {pairs}{unsure}"
    return [Finding(code="prediction", text=text, data=data)] if math.isfinite(under[0]) else []


def advised(
    readings: Sequence[Reading], findings: Sequence[Finding], pair: Pair, sync_limit_s: float | None
) -> list[Finding]:
    """Give advice where ambient light is measured to be less than clean, or something mirrors it."""
    names = ("ambient.stops_under", "ambient.worst_stops_under")
    measured = [r for r in readings if r.name in names and r.value is not None and r.bound is None]
    worst = min(measured, default=None, key=lambda r: r.value or 0.0)
    found = (f for f in findings if f.code == "ambient_mirrored")
    mirrored = next((f.text if f.zone is None else f"{f.text}, in {f.zone}" for f in found), "")
    stops = math.inf if worst is None or worst.value is None else worst.value
    if stops >= CLEAN and not mirrored:
        return []
    nearest = next((f.data["words"] for f in findings if f.code == "worst_place"), "at the worst place")
    place = f"in {worst.zone}" if worst is not None and worst.zone else nearest
    return [advice(stops, place, pair.lit.camera, sync_limit_s, mirrored)]
