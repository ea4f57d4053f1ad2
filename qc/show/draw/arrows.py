"""Directions as short line segments: a direction of blur has no head, only a slope and a length."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.digest import Digest
from qc.reading import TileMap
from qc.sheet.zones import Zone
from qc.show.draw import _text
from qc.show.draw._canvas import Caption, Picture, blank, compose, draw_zones, grey_picture, room
from qc.show.draw._lines import stroke
from qc.show.draw._scale import ends
from qc.show.palette import OKABE_ITO, TEXT

_COLOUR = OKABE_ITO["sky blue"]
_SHORTEST = 0.15
_LONGEST = 0.9
_ROOM = 40.0
"""Least distance of segments, pixels of the drawing; of finer tiles, the longest segment in reach is drawn."""


def draw_arrows(digest: Digest, tile_map: TileMap, *, caption: Caption, zones: Sequence[Zone] = ()) -> Picture:
    """Draw a direction in each tile, its length by the map's value.

    Parameters
    ----------
    digest : Digest
        The capture.
    tile_map : TileMap
        Upright, with angles.
    caption : Caption
        Words above.
    zones : sequence of Zone
        Drawn thin, with their names.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB. From the low end of the scale (a dot) to the high end (as long as the tile); a tile without value
        or angle stays picture.

    Raises
    ------
    ValueError
        When the map has no angles.
    """
    if tile_map.angles is None:
        raise ValueError(f"{tile_map.name}: a map of directions needs angles")
    picture = grey_picture(digest)
    draw_zones(picture, zones)
    low, high, _ = ends(tile_map)
    rows, columns = tile_map.values.shape
    pitch = np.array((picture.shape[1] / columns, picture.shape[0] / rows))
    step = max(1, int(np.ceil(_ROOM / pitch.min())))
    longest = float(pitch.min()) * step * _LONGEST
    known = np.isfinite(tile_map.values) & np.isfinite(tile_map.angles)
    ranked = np.where(known, tile_map.values, -np.inf)
    for top in range(0, rows, step):
        for left in range(0, columns, step):
            block = ranked[top : top + step, left : left + step]
            row, column = np.unravel_index(int(block.argmax()), block.shape)
            place = int(top + row), int(left + column)
            if not known[place]:
                continue
            length = _length(float(tile_map.values[place]), low, high) * longest
            angle = np.deg2rad(tile_map.angles[place])
            centre = (np.array(place[::-1]) + 0.5) * pitch - 0.5
            reach = np.array((np.cos(angle), -np.sin(angle))) * length / 2  # rows run down
            stroke(picture, np.array([centre - reach, centre + reach]), _COLOUR, closed=False)
    return compose(picture, caption, _key(tile_map, longest, room(picture)), lift=digest.lift)


def _length(value: float, low: float, high: float) -> float:
    return float(np.clip((value - low) / (high - low), _SHORTEST, 1.0))


def _key(tile_map: TileMap, longest: float, wide: int) -> Picture:
    """Three segments with their values: both ends and the middle."""
    low, high, decimals = ends(tile_map)
    strip = blank(_text.height(_text.SMALL) + 8, wide)
    column, middle = 4.0, strip.shape[0] / 2
    for value, extra in ((low, 0), ((low + high) / 2, 1), (high, 0)):
        length = _length(value, low, high) * longest
        stroke(strip, np.array([[column, middle], [column + length, middle]]), _COLOUR, closed=False)
        text = f"{value:.{decimals + extra}f}"
        _text.write(strip, text, (round(column + length) + 10, 2), _text.SMALL, TEXT)
        column += length + _text.width(text, _text.SMALL) + 40
    _text.write(strip, str(tile_map.unit), (round(column), 2), _text.SMALL, TEXT)
    return strip
