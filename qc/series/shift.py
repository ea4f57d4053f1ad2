"""By how much the light of one picture differs from that of others, where the picture lets one say so."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.series.tiles import DARKEST, Light

Shape = Literal["whole", "left", "right", "top", "bottom"]

AGREES = 0.1
"""Stops that a tile may lie from what the picture as a whole says."""

MOST_AGREE = 0.5
"""Part of the tiles with light that must agree: fewer, and the scene changed rather than the light. Our own
choice: on 148 frames of 4 rehearsed days, with glossy bottles swapped, moved and turned on a white sweep, 53 % or
more agree, always on less than .05 stop."""

ONE_WAY = 0.75
"""Part of the tiles with light that must all be darker, or all brighter, to say so without their agreeing on by
how much: a head that lights some places more than others was lost. Our own choice: a swap moves at most 31 % one
way on those days."""

MOVED = 0.15
"""Stops from which a tile counts as darker or brighter."""

LEAST_OF_FRAME = 0.3
"""Part of the frame that must agree. A product that fills less, all else black or burnt, may have been swapped for
a lighter one of the same shape, and no picture can tell that from other light. Our own choice."""

ONE_SIDE = 2.0
"""A side names the shape when its change is at least so many times that of the side across."""

_TO_SIDE = 2 / 3
"""Where a side's change is read: the middle of the frame's outer third."""

_ROUNDS = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Shift:
    """A change of light.

    Attributes
    ----------
    stops : float
        + is brighter; for a side, in the middle of the frame's outer third there.
    shape : str
        Where.
    """

    stops: float
    shape: Shape


def shift_of(usual: Light, now: Light) -> Shift | None:
    """Return the change of light from one picture to another; None where the scene changed.

    log2 of the ratio of each tile that has light enough in both and is not clipped. Where most tiles agree on
    their median it is that; else a plane through them, by least absolute differences, where most agree on that,
    since one head of several lost shows as a slope; else the median where nearly all went the same way.

    Parameters
    ----------
    usual, now : ndarray of float32, shape (rows, columns)
        Light of coarse tiles, NaN where a tile says nothing.

    Returns
    -------
    Shift or None
    """
    if usual.shape != now.shape:
        return None
    use = (usual >= DARKEST) & (now >= DARKEST)  # NaN is neither
    if use.sum() < LEAST_OF_FRAME * use.size:
        return None
    stops = np.log2(now[use].astype(np.float64) / usual[use])
    middle = float(np.median(stops))
    whole = Shift(stops=middle, shape="whole")
    if _agree(stops - middle, use.size):
        return whole
    return _sloping(stops, use) or (whole if _one_way(stops, use.size) else None)


def _agree(residuals: NDArray[np.float64], tiles: int) -> bool:
    agreeing = int((np.abs(residuals) <= AGREES).sum())
    return agreeing >= MOST_AGREE * residuals.size and agreeing >= LEAST_OF_FRAME * tiles


def _one_way(stops: NDArray[np.float64], tiles: int) -> bool:
    moved = max(int((stops < -MOVED).sum()), int((stops > MOVED).sum()))
    return moved >= ONE_WAY * stops.size and moved >= LEAST_OF_FRAME * tiles


def _sloping(stops: NDArray[np.float64], use: NDArray[np.bool_]) -> Shift | None:
    rows, columns = (np.linspace(-1.0, 1.0, n) if n > 1 else np.zeros(1) for n in use.shape)
    y, x = np.nonzero(use)
    at = np.stack([np.ones(len(x)), columns[x], rows[y]], axis=1)
    plane = _least_absolute(at, stops)
    if not _agree(stops - at @ plane, use.size):
        return None
    level, across, down = (float(term) for term in plane)
    level_wise = abs(across) >= abs(down)
    slope = _TO_SIDE * (across if level_wise else down)
    sides: tuple[Shape, Shape] = ("left", "right") if level_wise else ("top", "bottom")
    ends = sorted(zip((level - slope, level + slope), sides, strict=True), key=lambda end: -abs(end[0]))
    if abs(ends[0][0]) < ONE_SIDE * abs(ends[1][0]):
        return Shift(stops=level, shape="whole")
    return Shift(stops=ends[0][0], shape=ends[0][1])


def _least_absolute(at: NDArray[np.float64], stops: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the plane of least absolute differences, by least squares weighted anew (from memory: IRLS)."""
    plane = np.array([np.median(stops), 0.0, 0.0])
    for _ in range(_ROUNDS):
        weight = 1.0 / np.maximum(np.abs(stops - at @ plane), 0.02)
        plane = np.linalg.lstsq(at.T * weight @ at, at.T * weight @ stops, rcond=None)[0]
    return plane
