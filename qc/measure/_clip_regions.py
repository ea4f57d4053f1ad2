"""Clipped places one by one: where, how large, in which colours, and how hard their edge is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame
from qc.measure._clipped import Clipped
from qc.measure._headroom import Brightness
from qc.orientation import box_to_upright, points_to_upright
from qc.reading import Box, Region
from qc.sheet.zones import Role, Zone

MOST = 40
"""Most regions that are listed; the rest is summed."""

REACH = 16
"""Cells over which the edge is followed; a softer edge reads as this."""

EDGE_FROM = 0.9
"""Part of saturation from which the edge is measured."""

_ORDER = {Role.PROTECT: 0, Role.ALLOW: 2, Role.BACKDROP: 3}
_COLOUR_SHARE = 0.1


@dataclass(frozen=True, slots=True, kw_only=True)
class Regions:
    """Connected clipped places of a frame.

    Attributes
    ----------
    listed : tuple of Region
        Worst first: in protected zones, then where nothing is said, then allowed, then backdrop; larger first.
    rest_count, rest_area : int, float
        How many are not listed, and their area, % of frame.
    largest : float
        Area of the largest, % of frame; that of the largest unintended one is not asked for.
    """

    listed: tuple[Region, ...] = ()
    rest_count: int = 0
    rest_area: float = 0.0
    largest: float = 0.0


def regions(frame: Frame, found: Clipped, bright: Brightness | None, zones: Sequence[Zone]) -> Regions:
    """Return the connected clipped places of a frame (8 neighbours, on the grid of `Frame.clip`)."""
    if found.none:
        return Regions()
    rows, columns = _bounds(found.anywhere)
    mask = np.ascontiguousarray(found.anywhere[rows, columns] > 0).view(np.uint8)
    _, found_labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
    labels = np.asarray(found_labels, dtype=np.int32)
    areas = stats[1:, cv2.CC_STAT_AREA].astype(np.int64)
    by_area = np.argsort(-areas, kind="stable")[:MOST] + 1
    ranked = _zones_by_rank(zones)
    protected = _labels_in_protected(labels, (rows, columns), frame, ranked)
    candidates = dict.fromkeys([*protected[:MOST], *by_area.tolist()])
    places = [
        _Place(frame, found, labels, np.asarray(stats[i], dtype=np.int32), i, (rows, columns), ranked)
        for i in candidates
    ]
    places.sort(key=lambda p: (_rank(p.zone), -p.area, p.label))
    total = frame.clip.shape[1] * frame.clip.shape[2]
    listed = tuple(place.region(bright) for place in places[:MOST])
    listed_area = sum(place.area for place in places[:MOST])
    return Regions(
        listed=listed,
        rest_count=len(areas) - len(listed),
        rest_area=100.0 * (int(areas.sum()) - listed_area) / total,
        largest=100.0 * int(areas.max()) / total,
    )


def largest_in(anywhere: Counts, inside: NDArray[np.bool_]) -> int:
    """Return the cells of the largest connected clipped place within a mask."""
    mask = ((anywhere > 0) & inside).view(np.uint8)
    if not mask.any():
        return 0
    _, _, stats, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(mask), connectivity=8)
    return int(stats[1:, cv2.CC_STAT_AREA].max(initial=0))


def _bounds(plane: Counts) -> tuple[slice, slice]:
    left, top, width, height = cv2.boundingRect(plane)
    return slice(top, top + height), slice(left, left + width)


def _zones_by_rank(zones: Sequence[Zone]) -> list[Zone]:
    """Zones in order of precedence: protect, roles that highlights do not ask about, allow, backdrop."""
    return sorted(zones, key=lambda zone: _ORDER.get(zone.role, 1))


def _rank(zone: Zone | None) -> int:
    return 1 if zone is None else _ORDER.get(zone.role, 1)


def _labels_in_protected(
    labels: NDArray[np.int32], where: tuple[slice, slice], frame: Frame, zones: Sequence[Zone]
) -> list[int]:
    """Labels with a cell in a protected zone, those with most such cells first."""
    counts: dict[int, int] = {}
    for zone in zones:
        if zone.role is not Role.PROTECT:
            continue
        inside, window = _zone_window(zone, frame, where)
        held, number = np.unique(labels[window][inside], return_counts=True)
        for label, count in zip(held.tolist(), number.tolist(), strict=True):
            if label:
                counts[label] = counts.get(label, 0) + count
    return sorted(counts, key=lambda label: (-counts[label], label))


def _zone_window(
    zone: Zone, frame: Frame, where: tuple[slice, slice]
) -> tuple[NDArray[np.bool_], tuple[slice, slice]]:
    """Return a zone's mask within a window of the clip plane, and the window relative to `where`."""
    shape = (frame.clip.shape[1], frame.clip.shape[2])
    rows, columns = zone.window(shape, frame.orientation)
    inside = zone.mask_in_window(shape, frame.orientation)
    top, bottom = max(rows.start, where[0].start), min(rows.stop, where[0].stop)
    left, right = max(columns.start, where[1].start), min(columns.stop, where[1].stop)
    if top >= bottom or left >= right:
        return np.zeros((0, 0), dtype=bool), (slice(0, 0), slice(0, 0))
    inside = inside[top - rows.start : bottom - rows.start, left - columns.start : right - columns.start]
    return inside, (
        slice(top - where[0].start, bottom - where[0].start),
        slice(left - where[1].start, right - where[1].start),
    )


class _Place:
    """One connected place, cut out with the rectangle that holds it."""

    def __init__(
        self,
        frame: Frame,
        found: Clipped,
        labels: NDArray[np.int32],
        stats: NDArray[np.int32],
        label: int,
        origin: tuple[slice, slice],
        zones: Sequence[Zone],
    ) -> None:
        left, top, width, height, area = (int(v) for v in stats)
        self.frame, self.found, self.label, self.area = frame, found, label, area
        self.mask = labels[top : top + height, left : left + width] == label
        top, left = top + origin[0].start, left + origin[1].start
        self.window = slice(top, top + height), slice(left, left + width)
        self.zone = self._zone(zones)

    def _zone(self, zones: Sequence[Zone]) -> Zone | None:
        """Zone that holds most of the place; cells in two zones belong to the one of precedence."""
        free = self.mask.copy()
        best, most = None, 0
        for zone in zones:
            inside, window = _zone_window(zone, self.frame, self.window)
            held = free[window] & inside
            count = int(held.sum())
            if count > most:
                best, most = zone, count
            free[window] &= ~inside
        return best if most >= int(free.sum()) else None

    def region(self, bright: Brightness | None) -> Region:
        rows, columns = self.frame.clip.shape[1:]
        counts = [int(np.count_nonzero(plane[self.window][self.mask])) for plane in self.frame.clip]
        burnt = int(np.count_nonzero(self.found.everywhere[self.window][self.mask]))
        colours = "".join(
            letter
            for letter, count in zip(self.frame.colours, counts, strict=True)
            if count >= _COLOUR_SHARE * self.area
        )
        y, x = self.window
        box = (x.start / columns, y.start / rows, (x.stop - x.start) / columns, (y.stop - y.start) / rows)
        return Region(
            what="burnt" if 2 * burnt >= self.area else "clipped",
            box=box_to_upright(box, self.frame.orientation),
            area=100.0 * self.area / (rows * columns),
            colours=colours,
            zone=self.zone.name if self.zone else None,
            edge=None if bright is None else self._edge(bright),
            outline=self._outline(box),
        )

    def _outline(self, box: Box) -> tuple[tuple[float, float], ...]:
        """Outer outline through the rims of the cells; small places get their box."""
        rows, columns = self.frame.clip.shape[1:]
        height, width = self.mask.shape
        if min(height, width) < 3:
            left, top, right, bottom = box[0], box[1], box[0] + box[2], box[1] + box[3]
            points = np.array([[left, top], [right, top], [right, bottom], [left, bottom]])
        else:
            # doubled, so that the outline runs a quarter of a cell inside the rim instead of half of one
            doubled = cv2.resize(
                self.mask.view(np.uint8), (2 * width, 2 * height), interpolation=cv2.INTER_NEAREST
            )
            contours, _ = cv2.findContours(doubled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
            contour = max(contours, key=len).reshape(-1, 2).astype(np.float64)
            start = np.array([self.window[1].start, self.window[0].start], dtype=np.float64)
            points = (start + (contour + 0.5) / 2) / (columns, rows)
        upright = points_to_upright(points, self.frame.orientation)
        return tuple((float(x), float(y)) for x, y in upright)

    def _edge(self, bright: Brightness) -> float | None:
        """Photosites from `EDGE_FROM` of saturation to saturation, by the median brightness at each distance."""
        step = self.frame.cell // self.frame.clip_cell
        rows, columns = bright.values.shape
        y, x = (
            slice(max(0, side.start // step - REACH - 1), min(limit, -(-side.stop // step) + REACH + 1))
            for side, limit in zip(self.window, (rows, columns), strict=True)
        )
        if y.start >= y.stop or x.start >= x.stop:
            return None
        own = np.zeros((y.stop - y.start, x.stop - x.start), dtype=np.uint8)
        held_rows, held_columns = np.nonzero(self.mask)
        cell_rows = (held_rows + self.window[0].start) // step - y.start
        cell_columns = (held_columns + self.window[1].start) // step - x.start
        inside = (cell_rows < own.shape[0]) & (cell_columns < own.shape[1])
        own[cell_rows[inside], cell_columns[inside]] = 1
        if own.all() or not own.any():
            return None
        distance = np.asarray(cv2.distanceTransform(1 - own, cv2.DIST_L2, cv2.DIST_MASK_PRECISE), dtype=np.float32)
        cells = followed(distance, bright.values[y, x])
        return None if cells is None else cells * self.frame.cell


def followed(distance: NDArray[np.float32], values: NDArray[np.float32]) -> float | None:
    """Return the cells from the rim of a clipped place to where the median brightness falls to `EDGE_FROM`.

    Parameters
    ----------
    distance : ndarray of float32, shape (rows, columns)
        From the nearest clipped cell, centre to centre.
    values : ndarray of float32, same shape
        Brightness as a part of saturation.

    Returns
    -------
    float or None
        0 to `REACH`; None when there is nothing around the place.
    """
    near, high = 0.5, 1.0  # the rim lies half a cell outside the last clipped centre, at saturation
    for ring in range(1, REACH + 1):
        here = values[(distance >= ring - 0.5) & (distance < ring + 0.5)]
        if here.size == 0:
            return None if ring == 1 else near - 0.5
        level = float(np.median(here))
        if level < EDGE_FROM:
            share = (high - EDGE_FROM) / max(high - level, 1e-6)
            return near - 0.5 + share * (ring - near)
        near, high = float(ring), min(high, level)
    return float(REACH)
