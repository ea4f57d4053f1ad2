"""Directions as short line segments: a direction of blur has no head, only a slope and a length."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import TileMap
from qc.sheet.zones import Zone
from qc.show.draw import _text
from qc.show.draw._canvas import Caption, Picture, blank, compose, draw_zones, grey_picture, room
from qc.show.draw._lines import stroke
from qc.show.draw._scale import ends, middle_text
from qc.show.palette import OKABE_ITO, TEXT

_COLOUR = OKABE_ITO["sky blue"]
_SHORTEST = 0.15
_LONGEST = 0.9
_ROOM = 40.0
"""Least distance of segments, pixels of the drawing; finer tiles are pooled."""


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
    rows, columns = tile_map.values.shape
    pitch = np.array((picture.shape[1] / columns, picture.shape[0] / rows))
    step = max(1, int(np.ceil(_ROOM / pitch.min())))
    longest = float(pitch.min()) * step * _LONGEST
    for place, length, angle in pooled(tile_map, tile_map.angles, step):
        reach = np.array((np.cos(angle), -np.sin(angle))) * length * longest / 2  # rows run down
        centre = place * pitch - 0.5
        stroke(picture, np.array([centre - reach, centre + reach]), _COLOUR, closed=False)
    return compose(picture, caption, _key(tile_map, longest, room(picture)), lift=digest.lift)


def pooled(
    tile_map: TileMap, angles: NDArray[np.float32], step: int
) -> Iterator[tuple[NDArray[np.float64], float, float]]:
    """Yield centre (x, y in tiles), length (0 to 1) and angle (radians) of blocks of `step` × `step` tiles.

    Directions are averaged as vectors at twice their angle, the way of axial data (Mardia and Jupp 2000,
    Directional Statistics, 9.4, value from memory): tiles that disagree shorten each other.
    """
    low, high, _ = ends(tile_map)
    lengths = np.clip((tile_map.values - low) / (high - low), 0.0, 1.0).astype(np.float64)
    vectors = lengths * np.exp(2j * np.deg2rad(angles.astype(np.float64)))
    rows, columns = vectors.shape
    for top in range(0, rows, step):
        for left in range(0, columns, step):
            block = vectors[top : top + step, left : left + step]
            known = np.argwhere(np.isfinite(block))
            if len(known) == 0:
                continue
            mean = complex(block[tuple(known.T)].mean())
            centre = known.mean(axis=0)[::-1] + np.array((left + 0.5, top + 0.5))
            yield centre, max(_SHORTEST, abs(mean)), float(np.angle(mean)) / 2


def _key(tile_map: TileMap, longest: float, wide: int) -> Picture:
    """Three segments with their values: both ends and the middle."""
    low, high, decimals = ends(tile_map)
    strip = blank(_text.height(_text.SMALL) + 8, wide)
    column, middle = 4.0, strip.shape[0] / 2
    texts = (f"{low:.{decimals}f}", middle_text(low, high, decimals), f"{high:.{decimals}f}")
    for share, text in zip((0.0, 0.5, 1.0), texts, strict=True):
        length = max(_SHORTEST, share) * longest
        stroke(strip, np.array([[column, middle], [column + length, middle]]), _COLOUR, closed=False)
        _text.write(strip, text, (round(column + length) + 10, 2), _text.SMALL, TEXT)
        column += length + _text.width(text, _text.SMALL) + 40
    _text.write(strip, str(tile_map.unit), (round(column), 2), _text.SMALL, TEXT)
    return strip
