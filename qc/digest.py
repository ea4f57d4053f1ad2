"""`Digest`: one small upright picture with tile maps; all of a capture that leaves the worker besides numbers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.reading import Region, TileMap

VERSION = 1
"""Version of the stored form."""

LONG_SIDE = 1600
"""Most preview pixels along the long side."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Digest:
    """What drawings and later folds need, upright, under 1 MB when stored.

    Attributes
    ----------
    preview : ndarray of uint8, shape (rows, columns)
        Grey, upright, sRGB-like tone for looking at only.
    colours : str
        One letter a plane of `tile_means`.
    tile_means : ndarray of float32, shape (colours, rows, columns)
        Mean light of each tile, upright.
    maps : tuple of TileMap
        Upright.
    regions : tuple of Region
        With outlines.
    full_size : (int, int)
        Width and height of the upright capture, pixels.
    """

    preview: NDArray[np.uint8]
    colours: str
    tile_means: NDArray[np.float32]
    maps: tuple[TileMap, ...] = ()
    regions: tuple[Region, ...] = ()
    full_size: tuple[int, int]
