"""Regions as outlines on the grey picture, each with its area: nothing is filled, nothing hides the picture."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from qc.digest import Digest
from qc.reading import Region
from qc.sheet.zones import Zone
from qc.show.draw import _text
from qc.show.draw._canvas import (
    Caption,
    Picture,
    PlateBox,
    blank,
    compose,
    draw_zones,
    grey_picture,
    overlap,
    plate,
    plate_box,
    room,
)
from qc.show.draw._lines import Style, stroke, to_pixels
from qc.show.palette import OKABE_ITO, RGB, TEXT

Look = tuple[RGB, Style]
BURNT: Final = OKABE_ITO["yellow"]
PARTLY: Final = OKABE_ITO["reddish purple"]
PLAIN: Final = OKABE_ITO["sky blue"]

_WORDS: Final[dict[Style, str]] = {
    "solid": "in every colour",
    "dashed": "in some colours",
    "dotted": "in one colour",
}
_MOST_LABELS = 16
_LEAST_LABELLED = 0.02
"""% of the frame; smaller places are labelled only when there are few."""

_FEW = 4
_SAMPLE = 64
_GAP = 8


def draw_outlines(
    digest: Digest, regions: Sequence[Region], *, caption: Caption, zones: Sequence[Zone] = ()
) -> Picture:
    """Draw regions by their outlines; the line tells how many colours are concerned.

    Parameters
    ----------
    digest : Digest
        The capture.
    regions : sequence of Region
        Those to draw, most important first.
    caption : Caption
        Words above.
    zones : sequence of Zone
        Drawn thin, with their names.

    Returns
    -------
    ndarray of uint8, shape (rows, columns, 3)
        sRGB. All colours: solid. Some of several: dashed. One of several: dotted. Burnt places have one hue,
        partly clipped ones another; where colours do not apply, a third, solid.
    """
    picture = grey_picture(digest)
    names = draw_zones(picture, zones)
    for region in reversed(regions):
        colour, style = look_of(region, digest.colours)
        stroke(picture, to_pixels(region.outline or _corners(region), picture), colour, style=style)
    _label(picture, regions, digest.colours, names)
    return compose(picture, caption, _key(regions, digest.colours, room(picture)), lift=digest.lift)


def look_of(region: Region, colours: str) -> Look:
    """Return the line of a region in a capture of the given colours.

    Its style tells how many of them are clipped, its hue whether the place is burnt or keeps some detail.
    """
    if not region.colours:
        return PLAIN, "solid"
    hue = BURNT if region.what == "burnt" else PARTLY
    if set(region.colours) >= set(colours):
        return hue, "solid"
    return hue, "dashed" if len(region.colours) > 1 else "dotted"


def _corners(region: Region) -> tuple[tuple[float, float], ...]:
    left, top, width, height = region.box
    return ((left, top), (left + width, top), (left + width, top + height), (left, top + height))


def _label(picture: Picture, regions: Sequence[Region], colours: str, names: Sequence[PlateBox]) -> None:
    """Write the area beside each region, largest first, where it hides no other words."""
    taken = list(names)
    boxes = [_box(region, picture) for region in regions]
    for number, region in enumerate(sorted(regions, key=lambda r: -r.area)[:_MOST_LABELS]):
        if number >= _FEW and region.area < _LEAST_LABELLED:
            break
        text = percent(region.area)
        fits = [
            box
            for at in _beside(_box(region, picture), plate_box(picture, text, (0, 0))[2:])
            if (box := plate_box(picture, text, at))[:2] == at and not any(overlap(box, words) for words in taken)
        ]
        if fits:  # best where it hides no other region either
            best = min(fits, key=lambda box: sum(overlap(box, other) for other in boxes))
            taken.append(plate(picture, text, best[:2], look_of(region, colours)[0]))


def _box(region: Region, picture: Picture) -> PlateBox:
    (left, top), (right, bottom) = to_pixels(_corners(region), picture)[[0, 2]].astype(int).tolist()
    return left, top, right - left + 1, bottom - top + 1


def _beside(box: PlateBox, size: tuple[int, int]) -> tuple[tuple[int, int], ...]:
    """Return where a label may stand, best first: at the sides, then at the corners."""
    (left, top, wide, high), (columns, rows) = box, size
    before, after = left - _GAP - columns, left + wide + _GAP
    above, below = top - _GAP - rows, top + high + _GAP
    across, down = left + (wide - columns) // 2, top + (high - rows) // 2
    sides = ((after, down), (before, down), (across, above), (across, below))
    return (*sides, (after, above), (after, below), (before, above), (before, below))


def percent(area: float) -> str:
    """Return a part of the frame in words that a label has room for."""
    return f"{area:.2f} %" if area >= 0.005 else f"{area:.4f} %"


def _key(regions: Sequence[Region], colours: str, wide: int) -> Picture:
    """Draw a line for each kind of outline there is: sample, meaning, how many, area together."""
    rows = []
    kinds = {(region.what, look_of(region, colours)): None for region in sorted(regions, key=lambda r: -r.area)}
    for what, look in kinds:
        those = [region for region in regions if (region.what, look_of(region, colours)) == (what, look)]
        row = blank(_text.height(_text.SMALL) + 4, wide)
        middle = row.shape[0] // 2
        stroke(row, np.array([(3.0, middle), (_SAMPLE, middle)]), look[0], style=look[1], closed=False)
        words = _WORDS[look[1]] if those[0].colours and len(colours) > 1 else ""
        places = f"{len(those)} place{'s' * (len(those) > 1)}"
        area = percent(sum(region.area for region in those))
        text = f"{' '.join(filter(None, (what, words)))}: {places}, {area} of the frame together"
        _text.write(row, text, (_SAMPLE + 16, 0), _text.SMALL, TEXT)
        rows.append(row)
    if not rows:
        row = blank(_text.height(_text.SMALL) + 4, wide)
        _text.write(row, "no such place in this frame", (0, 0), _text.SMALL, TEXT)
        rows.append(row)
    return np.concatenate(rows)
