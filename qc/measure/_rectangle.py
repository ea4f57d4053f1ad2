"""The largest upright rectangle in a mask."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def largest_rectangle(mask: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """Return top, left, bottom, right of the largest rectangle that is all true; zeros where nothing is."""
    heights = np.zeros(mask.shape[1] + 1, dtype=int)  # one more column, of no height, closes what is open
    best, most = (0, 0, 0, 0), 0
    for row, line in enumerate(mask):
        heights[:-1] = np.where(line, heights[:-1] + 1, 0)
        risers: list[tuple[int, int]] = []  # where a height begins, rising
        for column, height in enumerate(heights.tolist()):
            start = column
            while risers and risers[-1][1] >= height:
                start, high = risers.pop()
                if high * (column - start) > most:
                    most, best = high * (column - start), (row + 1 - high, start, row + 1, column)
            risers.append((start, height))
    return best
