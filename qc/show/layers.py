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
from qc.show.palette import RGB, SURROUND
from qc.show.templates import render
from qc.show.text import clean

WIDE: Final = 1000
"""Width of an SVG's own coordinates."""

LABELLED: Final = 12
"""Most regions that have their area beside them, largest first."""

FEW: Final = 4
LEAST: Final = 0.02
"""% of the frame; smaller regions have their area beside them only where there are few."""

ROOMY: Final = 4.5
"""Height from which a place is not hidden by a label inside it, in heights of letters."""

BOLD: Final = 600
"""Weight from which letters are bold."""

BAR: Final = 256
"""Steps of a map's bar."""

LONGEST: Final = 0.9
"""Length of the longest arrow, parts of the room it has."""

ROOM: Final = 24
"""Room an arrow has at least, in an SVG's own coordinates; tiles in less are averaged."""

Bright = Literal["high", "low"]
Size = tuple[int, int]
"""Width and height, pixels."""

Place = tuple[float, float, float, float]
"""Left, top, right and bottom of a label, in an SVG's own coordinates."""

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


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """How the lines and letters of an SVG look.

    Attributes
    ----------
    width, under : float
        Of a line and of the dark line under it; pixels of the screen when `fixed`, else the SVG's own coordinates.
    fixed : bool
        Whether lines keep their width when the picture is scaled.
    shade, opacity : float
        Opacity of the dark line and of the line.
    letters, halo : float
        Height of letters and width of the dark line around them, in the SVG's own coordinates.
    weight : int
        Of letters, as CSS counts it.
    text : str
        Their colour; that of their line when empty.
    """

    width: float = 2.0
    under: float = 3.4
    fixed: bool = True
    shade: float = 0.4
    opacity: float = 1.0
    letters: float = 22.0
    halo: float = 5.0
    weight: int = 400
    text: str = ""


PEN: Final = Pen()
THIN: Final = Pen(width=1.2, under=2.6, opacity=0.7, letters=19.0, text="#cecece")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One outline of an SVG: path, look, and a label with its place."""

    path: str
    colour: str
    dashes: str = "none"
    label: str = ""
    at: tuple[float, float] = (0.0, 0.0)


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


def outlines_svg(regions: Sequence[Region], colours: str, size: Size, zones: Sequence[Zone] = ()) -> bytes:
    """Return regions as outlines: their hue and dashes as `qc.show.draw.outlines` has them, areas beside them.

    `zones` are drawn elsewhere; no area hides the name of one.
    """
    taken = [around(line, THIN) for line in _zone_lines(zones, size)]
    lines = []
    for number, region in enumerate(sorted(regions, key=lambda region: -region.area)):
        labelled = number < FEW or (number < LABELLED and region.area >= LEAST)
        lines.append(_outline(region, colours, size, taken if labelled else None))
    return svg(lines[::-1], size)


def zones_svg(zones: Sequence[Zone], size: Size) -> bytes:
    """Return the zones of a sheet as thin lines with their names."""
    return svg(_zone_lines(zones, size), size, THIN)


def _zone_lines(zones: Sequence[Zone], size: Size) -> list[Line]:
    taken: list[Place] = []
    lines = []
    for zone in zones:
        name = clean(zone.name)
        at = free(zone.points, name, size, THIN, taken) or beside(zone.points, name, size, THIN)[0]
        line = Line(path=path_of(zone.points, size), colour="#ffffff", label=name, at=at)
        taken.append(around(line, THIN))
        lines.append(line)
    return lines


def arrows_svg(tile_map: TileMap, size: Size) -> bytes:
    """Return a line in each tile: along its direction, as long as its value is high on the map's scale."""
    path = " ".join(_arrows(tile_map, size))
    return svg([Line(path=path, colour="#ffffff")], size)


def css(colour: RGB) -> str:
    """Return a colour as CSS writes it."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def svg(lines: Sequence[Line], size: Size, pen: Pen = PEN) -> bytes:
    """Return lines with their labels as an SVG that lies over a picture of a size."""
    return render("layer.svg.j2", lines=lines, wide=WIDE, high=high_of(size), pen=pen, under=css(SURROUND))


def _outline(region: Region, colours: str, size: Size, taken: list[Place] | None) -> Line:
    """Return a region's line, with its area where `taken` leaves room for it; the label is added to `taken`."""
    colour, style = look_of(region, colours)
    left, top, width, height = region.box
    box = ((left, top), (left + width, top), (left + width, top + height), (left, top + height))
    line = Line(path=path_of(region.outline or box, size), colour=css(colour), dashes=_DASHES[style])
    label = percent(region.area)
    at = None if taken is None else free(box, label, size, PEN, taken)
    if taken is None or at is None:
        return line
    line = replace(line, label=label, at=at)
    taken.append(around(line, PEN))
    return line


def path_of(points: Sequence[tuple[float, float]], size: Size) -> str:
    """Return the closed path through points that are fractions of the picture."""
    high = high_of(size)
    return "M" + "L".join(f"{x * WIDE:.1f} {y * high:.1f}" for x, y in points) + "Z"


def beside(
    points: Sequence[tuple[float, float]], label: str, size: Size, pen: Pen
) -> tuple[tuple[float, float], ...]:
    """Return where the label of a place may begin, best first: above, then inside where there is room, then below.

    Parameters
    ----------
    points : sequence of (x, y)
        Of the place, fractions of the picture.
    label : str
        What is written.
    size : (int, int)
        Width and height of the picture.
    pen : Pen
        What it is written and the place is drawn with.
    """
    high, letters = high_of(size), pen.letters
    edge = 4.0 if pen.fixed else pen.under + pen.halo / 2
    left = max(min(min(x for x, _ in points) * WIDE, WIDE - edge - _wide(label, pen)), edge)
    top, bottom = min(y for _, y in points) * high, max(y for _, y in points) * high
    gap = 0.25 * letters + (0.0 if pen.fixed else pen.under / 2)
    above, below, inside = (
        (top - gap,),
        (bottom + 0.75 * letters + gap,),
        (top + 0.75 * letters + gap, bottom - gap),
    )
    places = (*above, *inside, *below) if bottom - top > ROOMY * letters else (*above, *below, *inside)
    seen = [round(place, 1) for place in places if 0.9 * letters <= place <= high - 4]
    return tuple((round(left, 1), place) for place in seen or [round(0.9 * letters, 1)])


def free(
    points: Sequence[tuple[float, float]], label: str, size: Size, pen: Pen, taken: Sequence[Place]
) -> tuple[float, float] | None:
    """Return the best place of a label that hides no other; None where there is none."""
    for at in beside(points, label, size, pen):
        here = around(Line(path="", colour="", label=label, at=at), pen)
        if not any(overlap(here, other) for other in taken):
            return at
    return None


def around(line: Line, pen: Pen) -> Place:
    """Return the room that a label takes, nearly."""
    left, foot = line.at
    return left, foot - pen.letters, left + _wide(line.label, pen), foot + 4


def _png(pixels: NDArray[np.float64]) -> bytes:
    from PIL import Image

    buffer = io.BytesIO()
    Image.fromarray(np.rint(pixels).astype(np.uint8)).save(buffer, "PNG")
    return buffer.getvalue()


def _wide(label: str, pen: Pen) -> float:
    """Return the width of a label, nearly: letters are about .58 of their height wide, bold ones .7."""
    return (0.58 if pen.weight < BOLD else 0.7) * pen.letters * len(label) + 6


def overlap(a: Place, b: Place) -> bool:
    """Tell whether two labels hide each other."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


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


def high_of(size: Size) -> float:
    """Return the height of an SVG's own coordinates, `WIDE` being its width."""
    return round(WIDE * size[1] / size[0], 1)
