"""Polygons of few corners around places that a measurement found: around a mask with room, and along tiles."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from qc.reading import Box

MOST_CORNERS = 24
"""Most corners of a polygon, so that a person can still move them. Our own choice."""

MOST_STEPS = 16
"""Most corners of an outline along tiles: with more of them a box is the better zone. Our own choice."""

DIGITS = 4
"""Decimals of a fraction of the picture."""

Mask = NDArray[np.bool_]
Corners = NDArray[np.float64]
Points = tuple[tuple[float, float], ...]


def around(place: Mask, held: Mask, room: int) -> Points | None:
    """Return a polygon of few corners around a place.

    Parameters
    ----------
    place : ndarray of bool, shape (rows, columns)
        One connected place with room around it.
    held : ndarray of bool, same shape
        The part of it that must not be cut.
    room : int
        How far the rim may be moved, pixels.

    Returns
    -------
    tuple of (x, y) or None
        Fractions of the picture; the middles of the outermost pixels are the picture's rims. It does not cross
        itself. Bays are filled where it would have too many corners otherwise. None where nothing does.
    """
    for outline in _outlines(place, room):
        for corners in _simpler(outline, room):
            if len(corners) <= MOST_CORNERS and is_simple(corners) and _holds(corners, held):
                return _fractions(corners / np.maximum(np.array(held.shape[::-1]) - 1, 1))
    return None


def _outlines(place: Mask, room: int) -> Iterator[NDArray[np.int32]]:
    """Yield the outline of a place, then with ever wider bays filled, at last its convex hull."""
    import cv2

    far = 4 * room  # without space around it the rim of the picture would be a bay's other side
    padded = np.pad(place, far).view(np.uint8)
    for reach in (0, room, 2 * room, far):
        kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1))
        closed = np.ascontiguousarray(cv2.morphologyEx(padded, cv2.MORPH_CLOSE, kernel)[far:-far, far:-far])
        contours, _ = cv2.findContours(closed, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
        outline = np.asarray(max(contours, key=len), dtype=np.int32)
        yield outline
    yield np.asarray(cv2.convexHull(outline), dtype=np.int32)


def _simpler(outline: NDArray[np.int32], room: float) -> Iterator[Corners]:
    """Yield an outline with ever fewer corners, none of it moved by more than the room."""
    import cv2

    tolerance = 0.5
    while tolerance < room:
        yield cv2.approxPolyDP(outline, tolerance, closed=True).reshape(-1, 2).astype(np.float64)
        tolerance *= 1.3


def _holds(corners: Corners, held: Mask) -> bool:
    import cv2

    filled = cv2.fillPoly(np.zeros(held.shape, dtype=np.uint8), [np.rint(corners).astype(np.int32)], 1)
    return not bool((held & (np.asarray(filled) == 0)).any())


def along_tiles(place: Mask) -> Points | None:
    """Return the outline of a place along the edges of its tiles.

    Parameters
    ----------
    place : ndarray of bool, shape (rows, columns)
        Tiles of the picture, connected by sides or corners; holes are filled.

    Returns
    -------
    tuple of (x, y) or None
        Fractions of the picture; None where it has too many corners.
    """
    import cv2

    fine = 8  # pixels a tile: where the outline of pixels runs tells which edge of a tile is meant
    drawn = _joined(place).astype(np.uint8).repeat(fine, axis=0).repeat(fine, axis=1)
    contours, _ = cv2.findContours(drawn, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    edges = np.rint(max(contours, key=len).reshape(-1, 2) / fine).astype(np.float32)
    corners = cv2.approxPolyDP(edges, 0.01, closed=True).reshape(-1, 2).astype(np.float64)
    if len(corners) > MOST_STEPS or not is_simple(corners):
        return None
    return _fractions(corners / place.shape[::-1])


def _joined(place: Mask) -> Mask:
    """Add a tile wherever two touch at a corner alone, so that the outline does not touch itself."""
    joined = place.copy()
    while True:
        a, b, c, d = joined[:-1, :-1], joined[:-1, 1:], joined[1:, :-1], joined[1:, 1:]
        falling, rising = a & d & ~b & ~c, b & c & ~a & ~d
        if not (falling.any() or rising.any()):
            return joined
        b |= falling
        a |= rising


def is_simple(corners: Corners) -> bool:
    """Tell whether a closed polygon neither crosses nor touches itself.

    Parameters
    ----------
    corners : ndarray, shape (corners, 2)
        In order.
    """
    count = len(corners)
    if count < 3 or len({tuple(corner) for corner in corners.tolist()}) < count:
        return False
    sides = list(zip(corners, np.roll(corners, -1, axis=0), strict=True))
    for (i, one), (j, other) in itertools.combinations(enumerate(sides), 2):
        if j - i not in (1, count - 1) and _meet(*one, *other):
            return False
    return True


def _meet(a: Corners, b: Corners, c: Corners, d: Corners) -> bool:
    """Tell whether the lines from a to b and from c to d have a point in common."""
    turns = (_turn(a, b, c), _turn(a, b, d), _turn(c, d, a), _turn(c, d, b))
    if turns[0] * turns[1] < 0 and turns[2] * turns[3] < 0:
        return True
    ends = zip(turns, ((a, b, c), (a, b, d), (c, d, a), (c, d, b)), strict=True)
    return any(turn == 0 and _between(*points) for turn, points in ends)


def _turn(a: Corners, b: Corners, c: Corners) -> float:
    return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))


def _between(a: Corners, b: Corners, c: Corners) -> bool:
    return bool(np.all(np.minimum(a, b) <= c) and np.all(c <= np.maximum(a, b)))


def _fractions(corners: Corners) -> Points:
    return tuple((round(float(x), DIGITS), round(float(y), DIGITS)) for x, y in np.clip(corners, 0.0, 1.0))


def within(box: Box) -> Box:
    """Return a box with few decimals that lies inside another."""
    left, top, right, bottom = box[0], box[1], box[0] + box[2], box[1] + box[3]
    steps = 10**DIGITS
    low = [math.ceil(v * steps - 1e-6) for v in (left, top)]
    high = [math.floor(v * steps + 1e-6) for v in (right, bottom)]
    return low[0] / steps, low[1] / steps, (high[0] - low[0]) / steps, (high[1] - low[1]) / steps
