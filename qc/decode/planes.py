"""The shared planes of a frame: `cells` and `clip`, made once, in one pass over the photosites."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Cfa, Counts, Planes


def bayer_planes(
    mosaic: NDArray[np.uint16],
    cfa: Cfa,
    black: NDArray[np.float64],
    scale: float,
    saturation: NDArray[np.float64],
) -> tuple[Planes, Counts]:
    """Return the cell means and clipped counts of a mosaic with a 2×2 (or 1×1) pattern.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        Visible photosites, DN.
    cfa : Cfa
        Its pattern.
    black : ndarray, shape (2, 2) or (1, 1)
        Black by position, DN.
    scale : float
        White less black, DN.
    saturation : ndarray, shape (colours,)
        Level at or above which a photosite of that colour is clipped, DN; infinity for never.

    Returns
    -------
    cells : ndarray of float32, shape (colours, rows // 2, columns // 2)
    clip : ndarray of uint8, same shape
    """
    rows, columns = mosaic.shape[0] // 2 * 2, mosaic.shape[1] // 2 * 2
    pattern = np.broadcast_to(np.tile(cfa.array(), (2, 2))[:2, :2], (2, 2))
    levels = np.tile(black, (2, 2))[:2, :2]
    colours = len(cfa.colours)
    share = 1.0 / np.bincount(pattern.ravel(), minlength=colours)
    cells = np.zeros((colours, rows // 2, columns // 2), dtype=np.float32)
    clip = np.zeros(cells.shape, dtype=np.uint8)
    if cells.size == 0:
        return cells, clip
    pairs = np.ascontiguousarray(mosaic[:rows, :columns]).reshape(rows, columns // 2, 2)
    started: set[int] = set()
    for column, plane in enumerate(cv2.split(pairs)):
        for row in (0, 1):
            colour = int(pattern[row, column])
            values = plane[row::2]
            factor = share[colour] / scale
            offset = -levels[row, column] * factor
            # addWeighted reads uint16 and writes float32 in one pass, without a temporary
            other, weight = (cells[colour], 1.0) if colour in started else (None, 0.0)
            part = cv2.addWeighted(values, factor, values, 0.0, offset, dtype=cv2.CV_32F)
            cells[colour] = part if other is None else other * np.float32(weight) + part
            started.add(colour)
            if np.isfinite(saturation[colour]) and values.max(initial=0) >= saturation[colour]:
                clip[colour] += values >= saturation[colour]
    return cells, clip
