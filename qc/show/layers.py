"""Layers that lie over a frame's picture: tile maps as small PNG, outlines, arrows and zones as SVG."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import Region, TileMap
from qc.sheet.zones import Zone
from qc.show.draw._lines import Style
from qc.show.draw._scale import colours_at, ends, middle_text, scale_colours
from qc.show.draw.arrows import pooled
from qc.show.draw.outlines import look_of, percent
from qc.show.lines import PEN, THIN, WIDE, Line, Pen, Place, Size, around, beside, css, free, high_of, path_of, svg
from qc.show.text import clean

LABELLED: Final = 12
"""Most regions that have their area beside them, largest first."""

FEW: Final = 4
LEAST: Final = 0.02
"""% of the frame; smaller regions have their area beside them only where there are few."""

BAR: Final = 256
"""Steps of a map's bar."""

LONGEST: Final = 0.9
"""Length of the longest arrow, parts of the room it has."""

ROOM: Final = 24
"""Room an arrow has at least, in an SVG's own coordinates; tiles in less are averaged."""

Bright = Literal["high", "low"]
_DASHES: Final[dict[Style, str]] = {"solid": "none", "dashed": "12 7", "dotted": "2 6"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Scale:
    """The bar that explains a map.

    Attributes
    ----------
    low, middle, high : str
        Its labels.
    unit : str
        Their unit.
    bright : {"high", "low"}
        Which end is light.
    gaps : bool
        Whether some tiles say nothing.
    """

    low: str
    middle: str
    high: str
    unit: str
    bright: Bright
    gaps: bool


def jpeg_of(digest: Digest, long_side: int, quality: int) -> tuple[bytes, Size]:
    """Return the grey picture as JPEG, at most `long_side` pixels along its long side, and its size."""
    import cv2
    import imageio.v3 as iio

    rows, columns = digest.preview.shape
    factor = min(1.0, long_side / max(rows, columns))
    size = max(1, round(columns * factor)), max(1, round(rows * factor))
    grey = np.asarray(cv2.resize(digest.preview, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
    return iio.imwrite("<bytes>", grey, extension=".jpeg", quality=quality), size


def map_png(tile_map: TileMap, bright: Bright) -> bytes:
    """Return a map as PNG, one pixel a tile, in the colours of its bar; tiles without a value are transparent."""
    low, high, _ = ends(tile_map)
    place = (tile_map.values.astype(np.float64) - low) / (high - low)
    known = np.isfinite(place)
    place = np.where(known, place, 0.0)
    colours = np.rint(colours_at(place if bright == "high" else 1.0 - place) * 255)
    return _png(np.dstack([colours, known * 255.0]))


def bar_png(bright: Bright) -> bytes:
    """Return the bar of every map with that light end as PNG, one row, low values at the left."""
    return _png(scale_colours(BAR)[:: 1 if bright == "high" else -1][np.newaxis] * 255)


def scale_of(tile_map: TileMap, bright: Bright) -> Scale:
    """Return the bar of a map, with "or less" and "or more" where values lie beyond its ends."""
    low, high, decimals = ends(tile_map)
    values = tile_map.values[np.isfinite(tile_map.values)]
    half = 10.0**-decimals / 2
    under = " or less" if values.size and values.min() < low - half else ""
    over = " or more" if values.size and values.max() > high + half else ""
    return Scale(
        low=f"{low:.{decimals}f}{under}",
        middle=middle_text(low, high, decimals),
        high=f"{high:.{decimals}f}{over}",
        unit=str(tile_map.unit),
        bright=bright,
        gaps=values.size < tile_map.values.size,
    )


def outlines_svg(
    regions: Sequence[Region], colours: str, size: Size, zones: Sequence[Zone] = (), *, letters: float = 1.0
) -> bytes:
    """Return regions as outlines: their hue and dashes as `qc.show.draw.outlines` has them, areas beside them.

    `zones` are drawn elsewhere; no area hides the name of one. `letters` makes letters so many times as large.
    """
    pen, thin = PEN.written(letters), THIN.written(letters)
    taken = [around(line, thin) for line in _zone_lines(zones, size, thin)]
    lines = []
    for number, region in enumerate(sorted(regions, key=lambda region: -region.area)):
        labelled = number < FEW or (number < LABELLED and region.area >= LEAST)
        lines.append(_outline(region, colours, size, taken if labelled else None, pen))
    return svg(lines[::-1], size, pen)


def zones_svg(zones: Sequence[Zone], size: Size, *, letters: float = 1.0) -> bytes:
    """Return the zones of a sheet as thin lines with their names."""
    pen = THIN.written(letters)
    return svg(_zone_lines(zones, size, pen), size, pen)


def _zone_lines(zones: Sequence[Zone], size: Size, pen: Pen) -> list[Line]:
    taken: list[Place] = []
    lines = []
    for zone in zones:
        name = clean(zone.name)
        at = free(zone.points, name, size, pen, taken) or beside(zone.points, name, size, pen)[0]
        line = Line(path=path_of(zone.points, size), colour="#ffffff", label=name, at=at)
        taken.append(around(line, pen))
        lines.append(line)
    return lines


def arrows_svg(tile_map: TileMap, size: Size) -> bytes:
    """Return a line in each tile: along its direction, as long as its value is high on the map's scale."""
    path = " ".join(_arrows(tile_map, size))
    return svg([Line(path=path, colour="#ffffff")], size)


def _outline(region: Region, colours: str, size: Size, taken: list[Place] | None, pen: Pen) -> Line:
    """Return a region's line, with its area where `taken` leaves room for it; the label is added to `taken`."""
    colour, style = look_of(region, colours)
    left, top, width, height = region.box
    box = ((left, top), (left + width, top), (left + width, top + height), (left, top + height))
    line = Line(path=path_of(region.outline or box, size), colour=css(colour), dashes=_DASHES[style])
    label = percent(region.area)
    at = None if taken is None else free(box, label, size, pen, taken)
    if taken is None or at is None:
        return line
    line = replace(line, label=label, at=at)
    taken.append(around(line, pen))
    return line


def _png(pixels: NDArray[np.float64]) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.rint(pixels).astype(np.uint8)).save(buffer, "PNG")
    return buffer.getvalue()


def _arrows(tile_map: TileMap, size: Size) -> Iterator[str]:
    if tile_map.angles is None:
        return
    rows, columns = tile_map.values.shape
    pitch: NDArray[np.float64] = np.array((WIDE / columns, high_of(size) / rows))
    step = max(1, int(np.ceil(ROOM / pitch.min())))
    longest = float(pitch.min()) * step * LONGEST
    for place, length, angle in pooled(tile_map, tile_map.angles, step):
        reach = np.array((np.cos(angle), -np.sin(angle))) * length * longest / 2  # rows run down
        (x, y), (to_x, to_y) = place * pitch - reach, place * pitch + reach
        yield f"M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}"
