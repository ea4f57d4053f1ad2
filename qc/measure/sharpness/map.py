"""Blur over the frame: per tile, the best place, how much of the detail is sharp, how the sharp plane lies."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.measure._tiles import grid
from qc.measure.sharpness.pieces import Pieces

LONG_SIDE = 32
"""Most tiles along the long side of the frame."""

SMALLEST = 48
"""Fewest px along the side of a tile."""

TILE_LENGTH = 12.0
"""Least ridge length of a tile that has a value, px."""

GROUP_LENGTH = 60.0
"""Least ridge length of a 3 × 3 group of tiles that may be the best, px."""

SHARP_FACTOR = 1.3
SHARP_ROOM = 0.3
"""A tile is sharp up to the larger of 1.3 × the best blur and the best blur + 0.3 px."""

FEWEST_TILES = 12
"""Fewest tiles with a value for the lie of the sharp plane."""

Numbers = NDArray[np.float64]


@dataclass(frozen=True, slots=True, kw_only=True)
class BlurMap:
    """Blur per tile, sensor orientation.

    Attributes
    ----------
    blur : ndarray, shape (rows, columns)
        Median σ of the tile's edges by length, px; NaN where there are too few.
    length : ndarray, same shape
        Ridge length, px.
    error : ndarray, same shape
        Standard error of ln σ.
    """

    blur: Numbers
    length: Numbers
    error: Numbers


@dataclass(frozen=True, slots=True, kw_only=True)
class Plane:
    """How the sharp plane lies: blur = `least` + `slope` × distance from a line, in fractions of the frame.

    Attributes
    ----------
    x, y : float
        Mean place of the sharpest tenth along the fit, fractions of the sensor picture.
    slope : float
        Growth of blur away from the line, px per frame width.
    slope_error : float
        Its standard error.
    """

    x: float
    y: float
    slope: float
    slope_error: float


def blur_map(edges: Pieces, height: int, width: int) -> BlurMap:
    """Return the blur of each tile.

    Parameters
    ----------
    edges : Pieces
        Clean edges.
    height, width : int
        Of the frame, px.
    """
    shape = grid((height, width), long_side=LONG_SIDE, smallest=SMALLEST)
    row = np.clip(((edges.y + 0.5) / height * shape[0]).astype(np.intp), 0, shape[0] - 1)
    column = np.clip(((edges.x + 0.5) / width * shape[1]).astype(np.intp), 0, shape[1] - 1)
    tile = row * shape[1] + column
    count = shape[0] * shape[1]
    length = np.bincount(tile, weights=edges.length, minlength=count).astype(np.float64)
    order = np.lexsort((edges.blur, tile))
    along = np.cumsum(edges.length[order])
    ends = np.cumsum(np.bincount(tile, minlength=count))
    before = np.concatenate([[0.0], along])[ends - np.bincount(tile, minlength=count)]
    middle = np.searchsorted(along, before + 0.5 * length)
    blur = np.full(count, np.nan)
    enough = length >= TILE_LENGTH
    blur[enough] = edges.blur[order][middle[enough]]
    inverse = np.bincount(tile, weights=1.0 / (edges.error**2 + 0.05**2), minlength=count)
    with np.errstate(divide="ignore"):
        # a median has π/2 of the variance of a mean
        error = np.sqrt(np.pi / 2 / inverse)
    return BlurMap(blur=blur.reshape(shape), length=length.reshape(shape), error=error.reshape(shape))


def best_blur(found: BlurMap) -> tuple[float, float] | None:
    """Return the least blur of all 3 × 3 groups of tiles and its standard error in ln σ; None without a group."""
    known = np.isfinite(found.blur)
    weight = np.where(known, found.length, 0.0)
    logs = np.where(known, np.log(np.where(known, found.blur, 1.0)), 0.0)
    precision = np.where(known, 1.0 / np.maximum(found.error, 1e-3) ** 2, 0.0)
    total = _around(weight)
    enough = known & (total >= GROUP_LENGTH)
    if not enough.any():
        return None
    mean = np.where(enough, _around(weight * logs) / np.maximum(total, 1e-9), np.inf)
    error = 1.0 / np.sqrt(np.maximum(_around(precision), 1e-9))
    # the least of many noisy means is too small: what counts is how sharp a group is for certain
    at = np.unravel_index(int(np.argmin(mean + 2 * error)), mean.shape)
    return float(np.exp(mean[at])), float(error[at])


def _around(values: Numbers) -> Numbers:
    """Return the sum over each 3 × 3 group."""
    return np.asarray(cv2.boxFilter(values, cv2.CV_64F, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT))


def sharp_share(found: BlurMap, best: float) -> float:
    """Return the % of tiles with detail that are sharp."""
    known = found.blur[np.isfinite(found.blur)]
    return float(100.0 * np.mean(known <= max(SHARP_FACTOR * best, best + SHARP_ROOM)))


def sharp_plane(found: BlurMap, height: int, width: int) -> Plane | None:
    """Fit blur = least + slope × |distance from a line| to the tiles.

    Directions and offsets are tried on a grid and the pair with the least weighted absolute residual is kept;
    a line outside the frame is a plain gradient. None when too few tiles have a value or they lie too close.
    """
    row, column = np.nonzero(np.isfinite(found.blur))
    if len(row) < FEWEST_TILES:
        return None
    x = (column + 0.5) / found.blur.shape[1]
    y = (row + 0.5) / found.blur.shape[0] * height / width
    if np.hypot(np.ptp(x), np.ptp(y)) < 0.2:
        return None
    blur = found.blur[row, column]
    least, slope, spread = np.inf, 0.0, 0.0
    for angle in np.arange(0.0, np.pi, np.pi / 18):
        along = x * np.cos(angle) + y * np.sin(angle)
        for line in np.linspace(along.min(), along.max(), 13):
            distance = np.abs(along - line)
            centred = distance - distance.mean()
            square = max(float((centred**2).sum()), 1e-12)
            tried = max(0.0, float((centred * blur).sum() / square))
            rest = blur - blur.mean() - tried * centred
            size = float(np.abs(rest).sum())
            if size < least:
                spread = float(np.sqrt((rest**2).sum() / max(len(blur) - 4, 1) / square))
                least, slope = size, tried
    weight = found.length[row, column] * (blur <= np.quantile(blur, 0.25))
    return Plane(
        x=float(np.average(x, weights=weight)),
        y=float(np.average(y, weights=weight)) * width / height,
        slope=slope,
        slope_error=spread,
    )
