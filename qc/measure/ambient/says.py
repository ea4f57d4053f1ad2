"""What there is to say about the frames themselves: flicker, repeatability, scaling, other shutter times."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure.ambient.light import Light, Pair
from qc.measure.ambient.tiles import Tiles
from qc.reading import Finding, Reason
from qc.settings import SAME_EXPOSURE, spoken_time
from qc.words import spoken_number, spoken_stops

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
    differ = spoken_stops(spread, 2)
    text = f"{len(lights)} dark frames differ by {differ}: their mean is used, half of it is in the ±"
    return [
        Finding(code="dark_spread", text=text, data={"stops": round(spread, 3), "frames": len(lights)})
    ], spread


def repeatability(pair: Pair, tiles: Tiles, others: Sequence[Pair]) -> tuple[list[Finding], float | Reason]:
    """Say how much the flash differs between lit frames.

    Returns
    -------
    (findings, spread)
        ``flash_repeatability``; the spread in stops of the median over tiles, or why there is none.
    """
    if not others:
        return [], Reason("one_lit", "only one lit frame of these settings: how the flash repeats is not known")
    colour, shape = pair.colour, (tiles.cells.shape[0], tiles.cells.shape[1])
    stops = []
    for other in others:
        second = other.tiles(shape)
        both = tiles.usable(colour) & second.usable(colour)
        if not both.any():
            return [], Reason("too_dark", "the flash stands clear of the noise nowhere in all lit frames")
        stops.append(float(np.median(np.log2(second.flash[colour][both] / tiles.flash[colour][both]))))
    spread = max(0.0, *stops) - min(0.0, *stops)
    text = f"the flash differs by {spoken_stops(spread, 2)} over {len(stops) + 1} lit frames"
    data = {"stops": round(spread, 3), "each": [0.0, *(round(s, 3) for s in sorted(stops))]}
    return [Finding(code="flash_repeatability", text=text, data=data)], spread


def scaled(scaling: Sequence[tuple[float, float]], darks: Sequence[Frame]) -> list[Finding]:
    """Say by what the dark frames were scaled for their shutter time."""
    findings = []
    for (stops, doubt), dark in zip(scaling, darks, strict=True):
        if stops:
            time = spoken_time(dark.camera.shutter_s or 1.0)
            by = spoken_stops(stops, 2, signed=True)
            text = f"the dark frame was shot at {time}: its light is scaled by {by} of shutter time"
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
    steps: list[float] = [s for s in _PREDICTED if sync_limit_s is None or shutter * 2.0**s >= sync_limit_s * 0.93]
    if sync_limit_s is not None:
        at_limit = math.log2(sync_limit_s / shutter)
        if all(abs(at_limit - step) > SAME_EXPOSURE for step in (0.0, *steps)):
            steps = sorted([*steps, at_limit], reverse=True)
    times = [shutter * 2.0**s for s in steps]
    under = [float(light.stops()[colour]) - s for s in steps]
    measured = bool(light.measured()[colour])
    least = "" if measured else "at least "
    pairs = ", ".join(f"{spoken_time(t)} {least}{spoken_number(u, 1)}" for t, u in zip(times, under, strict=True))
    data = {
        "shutter_s": [float(f"{t:.6g}") for t in times],
        "stops_under": [round(u, 2) for u in under],
        "bound": None if measured else "at least",
        "sync_limit_s": sync_limit_s,
    }
    unsure = "" if sync_limit_s is not None else "; no sync limit is stated, so short times may cut the flash"
    text = f"stops under the flash at other shutter times: {pairs}{unsure}"
    return [Finding(code="prediction", text=text, data=data)] if math.isfinite(under[0]) else []
