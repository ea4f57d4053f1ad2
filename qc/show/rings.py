"""Rings: broad lines around places of a picture, a little outside of them, so that they hide nothing.

Masks have the grid of an SVG's own coordinates (`qc.show.lines.WIDE`), True where something is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from qc.reading import Region, TileMap, Worse
from qc.show.lines import WIDE, Size, high_of

Mask = NDArray[np.bool_]
Points = tuple[tuple[float, float], ...]

SMOOTH: Final = 1.5
"""How far a ring may lie from where it should, in an SVG's own coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """A place, or as much of it as counts.

    Attributes
    ----------
    mask : ndarray of bool
        Where it is, in a window.
    top, left : int
        First row and column of that window.
    area : float
        % of the picture.
    """

    mask: Mask
    top: int = 0
    left: int = 0
    area: float

    @property
    def window(self) -> tuple[slice, slice]:
        """Rows and columns of the window."""
        rows, columns = self.mask.shape
        return slice(self.top, self.top + rows), slice(self.left, self.left + columns)


@dataclass(frozen=True, slots=True, kw_only=True)
class Ring:
    """A line around places.

    Attributes
    ----------
    points : tuple of (x, y)
        Closed, fractions of the picture.
    area : float
        Of the places inside, % of the picture.
    """

    points: Points
    area: float


def shape_of(size: Size) -> tuple[int, int]:
    """Return rows and columns of a mask over a picture."""
    return round(high_of(size)), WIDE


def part_of(region: Region, where: Mask | None, size: Size) -> Part:
    """Return what of a region lies where it counts; all of it counts for None."""
    import cv2

    rows, columns = shape_of(size)
    left, top, wide, high = region.box
    box = ((left, top), (left + wide, top), (left + wide, top + high), (left, top + high))
    corners = np.array(region.outline or box) * (columns, rows) - 0.5
    low = np.clip(np.floor(corners.min(axis=0)), 0, (columns - 1, rows - 1)).astype(int)
    end = np.clip(np.ceil(corners.max(axis=0)) + 1, low + 1, (columns, rows)).astype(int)
    own = np.zeros((end - low)[::-1], dtype=np.uint8)
    cv2.fillPoly(own, [np.round((corners - low) * 16).astype(np.int32)], 1, shift=4)
    kept = own.astype(bool)
    if where is not None:
        kept &= where[low[1] : end[1], low[0] : end[0]]
    area = region.area * float(kept.sum()) / max(int(own.sum()), 1)
    return Part(mask=kept, top=int(low[1]), left=int(low[0]), area=area)


def rings(parts: Sequence[Part], margin: float, size: Size) -> tuple[Ring, ...]:
    """Return rings around places, largest first; what lies nearer than two margins has one together.

    Parameters
    ----------
    parts : sequence of Part
        The places.
    margin : float
        How far outside a ring runs, in an SVG's own coordinates.
    size : (int, int)
        Width and height of the picture.
    """
    import cv2

    marked = np.zeros(shape_of(size), dtype=np.uint8)
    for part in parts:
        marked[part.window] |= part.mask.view(np.uint8)
    wider = (np.asarray(cv2.distanceTransform(1 - marked, cv2.DIST_L2, 5)) <= margin).astype(np.uint8)
    _, labels = cv2.connectedComponents(wider, connectivity=8)
    contours, _ = cv2.findContours(wider, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    areas = _areas(parts, np.asarray(labels))
    found = [
        Ring(points=_fractions(np.asarray(contour, dtype=np.int32), size), area=areas.get(int(labels[y, x]), 0.0))
        for contour in contours
        for x, y in [contour[0, 0]]
    ]
    return tuple(sorted(found, key=lambda ring: -ring.area))


def worst_part(tile_map: TileMap, worse: Worse, judged: Mask, size: Size) -> Part | None:
    """Return where a map is worst: the tiles around its worst place that are more like it than like the rest.

    Means over 3 × 3 tiles, so that one odd tile is no place; beyond half way between their median and the worst,
    connected with it.

    Parameters
    ----------
    tile_map : TileMap
        Upright.
    worse : {"high", "low", "either"}
        Which way.
    judged : ndarray of bool, shape of the map
        Tiles that count.
    size : (int, int)
        Width and height of the picture.

    Returns
    -------
    Part or None
        None where no place is worse than the others, or more than half of the tiles are.
    """
    import cv2

    known = np.isfinite(tile_map.values) & judged
    if not known.any():
        return None
    values = np.where(known, tile_map.values, 0.0).astype(np.float64)
    total, count = (
        cv2.boxFilter(one, cv2.CV_64F, (3, 3), normalize=False, borderType=cv2.BORDER_CONSTANT)
        for one in (values, known.astype(np.float64))
    )
    mean = np.asarray(total) / np.maximum(np.asarray(count), 1.0)
    bad = np.where(known, -mean if worse == "low" else np.abs(mean) if worse == "either" else mean, -np.inf)
    middle, worst = float(np.median(bad[known])), float(bad.max())
    if worst - middle <= 1e-6 * max(abs(worst), abs(middle), 1e-30):
        return None
    _, labels = cv2.connectedComponents((bad >= (middle + worst) / 2).astype(np.uint8), connectivity=8)
    group = np.asarray(labels) == np.asarray(labels).flat[int(bad.argmax())]
    if group.sum() > known.sum() / 2:
        return None
    rows, columns = shape_of(size)
    mask = np.asarray(cv2.resize(group.astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)) > 0.5
    return Part(mask=mask, area=100.0 * float(group.mean()))


def _areas(parts: Sequence[Part], labels: NDArray[np.int32]) -> dict[int, float]:
    """Return for each group of places the area of those in it."""
    areas: dict[int, float] = {}
    for part in parts:
        if part.mask.any():
            label = int(labels[part.window].flat[int(part.mask.argmax())])
            areas[label] = areas.get(label, 0.0) + part.area
    return areas


def _fractions(contour: NDArray[np.int32], size: Size) -> Points:
    import cv2

    rows, columns = shape_of(size)
    simple = cv2.approxPolyDP(contour, SMOOTH, True).reshape(-1, 2)
    return tuple((float(x), float(y)) for x, y in (simple + 0.5) / (columns, rows))
