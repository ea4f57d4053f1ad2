"""Tiles: an equal division of the frame, the same fractions whatever plane is tiled.

A tile is about square and the long side has at most `LONG_SIDE` of them. Means over tiles weight the cells at a
tile's rim by the part that lies inside, so a tile is exactly a fraction of the picture.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

LONG_SIDE = 96
"""Most tiles along the long side of a frame."""

SMALLEST = 8
"""Fewest cells along the side of a tile, so that a tile's mean is worth having."""


def grid(shape: tuple[int, int], *, long_side: int = LONG_SIDE, smallest: int = SMALLEST) -> tuple[int, int]:
    """Return rows and columns of tiles for a plane of the given shape; at least 1 × 1.

    Parameters
    ----------
    shape : (int, int)
        Rows and columns of the plane.
    long_side : int
        Most tiles along the long side.
    smallest : int
        Fewest plane pixels along a tile's side.
    """
    count = max(1, min(long_side, max(shape) // smallest))
    side = max(shape) / count
    rows, columns = (max(1, round(n / side)) for n in shape)
    return rows, columns


def tile_means(plane: NDArray[np.generic], tiles: tuple[int, int]) -> NDArray[np.float32]:
    """Return the area-weighted mean of a plane over each tile.

    Parameters
    ----------
    plane : ndarray, shape (rows, columns)
        Any real dtype; NaN spreads over its tile.
    tiles : (int, int)
        Rows and columns of tiles, not more than the plane has.

    Returns
    -------
    ndarray of float32, shape `tiles`
    """
    source = np.ascontiguousarray(plane, dtype=np.float32)
    # rows first: the same means to rounding, five times faster than both axes in one call
    strips = cv2.resize(source, (source.shape[1], tiles[0]), interpolation=cv2.INTER_AREA)
    means = cv2.resize(strips, (tiles[1], tiles[0]), interpolation=cv2.INTER_AREA)
    return np.asarray(means, dtype=np.float32).reshape(tiles)


def masked_tile_means(
    plane: NDArray[np.float32], mask: NDArray[np.bool_], tiles: tuple[int, int]
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return the mean over the cells of each tile where `mask` is true, and the fraction that they are.

    Returns
    -------
    means : ndarray of float32, shape `tiles`
        NaN where no cell counts.
    fraction : ndarray of float32, shape `tiles`
        0 (no cell counts) to 1 (all do).
    """
    fraction = tile_means(mask.astype(np.float32), tiles)
    sums = tile_means(np.where(mask, plane, np.float32(0)), tiles)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = np.where(fraction > 0, sums / fraction, np.float32(np.nan))
    return means.astype(np.float32), fraction
