"""Lines that read on black and on white: solid, dashed or dotted, each on a dark casing."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from qc.show.palette import RGB, SURROUND

Style = Literal["solid", "dashed", "dotted"]
Points = NDArray[np.float64]
"""Columns and rows of an image, shape (n, 2); whole numbers are pixel centres."""

_STROKES: Final[dict[Style, tuple[float, float]]] = {"dashed": (10.0, 10.0), "dotted": (1.0, 9.0)}
"""Pixels drawn and left out; round ends add three to what is drawn."""
_CASING = 0.6
_SHIFT = 4
"""Bits of fraction that OpenCV reads in a coordinate."""


def to_pixels(fractions: Sequence[tuple[float, float]], image: NDArray[np.uint8]) -> Points:
    """Turn (x, y) fractions of the upright picture into pixels of an image of it."""
    rows, columns = image.shape[:2]
    return np.array(fractions, dtype=np.float64).reshape(-1, 2) * (columns, rows) - 0.5


def stroke(
    image: NDArray[np.uint8],
    points: Points,
    colour: RGB,
    *,
    style: Style = "solid",
    thickness: int = 2,
    closed: bool = True,
) -> None:
    """Draw a line through points, on an unbroken, half transparent dark casing."""
    import cv2

    if len(points) == 0:
        return
    path = np.vstack([points, points[:1]]) if closed else points
    parts = [path] if style == "solid" else list(_parts(path, *_STROKES[style]))
    low = np.maximum(np.floor(path.min(axis=0)).astype(int) - thickness - 2, 0)
    high = np.ceil(path.max(axis=0)).astype(int) + thickness + 3
    window = image[low[1] : max(low[1], high[1]), low[0] : max(low[0], high[0])]
    if window.size == 0:
        return
    cased = window.copy()
    cv2.polylines(cased, _fixed([path], low), False, SURROUND, thickness + 2, cv2.LINE_AA, _SHIFT)
    window[:] = cv2.addWeighted(window, 1 - _CASING, cased, _CASING, 0.0)
    cv2.polylines(image, _fixed(parts, np.zeros(2, dtype=int)), False, colour, thickness, cv2.LINE_AA, _SHIFT)


def _fixed(lines: Sequence[Points], origin: NDArray[np.integer]) -> list[NDArray[np.int32]]:
    return [np.rint((line - origin) * (1 << _SHIFT)).astype(np.int32).reshape(-1, 1, 2) for line in lines]


def _parts(path: Points, drawn: float, gap: float) -> Iterator[Points]:
    """Cut a path into strokes of `drawn` pixels along it, `gap` pixels apart."""
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    total = float(along[-1])
    count = max(1, round(total / (drawn + gap)))
    step = total / count
    for start in np.arange(count) * step:
        end = start + drawn * step / (drawn + gap)
        inner = path[(along > start) & (along < end)]
        ends = [[np.interp(at, along, path[:, axis]) for axis in (0, 1)] for at in (start, end)]
        yield np.vstack([ends[:1], inner, ends[1:]])
