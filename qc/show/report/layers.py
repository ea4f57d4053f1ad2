"""Layers that lie over a frame's picture: tile maps as small PNG, outlines, arrows and zones as SVG."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import Region, TileMap
from qc.sheet.zones import Zone
from qc.show.draw._lines import Style
from qc.show.draw._scale import colours_at, ends, middle_text
from qc.show.draw.outlines import look_of, percent
from qc.show.palette import RGB
from qc.show.report.templates import render
from qc.show.text import clean

WIDE: Final = 1000
"""Width of an SVG's own coordinates."""

LABELLED: Final = 12
"""Regions that have their area beside them, largest first."""

LONGEST: Final = 0.9
"""Length of the longest arrow, parts of a tile."""

Bright = Literal["high", "low"]
Size = tuple[int, int]
"""Width and height, pixels."""

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
    from PIL import Image

    low, high, _ = ends(tile_map)
    place = (tile_map.values.astype(np.float64) - low) / (high - low)
    known = np.isfinite(place)
    place = np.where(known, place, 0.0)
    colours = np.rint(colours_at(place if bright == "high" else 1.0 - place) * 255)
    pixels = np.dstack([colours, known * 255.0]).astype(np.uint8)
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "PNG")
    return buffer.getvalue()


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


def outlines_svg(regions: Sequence[Region], colours: str, size: Size) -> bytes:
    """Return regions as outlines: their hue and dashes as `qc.show.draw.outlines` has them, areas beside them."""
    largest = sorted(regions, key=lambda region: -region.area)[:LABELLED]
    lines = [_outline(region, colours, size, labelled=region in largest) for region in reversed(regions)]
    return _svg(lines, size)


def zones_svg(zones: Sequence[Zone], size: Size) -> bytes:
    """Return the zones of a sheet as thin lines with their names."""
    lines = [
        Line(
            path=_path(zone.points, size),
            colour="#ffffff",
            label=clean(zone.name),
            at=_beside(zone.points, size),
        )
        for zone in zones
    ]
    return _svg(lines, size, thin=True)


def arrows_svg(tile_map: TileMap, size: Size) -> bytes:
    """Return a line in each tile: along the direction of its blur, as long as the blur is large."""
    path = " ".join(_arrows(tile_map, size))
    return _svg([Line(path=path, colour="#ffffff")], size)


def css(colour: RGB) -> str:
    """Return a colour as CSS writes it."""
    return "#{:02x}{:02x}{:02x}".format(*colour)


def _svg(lines: Sequence[Line], size: Size, *, thin: bool = False) -> bytes:
    return render("layer.svg.j2", lines=lines, wide=WIDE, high=_high(size), thin=thin)


def _outline(region: Region, colours: str, size: Size, *, labelled: bool) -> Line:
    colour, style = look_of(region, colours)
    left, top, width, height = region.box
    corners = region.outline or (
        *((left, top), (left + width, top)),
        *((left + width, top + height), (left, top + height)),
    )
    return Line(
        path=_path(corners, size),
        colour=css(colour),
        dashes=_DASHES[style],
        label=percent(region.area) if labelled else "",
        at=_beside(corners, size),
    )


def _path(points: Sequence[tuple[float, float]], size: Size) -> str:
    high = _high(size)
    return "M" + "L".join(f"{x * WIDE:.1f} {y * high:.1f}" for x, y in points) + "Z"


def _beside(points: Sequence[tuple[float, float]], size: Size) -> tuple[float, float]:
    """Return where a label stands: above the top left corner, kept inside the picture."""
    left, top = min(x for x, _ in points) * WIDE, min(y for _, y in points) * _high(size)
    return round(min(max(left, 4), WIDE - 120), 1), round(max(top - 7, 24), 1)


def _arrows(tile_map: TileMap, size: Size) -> Iterator[str]:
    if tile_map.angles is None:
        return
    _, most, _ = ends(tile_map)
    rows, columns = tile_map.values.shape
    tile: NDArray[np.float64] = np.array((WIDE / columns, _high(size) / rows))
    for row, column in np.argwhere(np.isfinite(tile_map.values) & np.isfinite(tile_map.angles)):
        turn = np.deg2rad(float(tile_map.angles[row, column]))
        half = min(1.0, float(tile_map.values[row, column]) / most) * LONGEST / 2 * tile
        middle = (np.array((column, row)) + 0.5) * tile
        along = np.array((np.cos(turn), -np.sin(turn))) * half
        (x, y), (to_x, to_y) = middle - along, middle + along
        yield f"M{x:.1f} {y:.1f}L{to_x:.1f} {to_y:.1f}"


def _high(size: Size) -> float:
    return round(WIDE * size[1] / size[0], 1)
