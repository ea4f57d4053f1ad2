"""One number a tile as a colour, on a perceptually even scale; tiles without one stay grey picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import TileMap
from qc.sheet.zones import Zone
from qc.show.draw._canvas import Caption, Picture, compose, draw_zones, grey_picture, room
from qc.show.draw._scale import bar, colours_at, ends

_RELIEF = 0.5
_MOST_RELIEF = 16.0


def draw_tiles(
    digest: Digest,
    tile_map: TileMap,
    *,
    caption: Caption,
    zones: Sequence[Zone] = (),
    bright: Literal["high", "low"] = "high",
) -> Picture:
    """Draw a tile map over the grey picture.

    Parameters
    ----------
    digest : Digest
        The capture.
    tile_map : TileMap
        Upright.
    caption : Caption
        Words above.
    zones : sequence of Zone
        Drawn thin, with their names.
    bright : {"high", "low"}
        Which end of the values is light: the eye goes there first.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB. The picture's fine detail shows through as a relief whose mean over a tile is about nought, so
        that a tile's mean colour is that of the bar within ΔE00 2.
    """
    picture = grey_picture(digest)
    low, high, _ = ends(tile_map)
    place = (tile_map.values.astype(np.float64) - low) / (high - low)
    known = np.isfinite(place)
    place = np.where(known, place, 0.0)
    colours = colours_at(place if bright == "high" else 1.0 - place) * 255
    rows, columns = (_tile_of(n, tiles) for n, tiles in zip(picture.shape, known.shape, strict=False))
    here = np.ix_(rows, columns)
    painted = colours[here] + _relief(picture[:, :, 0], known.shape)[:, :, np.newaxis]
    covered = known[here][:, :, np.newaxis]
    picture = np.where(covered, np.clip(np.rint(painted), 0, 255), picture).astype(np.uint8)
    draw_zones(picture, zones)
    return compose(picture, caption, bar(tile_map, room(picture), bright=bright), lift=digest.lift)


def _tile_of(pixels: int, tiles: int) -> NDArray[np.intp]:
    """Return the tile that each pixel of a side lies in."""
    return ((np.arange(pixels) + 0.5) * tiles / pixels).astype(np.intp)


def _relief(grey: NDArray[np.uint8], tiles: tuple[int, ...]) -> NDArray[np.float32]:
    """Return the detail of the picture finer than a tile, in grey levels, bounded."""
    import cv2

    side = max(3, round(grey.shape[0] / tiles[0]))
    fine = grey.astype(np.float32) - cv2.blur(grey, (side, side)).astype(np.float32)
    return np.clip(fine * np.float32(_RELIEF), -_MOST_RELIEF, _MOST_RELIEF)
