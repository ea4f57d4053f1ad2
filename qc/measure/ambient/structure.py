"""Things lit by the room and mirrored in gloss: a window, a screen, a lamp, standing in the dark frame."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.measure.ambient.light import FLOOR, Pair
from qc.measure.ambient.tiles import Tiles
from qc.orientation import points_to_upright, upright
from qc.reading import Region
from qc.sheet.zones import Zone

Array = NDArray[np.float64]

SHOWN = 0.003
"""Part of diffuse white above which a structure becomes a region."""

MOST_REGIONS = 40

_NEIGHBOURHOOD = 0.2
"""Width of the neighbourhood that says what is ordinary, as a part of the long side."""


@dataclass(frozen=True, slots=True)
class Structure:
    """What stands out in the dark frame.

    Attributes
    ----------
    value, plus_minus : float
        Brightest excess and its ±, parts of diffuse white (the tagged white level).
    clear : bool
        Whether it stands clear of the noise.
    excess : ndarray, shape (colours, rows, columns)
        What stands out, by tile.
    regions : tuple of Region
        Brightest first.
    place : ndarray of bool, shape (rows, columns)
        Tiles of the brightest region.
    """

    value: float
    plus_minus: float
    clear: bool
    excess: Array
    regions: tuple[Region, ...]
    place: NDArray[np.bool_]


def structure(pair: Pair, tiles: Tiles, zones: tuple[Zone, ...]) -> Structure | None:
    """Find what fine tiles of the dark frame show beyond evenly spread light on matt things.

    None where every cell is clipped.

    Two things are ordinary: ambient light in the same proportion to the flash as around (matt things of any
    colour), and ambient light as bright as around (a flat surface in the shadow of the flash). What exceeds both
    was lit by the room and mirrored, or shines by itself. "Around" is the median over a fifth of the long side.

    Limits, measured on a square mirrored in an even set: its brightness is read in full from 4.5 fine tiles a side
    (1.6 % of the long side where there are 288) up to a tenth of the long side; at 2.2 fine tiles about half of it
    is read, under 1.2 nothing. Of a larger thing only parts stand out, and the value may be anything down to a
    fifth of its brightness: it becomes what is ordinary there. Then `stops_under` and the map show it.
    """
    where = tiles.open()
    if not where.any():
        return None
    excess = _excess(tiles, where)
    # 3 × 3 median: one hot photosite or one bright speck is no mirrored thing
    peak = _median(excess[pair.colour], 3)
    error = 2.0 * np.sqrt(tiles.dark_variance[pair.colour])
    row, column = np.unravel_index(int(np.argmax(np.where(where, peak, -np.inf))), peak.shape)
    plus_minus = float(error[row, column])
    value = float(max(peak[row, column], 0.0))
    shown = where & (peak > np.maximum(SHOWN, FLOOR * error))
    regions, place = _regions(shown, peak, zones, pair.lit.orientation)
    return Structure(value, plus_minus, value > FLOOR * plus_minus, excess, regions, place)


def _excess(tiles: Tiles, where: NDArray[np.bool_]) -> Array:
    side = max(3, int(max(where.shape) * _NEIGHBOURHOOD)) | 1
    found = np.zeros_like(tiles.dark)
    for c in range(len(found)):
        dark, flash = tiles.dark[c], tiles.flash[c]
        lit = where & (flash > 0)
        ratio = np.where(lit, dark / np.where(lit, flash, 1.0), np.nan)
        ratio = np.where(lit, ratio, np.nanmedian(ratio) if lit.any() else 0.0)
        # the median is smeared where a lamp's light ends; its bright side is what is ordinary there
        around = cv2.dilate(_median(ratio, side), np.ones((side // 2 | 1, side // 2 | 1)))
        ordinary = np.maximum(around * flash, _median(dark, side))
        found[c] = np.where(where, dark - np.maximum(ordinary, 0.0), 0.0)
    return found


def _median(plane: Array, side: int) -> Array:
    """Median over a square, computed on a coarser grid where the square is large."""
    if side <= 5:
        return np.asarray(cv2.medianBlur(plane.astype(np.float32), side), dtype=np.float64)
    factor = max(1, side // 5)
    rows, columns = plane.shape
    size = (max(1, columns // factor), max(1, rows // factor))
    # nearest, not mean: a mean would spread the bright thing that the median is to ignore
    small = cv2.resize(_median(plane, 3).astype(np.float32), size, interpolation=cv2.INTER_NEAREST)
    smooth = cv2.medianBlur(np.ascontiguousarray(small.reshape(size[::-1])), 5)
    return np.asarray(cv2.resize(smooth, (columns, rows), interpolation=cv2.INTER_LINEAR), dtype=np.float64)


def _regions(
    shown: NDArray[np.bool_], peak: Array, zones: tuple[Zone, ...], orientation: int
) -> tuple[tuple[Region, ...], NDArray[np.bool_]]:
    count, labels = cv2.connectedComponents(np.ascontiguousarray(shown, dtype=np.uint8), connectivity=8)
    inside = [np.asarray(labels == i) for i in range(1, count)]
    inside.sort(key=lambda place: -float(peak[place].max()))
    regions = tuple(_region(place, zones, orientation) for place in inside[:MOST_REGIONS])
    return regions, inside[0] if inside else np.zeros_like(shown)


def _region(place: NDArray[np.bool_], zones: tuple[Zone, ...], orientation: int) -> Region:
    rows, columns = place.shape
    contours, _ = cv2.findContours(
        np.ascontiguousarray(place, dtype=np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE
    )
    outline = max(contours, key=len).reshape(-1, 2).astype(np.float64) + 0.5
    points = points_to_upright(outline / (columns, rows), orientation)
    turned = upright(place, orientation)
    filled_rows, filled_columns = np.nonzero(turned.any(axis=1))[0], np.nonzero(turned.any(axis=0))[0]
    box = (
        float(filled_columns[0] / turned.shape[1]),
        float(filled_rows[0] / turned.shape[0]),
        float((filled_columns[-1] + 1 - filled_columns[0]) / turned.shape[1]),
        float((filled_rows[-1] + 1 - filled_rows[0]) / turned.shape[0]),
    )
    return Region(
        what="ambient",
        box=box,
        area=float(100.0 * place.mean()),
        zone=zone_of(place, zones, orientation),
        outline=tuple((float(x), float(y)) for x, y in points),
    )


def zone_of(place: NDArray[np.bool_], zones: tuple[Zone, ...], orientation: int) -> str | None:
    """Return the name of the zone that holds most of a place; None when none holds half of it."""
    shape = (place.shape[0], place.shape[1])
    held = [(float((zone.mask(shape, orientation) & place).sum() / place.sum()), zone.name) for zone in zones]
    share, name = max(held, default=(0.0, ""), key=lambda pair: pair[0])
    return name if share >= 0.5 else None
