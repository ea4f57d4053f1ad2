"""Digests made by hand for the tests of drawings."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import Region, TileMap
from qc.show.draw._canvas import MARGIN, Caption, Picture

CAPTION = Caption(name="SB_0001.dng", shown="Made up.")


def digest_of(
    *,
    shape: tuple[int, int] = (400, 600),
    regions: tuple[Region, ...] = (),
    maps: tuple[TileMap, ...] = (),
    grey: int = 90,
) -> Digest:
    return Digest(
        preview=np.full(shape, grey, dtype=np.uint8),
        colours="RGB",
        tile_means=np.zeros((3, 1, 1), dtype=np.float32),
        maps=maps,
        regions=regions,
        region_readings=("made.up",) * len(regions),
        full_size=(shape[1] * 4, shape[0] * 4),
    )


def picture_in(drawing: Picture, key: int, shape: tuple[int, int]) -> Picture:
    """Cut the picture out of a drawing: `key` is the height of everything under it."""
    rows, columns = shape
    bottom = drawing.shape[0] - MARGIN - key
    left = (drawing.shape[1] - columns) // 2
    return drawing[bottom - rows : bottom, left : left + columns]


def coloured(picture: Picture) -> NDArray[np.bool_]:
    """Pixels that are not grey."""
    return np.ptp(picture.astype(int), axis=2) > 40
