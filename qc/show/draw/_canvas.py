"""What every drawing shares: the grey picture, its zones, the caption above and the key below."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.reading import Level
from qc.sheet.zones import Zone
from qc.show.draw import _text
from qc.show.draw._lines import stroke, to_pixels
from qc.show.palette import LEVELS, QUIET, RGB, SURROUND, TEXT

Picture = NDArray[np.uint8]
"""sRGB, shape (rows, columns, 3)."""

PlateBox = tuple[int, int, int, int]
"""Column, row, width and height of a piece of text."""

MOST_COLUMNS, MOST_ROWS = 1600, 1300
"""Room for the picture: a drawing is seen whole on a laptop."""

LEAST_COLUMNS = 1000
"""Room for the words."""

MARGIN = 24
_BRIGHTEST = 0.8
_HIDDEN = 0.03
_ZONE: Final[RGB] = (255, 255, 255)
_HEIGHTS: Final = {Level.CLEAR: 0.15, Level.NOTE: 0.4, Level.WARN: 0.65, Level.HALT: 1.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class Caption:
    """What is written above a drawing.

    Attributes
    ----------
    name : str
        File name; cut in the middle where it is too long.
    shown : str
        What is drawn and in which unit.
    values : str
        The reading's values with their unit.
    level : Level or None
        What this measurement adds to the verdict.
    cause : str
        Why, as a photographer would say it.
    """

    name: str
    shown: str
    values: str = ""
    level: Level | None = None
    cause: str = ""


def grey_picture(digest: Digest) -> Picture:
    """Return the preview as a dimmed grey picture, scaled to the room there is."""
    import cv2

    rows, columns = digest.preview.shape
    factor = min(MOST_COLUMNS / columns, MOST_ROWS / rows)
    size = max(1, round(columns * factor)), max(1, round(rows * factor))
    way = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    grey = np.asarray(cv2.resize(digest.preview, size, interpolation=way)).reshape(size[::-1])
    dimmed = np.rint(grey * _BRIGHTEST).astype(np.uint8)
    return np.repeat(dimmed[:, :, np.newaxis], 3, axis=2)


def draw_zones(picture: Picture, zones: Sequence[Zone]) -> list[PlateBox]:
    """Draw each zone as a thin line with its name, half transparent; return where the names stand."""
    drawn = picture.copy()
    outlines = [to_pixels(zone.points, picture) for zone in zones]
    for points in outlines:
        stroke(drawn, points, _ZONE, thickness=1)
    picture[:] = ((picture.astype(np.uint16) + drawn) // 2).astype(np.uint8)
    places: list[PlateBox] = []
    for zone, points in zip(zones, outlines, strict=True):
        name = _text.cut_middle(zone.name, _text.SMALL, picture.shape[1] // 2)
        corners = [plate_box(picture, name, at) for at in _places(points, plate_box(picture, name, (0, 0))[2:])]
        free = [box for box in corners if not any(overlap(box, other) for other in places)]
        places.append(plate(picture, name, (free or corners)[0][:2], TEXT))
    return places


def overlap(a: PlateBox, b: PlateBox) -> bool:
    """Tell whether two pieces of text would cover each other."""
    return a[0] < b[0] + b[2] and b[0] < a[0] + a[2] and a[1] < b[1] + b[3] and b[1] < a[1] + a[3]


def _places(points: NDArray[np.float64], size: tuple[int, int]) -> list[tuple[int, int]]:
    """Return where a zone's name may stand, best first; outside a zone that it would hide much of."""
    (left, top), (right, bottom) = points.min(axis=0).astype(int).tolist(), points.max(axis=0).astype(int).tolist()
    across, down = right - 4 - size[0], bottom - 4 - size[1]
    inside = [(left + 4, top + 4), (across, top + 4), (left + 4, down), (across, down)]
    outside = [(left, top - 4 - size[1]), (left, bottom + 4)]
    small = size[0] * size[1] > _HIDDEN * (right - left) * (bottom - top)
    return outside + inside if small else inside + outside


def plate(picture: Picture, text: str, at: tuple[int, int], colour: RGB) -> PlateBox:
    """Write a short text on a dimmed ground, kept inside the picture; return where it stands."""
    left, top, wide, high = plate_box(picture, text, at)
    ground = picture[top : top + high, left : left + wide]
    ground[:] = (ground * 0.3 + np.array(SURROUND) * 0.7).astype(np.uint8)
    _text.write(picture, text, (left + 5, top), _text.SMALL, colour)
    return left, top, wide, high


def plate_box(picture: Picture, text: str, at: tuple[int, int]) -> PlateBox:
    """Return where a `plate` would stand, moved to lie inside the picture."""
    wide, high = _text.width(text, _text.SMALL) + 10, _text.height(_text.SMALL)
    rows, columns = picture.shape[:2]
    return max(0, min(at[0], columns - wide)), max(0, min(at[1], rows - high)), wide, high


def blank(rows: int, columns: int) -> Picture:
    """Return an empty piece of the surround."""
    return np.full((rows, columns, 3), SURROUND, dtype=np.uint8)


def room(picture: Picture) -> int:
    """Return how many pixels wide captions and keys may be."""
    return max(LEAST_COLUMNS, picture.shape[1])


def compose(picture: Picture, caption: Caption, key: Picture, *, lift: int = 0) -> Picture:
    """Return the finished drawing: caption, picture, key, on the surround."""
    wide = room(picture)
    middle = blank(picture.shape[0], wide)
    left = (wide - picture.shape[1]) // 2
    middle[:, left : left + picture.shape[1]] = picture
    parts = [_head(caption, wide), middle, blank(MARGIN // 2, wide), key]
    if lift:
        parts.append(_line(f"Picture lifted {lift} stop{'s' * (lift > 1)} for looking at.", wide, QUIET))
    inner = np.concatenate(parts)
    drawing = blank(inner.shape[0] + 2 * MARGIN, wide + 2 * MARGIN)
    drawing[MARGIN:-MARGIN, MARGIN:-MARGIN] = inner
    return drawing


def _head(caption: Caption, wide: int) -> Picture:
    high = _text.height(_text.LARGE)
    top = blank(high + 4, wide)
    taken = _mark(top, caption.level) if caption.level and caption.level != Level.UNJUDGED else 0
    _text.write(top, _text.cut_middle(caption.name, _text.LARGE, wide - taken - 40), (0, 0), _text.LARGE, TEXT)
    shown = _text.plain(caption.shown)  # first, so that a spelled sign can begin the sentence
    lines = [
        top,
        *(_line(line, wide, TEXT) for line in _text.wrap(shown[:1].upper() + shown[1:], _text.SMALL, wide)),
    ]
    lines += [_line(line, wide, TEXT) for line in _text.wrap(caption.values, _text.SMALL, wide)]
    if caption.cause and caption.level:
        lines += [
            _line(line, wide, LEVELS[caption.level]) for line in _text.wrap(caption.cause, _text.SMALL, wide)
        ]
    return np.concatenate([*lines, blank(MARGIN // 2, wide)])


def _mark(top: Picture, level: Level) -> int:
    """Draw a level at the right end: a column whose height tells it, or ?, and its word; return the width."""
    word, high = str(level), _text.height(_text.LARGE)
    wide = _text.width(word, _text.LARGE)
    left, foot = top.shape[1] - wide, high - 7
    _text.write(top, word, (left, 0), _text.LARGE, LEVELS[level])
    if level in _HEIGHTS:
        column = max(3, round(_HEIGHTS[level] * (foot - 6)))
        top[foot - column : foot, left - 26 : left - 12] = LEVELS[level]
    else:
        _text.write(top, "?", (left - 26, 0), _text.LARGE, LEVELS[level])
    return wide + 26


def _line(text: str, wide: int, colour: RGB) -> Picture:
    line = blank(_text.height(_text.SMALL) + 3, wide)
    _text.write(line, text, (0, 0), _text.SMALL, colour)
    return line
