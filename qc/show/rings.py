"""Rings: broad lines around places of a picture, a little outside of them, so that they hide nothing.

Masks have the grid of an SVG's own coordinates (`qc.show.layers.WIDE`), True where something is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from qc.reading import Region, TileMap, Worse
from qc.show.layers import WIDE, Size, high_of

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
        Where it is.
    area : float
        % of the picture.
    """

    mask: Mask
    area: float


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
    own = np.zeros((rows, columns), dtype=np.uint8)
    cv2.fillPoly(own, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
    kept = own.astype(bool) if where is None else own.astype(bool) & where
    return Part(mask=kept, area=region.area * float(kept.sum()) / max(int(own.sum()), 1))


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
        marked |= part.mask.view(np.uint8)
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(margin) + 1,) * 2)
    wider = np.asarray(cv2.dilate(marked, round_), dtype=np.uint8)
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
    mask = cv2.resize(group.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST)
    return Part(mask=np.asarray(mask, dtype=bool), area=100.0 * float(group.mean()))


def _areas(parts: Sequence[Part], labels: NDArray[np.int32]) -> dict[int, float]:
    """Return for each group of places the area of those in it."""
    areas: dict[int, float] = {}
    for part in parts:
        if part.mask.any():
            label = int(labels.flat[int(part.mask.argmax())])
            areas[label] = areas.get(label, 0.0) + part.area
    return areas


def _fractions(contour: NDArray[np.int32], size: Size) -> Points:
    import cv2

    rows, columns = shape_of(size)
    simple = cv2.approxPolyDP(contour, SMOOTH, True).reshape(-1, 2)
    return tuple((float(x), float(y)) for x, y in (simple + 0.5) / (columns, rows))
