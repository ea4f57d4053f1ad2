"""How much hangs on cells of which it is unsure whether they are clipped."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np

from qc.frame import Frame
from qc.measure.ambient.light import Light, Pair
from qc.measure.ambient.tiles import counting, window_of
from qc.sheet.zones import Zone

NEAR = 0.9
"""Part of the saturation level from which a cell may be clipped where that level is not sure: sensors may saturate
some hundredths under the tagged white level. Our own choice."""

_SURE = frozenset({"tag", "top code", "given", "remembered"})


def with_bright_doubt(light: Light, pair: Pair, zone: Zone | None, cells: float) -> Light:
    """Return the light of a place with what its brightest cells leave open, in stops, added to its doubt.

    A plateau may be missed or begin lower than it was found; then cells count that are clipped and read too
    little. How far the answer moves without any cell near saturation, or beside one, bounds that. Nothing is added
    where photosites stand at a level that is known.

    Parameters
    ----------
    light : Light
        Summed over the place.
    pair : Pair
        The frames.
    zone : Zone or None
        The place; the frame when None.
    cells : float
        How many cells `light` is the mean of.
    """
    colour, lit = pair.colour, pair.lit
    if light.flash[colour] <= 0 or light.ambient[colour] <= 0 or _sure(lit, colour):
        return light
    window, mask = window_of(lit, zone)
    plane = lit.cells[colour][window]
    near = np.greater(plane, np.float32(NEAR * _saturation(lit, colour)))
    if near.any():
        # beside a clipped cell lie cells of which one photosite is clipped
        near = cv2.dilate(near.view(np.uint8), np.ones((3, 3), dtype=np.uint8)).view(np.bool_)
    if mask is not None:
        near &= mask
    counted = counting(None, None if pair.out is None else pair.out[window])
    if counted is not None and near.any():
        near &= counted > 0
    if not near.any():
        return light
    chosen = near.view(np.uint8)
    share = cv2.countNonZero(chosen) / cells
    dark = np.mean(
        [
            (cv2.mean(frame.cells[colour][window], chosen)[0] + shift[colour]) * factor
            for frame, shift, factor in zip(pair.darks, pair.shifts[1:], pair.factors, strict=True)
        ]
    )
    bright = cv2.mean(plane, chosen)[0] + pair.shifts[0, colour] - dark
    flash = light.flash[colour] - share * bright
    ambient = light.ambient[colour] - share * dark
    if flash <= 0 or ambient <= 0:
        return light
    moved = np.log2(flash / ambient) - np.log2(light.flash[colour] / light.ambient[colour])
    return replace(light, doubt=light.doubt + abs(float(moved)))


def _sure(frame: Frame, colour: int) -> bool:
    return frame.saturation[colour].source in _SURE and bool(frame.clip[colour].any())


def _saturation(frame: Frame, colour: int) -> float:
    """Return the level at which a colour saturates, as light; the tagged white level where it is unknown."""
    level = frame.saturation[colour].level
    return 1.0 if level is None else (level - float(frame.black.array().mean())) / frame.scale
