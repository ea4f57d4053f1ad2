"""Finds places that look like a grey card, or like the grey field of a chart: what a person may take as a patch.

Even, unclipped, of middle light, near neutral and about rectangular. It is a proposal: that a thing is a card
nobody can know but who put it there.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._clipped import at_cells, clipped
from qc.measure._colour import camera_to_xyz_d50, lab, xyz_of_lab
from qc.measure._rectangle import largest_rectangle
from qc.measure.ambient.noise import cell_noise
from qc.measure.cast.patch import Patch, cut_patch, refusal
from qc.measure.cast.values import NEUTRAL_LIGHTNESS
from qc.measure.highlights.headroom import light_at_saturation
from qc.orientation import upright
from qc.reading import Box, Reason
from qc.sheet.zones import Role, Zone

MOST = 3
"""Most places that are returned. Our own choice, as every number here."""

LONG_SIDE = 500
"""Most places along the long side of the picture that is searched."""

AREA = 0.2, 12.0
"""Smallest and largest card, % of the picture."""

UNDER = 0.5, 6.5
"""Stops under saturation between which light is a card's: under white paper, and not lost in the dark."""

STEP = 0.03
"""Part by which the light may change over two places of the search picture; more is an edge."""

NOISE_STEP = 5.0
"""Standard deviations of noise that a step must exceed to be an edge."""

OPENING = 5
"""Side of the square that must fit everywhere in a card: cuts what hangs on it by a thin neck."""

FILL = 0.9
"""Least part of its smallest rectangle, however turned, that a card fills; a disc fills 0.785 of it."""

LONGEST = 3.0
"""Most times that a card is longer than wide."""

DUST = 0.03
"""Most of a card that may be specks, as a part of it; a printed label has more."""

INSIDE = 0.04
"""Part of the card's short side by which the place found stays inside its edge, on top of what blur takes."""

MOST_CHROMA = 10.0
"""Chroma up to which a place is near neutral: the balance of the frame may be off, which is what a card is for."""

Mask = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """A place that looks like a grey card.

    Attributes
    ----------
    box : tuple of float
        Left, top, width, height of the largest rectangle inside the card's edge, fractions of the upright picture.
    area : float
        Area of `box`, % of the picture.
    chroma : float or None
        √(a*² + b*²) at L* 50 under D50, by the frame's own balance and matrix; None where it has none.
    unevenness : float
        Standard deviation of the light over the box / mean, noise removed, %.
    why : str
        What was seen, one clause.
    """

    box: Box
    area: float
    chroma: float | None
    unevenness: float
    why: str


def cards(frame: Frame) -> tuple[Card, ...]:
    """Return the places of a frame that look like a grey card, most neutral and even first.

    Parameters
    ----------
    frame : Frame
        The capture.

    Returns
    -------
    tuple of Card
        At most `MOST`. None where the frame is too small or its saturation is not known. A place that reaches the
        rim of the picture is no card but a ground; one that `qc.measure.cast` would refuse as a reference
        (clipped, glaring, uneven, too dark) is left out. Of a card that a hard shadow crosses each side is a
        place of its own; a soft shadow makes it uneven, and it is left out.
    """
    levels = light_at_saturation(frame)
    if min(frame.cells.shape[1:]) < 3 * OPENING or not (np.isfinite(levels).all() and levels.min() > 0):
        return ()
    burnt = at_cells(frame, clipped(frame).anywhere)
    matrix = camera_to_xyz_d50(frame.colour)
    usable = None if isinstance(matrix, Reason) or matrix.shape[1] != len(frame.colours) else matrix
    found = (_card(frame, box, burnt, usable) for box in _boxes(_even(frame, burnt, levels)))
    return tuple(sorted((card for card in found if card is not None), key=_worth)[:MOST])


def _worth(card: Card) -> tuple[float, float]:
    return round((card.chroma or 0.0) + card.unevenness), -card.area


def _even(frame: Frame, burnt: NDArray[np.uint8], levels: NDArray[np.float64]) -> Mask:
    """Average the cells to a small upright picture and tell where it is even, of middle light and not clipped."""
    import cv2

    rows, columns = frame.cells.shape[1:]
    factor = min(1.0, LONG_SIDE / max(rows, columns))
    size = max(1, round(columns * factor)), max(1, round(rows * factor))

    def small(plane: NDArray[Any]) -> NDArray[Any]:
        return upright(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), frame.orientation)

    light = np.stack([small(plane) for plane in frame.cells])
    nearest = (light / levels[:, np.newaxis, np.newaxis]).max(axis=0)
    even = (nearest <= 2.0 ** -UNDER[0]) & (nearest >= 2.0 ** -UNDER[1])
    even &= (light.min(axis=0) > 0) & (small(burnt) == 0)
    noise = cell_noise(frame)
    merged = rows * columns / (size[0] * size[1])
    for index, plane in enumerate(light):
        sigma = np.sqrt(2 * noise.at(index, plane) / merged)  # of a difference
        even &= _change(plane) <= np.maximum(STEP * plane, NOISE_STEP * sigma)
    return np.asarray(even)


def _change(plane: NDArray[np.float32]) -> NDArray[np.float32]:
    """Return how much the light changes from the place before to the place after, the larger of both ways."""
    padded = np.pad(plane, 1, mode="edge")
    across = np.abs(padded[1:-1, 2:] - padded[1:-1, :-2])
    down = np.abs(padded[2:, 1:-1] - padded[:-2, 1:-1])
    return np.maximum(across, down)


def _boxes(even: Mask) -> Iterator[Box]:
    """Yield the box inside every place that has the size and the shape of a card."""
    import cv2

    kernel = np.ones((OPENING, OPENING), dtype=np.uint8)
    # without the border the picture's rim would count as an edge and open a gap along it
    opened = cv2.morphologyEx(even.view(np.uint8), cv2.MORPH_OPEN, kernel, borderType=cv2.BORDER_REPLICATE)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(np.asarray(opened), connectivity=4)
    rows, columns = even.shape
    for label in range(1, count):
        left, top, width, height, area = (int(v) for v in stats[label])
        at_rim = left == 0 or top == 0 or left + width == columns or top + height == rows
        if at_rim or not AREA[0] <= 100 * area / (rows * columns) <= AREA[1]:
            continue
        place = labels[top : top + height, left : left + width] == label
        if (inner := _inside(_without_specks(np.pad(place, 1)))) is not None:
            x, y, w, h = inner
            yield (left + x) / columns, (top + y) / rows, w / columns, h / rows


def _without_specks(place: Mask) -> Mask:
    """Close the holes of a place where they are dust; what has more of them is no card."""
    import cv2

    contours, _ = cv2.findContours(place.view(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    whole = cv2.drawContours(np.zeros(place.shape, dtype=np.uint8), contours, -1, 1, cv2.FILLED) > 0
    return np.asarray(whole) if np.count_nonzero(whole & ~place) <= DUST * np.count_nonzero(whole) else place


def _inside(place: Mask) -> tuple[int, int, int, int] | None:
    """Return left, top, width, height of the largest rectangle inside a place; None where it is no rectangle.

    Parameters
    ----------
    place : ndarray of bool
        With a rim of one that is False; what is returned is counted without it.
    """
    import cv2

    points = np.argwhere(place)[:, ::-1].astype(np.float32)
    _, sides, _ = cv2.minAreaRect(points)
    short, long = sorted(side + 1 for side in sides)  # from centres to edges
    if long > LONGEST * short or len(points) < FILL * short * long:
        return None
    margin = max(1, round(INSIDE * short))
    inner = cv2.erode(place.view(np.uint8), np.ones((2 * margin + 1, 2 * margin + 1), dtype=np.uint8))
    top, left, bottom, right = largest_rectangle(np.asarray(inner, dtype=bool))
    return None if bottom == top else (left - 1, top - 1, right - left, bottom - top)


def _card(frame: Frame, box: Box, burnt: NDArray[np.uint8], matrix: NDArray[np.float64] | None) -> Card | None:
    patch = cut_patch(frame, Zone.from_box("card", Role.PATCH, box), burnt)
    if isinstance(patch, Reason) or patch.unevenness is None or refusal(patch) is not None:
        return None
    chroma = None if matrix is None else _chroma(patch, matrix)
    if chroma is not None and not chroma <= MOST_CHROMA:
        return None
    colour = "colour cannot be checked" if chroma is None else f"near neutral, chroma {chroma:.1f}"
    return Card(
        box=box,
        area=100 * box[2] * box[3],
        chroma=chroma,
        unevenness=patch.unevenness,
        why=f"even to {patch.unevenness:.1f} %, {colour}",
    )


def _chroma(patch: Patch, matrix: NDArray[np.float64]) -> float:
    """Return the chroma of a patch at L* 50; infinite where it has no light."""
    xyz = matrix @ patch.means
    if xyz[1] <= 0:
        return math.inf
    _, a, b = lab(xyz * (xyz_of_lab((NEUTRAL_LIGHTNESS, 0.0, 0.0))[1] / xyz[1]))
    return math.hypot(float(a), float(b))
