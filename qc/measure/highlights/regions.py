"""Clipped places one by one: where, how large, in which colours, and how hard their edge is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._clipped import Clipped
from qc.measure.highlights.headroom import Brightness
from qc.measure.highlights.places import Places, places
from qc.measure.highlights.rim import rim_width
from qc.measure.highlights.zone_cells import Window, ZoneCells
from qc.orientation import box_to_upright, points_to_upright
from qc.reading import Region
from qc.sheet.zones import Role, Zone

MOST = 40
"""Most regions that are listed; the rest is summed."""

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
        Area of the largest, % of frame.
    """

    listed: tuple[Region, ...] = ()
    rest_count: int = 0
    rest_area: float = 0.0
    largest: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Place:
    """One connected place, cut out with the rectangle that holds it."""

    mask: NDArray[np.bool_]
    window: Window
    area: int
    zone: Zone | None

    @property
    def order(self) -> tuple[int, int, int, int]:
        return _rank(self.zone), -self.area, self.window[0].start, self.window[1].start


def regions(frame: Frame, found: Clipped, bright: Brightness | None, zones: Sequence[ZoneCells]) -> Regions:
    """Return the connected clipped places of a frame (8 neighbours, on the grid of `Frame.clip`).

    Parameters
    ----------
    frame : Frame
        The capture.
    found : Clipped
        Its clipped cells.
    bright : Brightness or None
        For the hardness of edges; None when saturation is not known.
    zones : sequence of ZoneCells
        On the plane of `Frame.clip`.
    """
    if found.none:
        return Regions()
    parts = places(found.anywhere)
    # precedence: protect, roles that highlights do not ask about, allow, backdrop
    ranked = sorted(zones, key=lambda cells: _rank(cells.zone))
    listed = sorted((_cut(parts, i, ranked) for i in _candidates(parts, ranked)), key=lambda place: place.order)
    listed = listed[:MOST]
    total = frame.clip.shape[1] * frame.clip.shape[2]
    return Regions(
        listed=tuple(_region(frame, found, bright, place) for place in listed),
        rest_count=len(parts.areas) - len(listed),
        rest_area=100.0 * (int(parts.areas.sum()) - sum(place.area for place in listed)) / total,
        largest=100.0 * int(parts.areas.max()) / total,
    )


def _rank(zone: Zone | None) -> int:
    return 1 if zone is None else _ORDER.get(zone.role, 1)


def _candidates(parts: Places, zones: Sequence[ZoneCells]) -> list[int]:
    """Return the largest places, and the largest whose rectangle meets a protected zone."""
    by_area = np.argsort(-parts.areas, kind="stable")
    near = np.zeros(len(parts.areas), dtype=bool)
    top, left, rows, columns = parts.boxes.T
    for cells in zones:
        if cells.zone.role is Role.PROTECT:
            y, x = cells.window
            near |= (top < y.stop) & (top + rows > y.start) & (left < x.stop) & (left + columns > x.start)
    protected = by_area[near[by_area]][:MOST]
    return list(dict.fromkeys([*protected.tolist(), *by_area[:MOST].tolist()]))


def _cut(parts: Places, index: int, zones: Sequence[ZoneCells]) -> _Place:
    top, left, rows, columns = (int(v) for v in parts.boxes[index])
    window = slice(top, top + rows), slice(left, left + columns)
    mask = parts.mask(index)
    return _Place(mask=mask, window=window, area=int(parts.areas[index]), zone=_zone(mask, window, zones))


def _zone(mask: NDArray[np.bool_], window: Window, zones: Sequence[ZoneCells]) -> Zone | None:
    """Zone that holds most of a place; cells in two zones belong to the one of precedence."""
    free: NDArray[np.bool_] | None = None
    best, most = None, 0
    for cells in zones:
        inside, where = cells.within(window)
        if inside.size == 0:
            continue
        free = mask.copy() if free is None else free
        count = int(np.count_nonzero(free[where] & inside))
        if count > most:
            best, most = cells.zone, count
        free[where] &= ~inside
    return None if free is None or most < int(np.count_nonzero(free)) else best


def _region(frame: Frame, found: Clipped, bright: Brightness | None, place: _Place) -> Region:
    rows, columns = frame.clip.shape[1:]
    counts = [int(np.count_nonzero((plane[place.window] > 0) & place.mask)) for plane in frame.clip]
    burnt = int(np.count_nonzero((found.everywhere[place.window] > 0) & place.mask))
    colours = "".join(
        letter for letter, count in zip(frame.colours, counts, strict=True) if count >= _COLOUR_SHARE * place.area
    )
    y, x = place.window
    box = (x.start / columns, y.start / rows, (x.stop - x.start) / columns, (y.stop - y.start) / rows)
    return Region(
        what="burnt" if 2 * burnt >= place.area else "clipped",
        box=box_to_upright(box, frame.orientation),
        area=100.0 * place.area / (rows * columns),
        colours=colours,
        zone=place.zone.name if place.zone else None,
        edge=None if bright is None else rim_width(frame, bright.values, place.mask, place.window),
        outline=_outline(frame, place),
    )


def _outline(frame: Frame, place: _Place) -> tuple[tuple[float, float], ...]:
    """Outer outline through the rims of the cells; small places get their rectangle."""
    rows, columns = frame.clip.shape[1:]
    y, x = place.window
    height, width = place.mask.shape
    if min(height, width) < 3:
        points = np.array(
            [[x.start, y.start], [x.stop, y.start], [x.stop, y.stop], [x.start, y.stop]], dtype=float
        )
    else:
        # doubled, so that the outline runs a quarter of a cell inside the rim instead of half of one
        doubled = cv2.resize(place.mask.view(np.uint8), (2 * width, 2 * height), interpolation=cv2.INTER_NEAREST)
        contours, _ = cv2.findContours(doubled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
        contour = max(contours, key=len).reshape(-1, 2).astype(np.float64)
        points = (contour + 0.5) / 2 + (x.start, y.start)
    upright = points_to_upright(points / (columns, rows), frame.orientation)
    return tuple((float(u), float(v)) for u, v in upright)
