"""Where the first cause of a standing is on the picture: a few broad lines, to be read from two metres.

What is small gets a line around it, not through it; places that such lines would run into each other are one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from qc.digest import Digest
from qc.reading import Region, Spec, TileMap
from qc.result import Cause, Result
from qc.series.alarms import place_of
from qc.series.entry import Standing
from qc.series.findings import LIGHT_CHANGED, ORIGIN
from qc.sheet.zones import Role, Zone, union_mask, with_role
from qc.show.draw.outlines import percent
from qc.show.layers import LEAST
from qc.show.lines import BOLD, WIDE, Line, Pen, Place, Size, around, beside, css, high_of, overlap, path_of, svg
from qc.show.palette import OKABE_ITO, TEXT
from qc.show.rings import Mask, Points, part_of, rings, shape_of, worst_part
from qc.show.signs import clean, cut_middle

MOST: Final = 12
"""Most places that are marked, largest first."""

LABELLED: Final = 3
"""Most of them that have their area beside them."""

LONGEST: Final = 22
"""Longest name of a zone that there is room for; longer ones are cut in the middle."""

WHOLE: Final = 0.9
"""Part of the picture from which a place is the whole of it, and nothing is marked."""

DARKEST: Final = 0.0111
"""Light of a tile, as a part of full scale, under which it is not judged: L* 10 of the tagged white level, as the
ambient test has it (CIE 15:2018, 8.2.1, from memory)."""

SIDES: Final[Mapping[str, Points]] = {
    "left": ((0.0, 0.0), (1 / 3, 0.0), (1 / 3, 1.0), (0.0, 1.0)),
    "right": ((2 / 3, 0.0), (1.0, 0.0), (1.0, 1.0), (2 / 3, 1.0)),
    "top": ((0.0, 0.0), (1.0, 0.0), (1.0, 1 / 3), (0.0, 1 / 3)),
    "bottom": ((0.0, 2 / 3), (1.0, 2 / 3), (1.0, 1.0), (0.0, 1.0)),
}
"""The part of the picture that a change of light on one side speaks of: `qc.series.shift` reads it in the middle
of the outer third."""

UPRIGHT: Final = 1
"""Exif Orientation of what is upright already."""

_WIDTH, _UNDER, _LETTERS = 6.0, 13.0, 44.0
"""Of lines and letters, thousandths of the picture's long side."""

_HERE: Final = css(OKABE_ITO["yellow"])
_AROUND: Final = css(TEXT)
_AREAS: Final = ("clipped_area", "unintended_area", "intended_area", "largest_region")
_COLOURS: Final[Mapping[str, str]] = {"clipped_red": "R", "clipped_green": "G", "clipped_blue": "B"}


@dataclass(frozen=True, slots=True)
class _Mark:
    """One place: its outline in fractions of the picture, what is written beside it, its colour."""

    points: Points
    label: str = ""
    colour: str = _HERE


def mark_of(
    result: Result,
    standing: Standing,
    zones: Sequence[Zone],
    specs: Sequence[Spec],
    size: Size,
    *,
    test: Result | None = None,
) -> bytes | None:
    """Return a layer that marks where the first cause of a standing is.

    Parameters
    ----------
    result : Result
        Of the capture, with its digest where there is one: it has the outlines and maps.
    standing : Standing
        What the day makes of it.
    zones : sequence of Zone
        Of the sheet that it was judged by.
    specs : sequence of Spec
        The measurements.
    size : (int, int)
        Width and height of the picture that the layer lies over, pixels.
    test : Result or None
        The ambient test of a dark frame, with its digest, where the caller has it.

    Returns
    -------
    bytes or None
        An SVG. A cause of a zone: its outline with its name, and inside it what is burnt where it is that. One of
        the frame: the burnt places that count, or where its map is worst. Other light on one side: that third of
        the picture. None where the cause is the whole picture, the file, the settings, or nothing.
    """
    cause = standing.causes[0] if standing.causes else None
    if cause is None:
        return None
    if cause.origin == ORIGIN:
        marks = list(_side(cause, standing))
    else:
        own = {place_of(one) for one in result.verdict.causes}  # one that was answered has other words there
        shown = test if test is not None and place_of(cause) not in own else result
        marks = list(_places(cause, shown, zones, specs, size))
    return _svg(marks, size) if marks else None


def _side(cause: Cause, standing: Standing) -> Iterator[_Mark]:
    shape = standing.data.get(cause.reading, {}).get("shape", "") if cause.reading == LIGHT_CHANGED else ""
    if shape in SIDES:
        yield _Mark(SIDES[shape], shape)


def _places(
    cause: Cause, result: Result, zones: Sequence[Zone], specs: Sequence[Spec], size: Size
) -> Iterator[_Mark]:
    zone = next((zone for zone in zones if zone.name == cause.zone), None)
    if cause.zone is not None and zone is None:
        return  # of a sheet that is another by now
    burnt = list(_burnt(cause, zone, result, zones, specs, size)) if cause.limit is not None else []
    if zone is not None:
        yield _Mark(zone.points, cut_middle(clean(zone.name), LONGEST), _AROUND if burnt else _HERE)
    yield from burnt
    if zone is None and not burnt and cause.limit is not None:
        yield from _worst(cause, result, specs, size)


def _burnt(
    cause: Cause, zone: Zone | None, result: Result, zones: Sequence[Zone], specs: Sequence[Spec], size: Size
) -> Iterator[_Mark]:
    """Yield the clipped places that a reading counts, largest first."""
    where = _where(cause, zone, zones, size)
    counted = [region for region in _regions(cause, result, specs) if _counts(cause, region)]
    if zone is None and cause.reading.endswith(".largest_region"):
        counted = counted[:1]
    parts = [part for region in counted if (part := part_of(region, where, size)).area > 0]
    if not parts or sum(part.area for part in parts) >= WHOLE * 100:
        return
    for number, ring in enumerate(rings(parts, _pen(size).under, size)[:MOST]):
        labelled = zone is None and (not number or (number < LABELLED and ring.area >= LEAST))
        yield _Mark(ring.points, percent(ring.area) if labelled else "")


def _regions(cause: Cause, result: Result, specs: Sequence[Spec]) -> list[Region]:
    """Return the regions of a cause's measurement, largest first; a first look has no digest yet."""
    names = {r.name for spec in specs for r in spec.readings if cause.reading in {r.name for r in spec.readings}}
    found: Sequence[Region] = result.regions
    if result.digest is not None:
        pairs = zip(result.digest.regions, result.digest.region_readings, strict=True)
        found = [region for region, name in pairs if name in names]
    return sorted(found, key=lambda region: -region.area)


def _counts(cause: Cause, region: Region) -> bool:
    """Tell whether a reading counts a region."""
    quantity = cause.reading.partition("highlights.")[2]
    if quantity == "burnt_area":
        return region.what == "burnt"
    if quantity in _COLOURS:
        return _COLOURS[quantity] in region.colours
    return quantity in _AREAS and region.what in ("burnt", "clipped")


def _where(cause: Cause, zone: Zone | None, zones: Sequence[Zone], size: Size) -> Mask | None:
    """Return where a reading counts; None for everywhere."""
    shape = shape_of(size)
    if zone is not None:
        return zone.mask(shape, UPRIGHT)
    meant = with_role(zones, Role.ALLOW, Role.BACKDROP)
    if not meant or cause.reading != "highlights.unintended_area":
        return None
    return ~union_mask(meant, shape, UPRIGHT) | union_mask(with_role(zones, Role.PROTECT), shape, UPRIGHT)


def _worst(cause: Cause, result: Result, specs: Sequence[Spec], size: Size) -> Iterator[_Mark]:
    """Yield where the map of a cause's measurement is worst."""
    spec = next((spec for spec in specs if any(r.name == cause.reading for r in spec.readings)), None)
    digest = result.digest
    if spec is None or digest is None:
        return
    names = [reading.name for reading in spec.readings]
    maps = [one for one in digest.maps if one.name in names and one.drawing == "tiles"]
    maps.sort(key=lambda one: one.name != cause.reading)  # that of the very reading, else the main one
    worse = spec.reading(maps[0].name).worse if maps else None
    if worse is None:
        return
    part = worst_part(maps[0], worse, _lit(digest, maps[0]), size)
    yield from (_Mark(ring.points) for ring in (rings([part], _pen(size).width, size) if part else ()))


def _lit(digest: Digest, tile_map: TileMap) -> Mask:
    """Return which tiles of a map have light enough to be judged."""
    import cv2

    rows, columns = tile_map.values.shape
    light = np.nan_to_num(digest.tile_means).mean(axis=0, dtype=np.float32)
    return np.asarray(cv2.resize(light, (columns, rows), interpolation=cv2.INTER_AREA) >= DARKEST)


def _svg(marks: Sequence[_Mark], size: Size) -> bytes:
    pen = _pen(size)
    boxes = [_box(mark.points, size) for mark in marks]
    taken: list[Place] = []
    lines = []
    for mark in marks:
        line = Line(path=path_of(_inside(mark.points, pen, size), size), colour=mark.colour)
        if mark.label and (at := _label_at(mark, boxes, taken, pen, size)):
            line = replace(line, label=mark.label, at=at)
            taken.append(around(line, pen))
        lines.append(line)
    return svg(lines, size, pen)


def _label_at(
    mark: _Mark, boxes: Sequence[Place], taken: Sequence[Place], pen: Pen, size: Size
) -> tuple[float, float] | None:
    """Return where a label hides no other and, as far as can be, no marked place; None where it would hide one."""
    places = {
        at: around(Line(path="", colour="", label=mark.label, at=at), pen)
        for at in beside(mark.points, mark.label, size, pen)
    }
    clear = [at for at, here in places.items() if not any(overlap(here, other) for other in taken)]
    return min(clear, key=lambda at: sum(overlap(places[at], box) for box in boxes), default=None)


def _box(points: Points, size: Size) -> Place:
    x, y = [x * WIDE for x, _ in points], [y * high_of(size) for _, y in points]
    return min(x), min(y), max(x), max(y)


def _inside(points: Points, pen: Pen, size: Size) -> Points:
    """Return points moved in from the picture's edge, so that the line there is seen in its whole width."""
    x_room, y_room = pen.under / 2 / WIDE, pen.under / 2 / high_of(size)
    return tuple((min(max(x, x_room), 1 - x_room), min(max(y, y_room), 1 - y_room)) for x, y in points)


def _pen(size: Size) -> Pen:
    """Return the pen for a picture: what is tall is shown small, so that its lines are the broader."""
    scale = max(WIDE, high_of(size)) / WIDE
    return Pen(
        width=_WIDTH * scale,
        under=_UNDER * scale,
        fixed=False,
        shade=0.75,
        letters=_LETTERS * scale,
        halo=_LETTERS * scale / 4,
        weight=BOLD,
    )
