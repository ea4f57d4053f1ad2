"""Which photosites of a mosaic are clipped highlights, decided one by one before any averaging."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode.planes import BAND, in_bands
from qc.frame import Cfa, Saturation

_REACH = 2
"""Photosites around a hot one that are looked at: the nearest of its own colour stand two away."""

_TAIL_SIDE = 7
"""Side of the window, in photosites of one position, over which light just under saturation is told apart."""

_TAIL_SHARE = 0.25
"""Share of clipped photosites in that window under which they are the upper tail of noise, not a highlight."""

_TAIL_LEVEL = 0.95
"""The tail needs light: the window's mean must be this part of saturation, or it is the rim of a glint."""


def clipped_photosites(
    mosaic: NDArray[np.uint16], cfa: Cfa, saturation: Sequence[Saturation]
) -> NDArray[np.uint8] | None:
    """Mark clipped photosites; hot photosites and the tail of noise are left out.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        DN.
    cfa : Cfa
        Its pattern.
    saturation : sequence of Saturation
        One a colour; a level of None marks nothing.

    Returns
    -------
    ndarray of uint8, shape (rows, columns), or None
        1 where clipped; None when nothing is.
    """
    limits = np.array([np.inf if s.level is None else s.level for s in saturation])
    if mosaic.size == 0 or mosaic.max() < limits.min():
        return None
    over = np.zeros(mosaic.shape, dtype=np.uint8)
    pattern = cfa.array()
    rows, columns = pattern.shape

    def mark(start: int, stop: int) -> None:
        for y, x in np.ndindex(rows, columns):
            part = (slice(start + (y - start) % rows, stop, rows), slice(x, None, columns))
            if np.isfinite(limits[pattern[y, x]]):
                over[part] = mosaic[part] >= limits[pattern[y, x]]

    in_bands(mosaic.shape[0], BAND, mark)
    over = without_noise_tail(without_hot_photosites(over), mosaic, cfa, limits)
    return over if over.any() else None


def without_hot_photosites(over: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Drop every clipped photosite that stands alone.

    A photosite is alone when none of the 24 around it (5 × 5, so the nearest eight of its own colour are among
    them) is clipped. A lens spreads even a point of light over more than one photosite, so what stands alone is a
    defect of the sensor, or so small that no detail could be in it.

    Parameters
    ----------
    over : ndarray of uint8, shape (rows, columns)
        1 where at or above saturation.

    Returns
    -------
    ndarray of uint8
        The same without those.
    """
    if not over.any():
        return over
    kept = np.empty_like(over)

    def judge(start: int, stop: int) -> None:
        first, last = max(0, start - _REACH), min(len(over), stop + _REACH)
        part = over[first:last]
        if not part.any():
            kept[start:stop] = 0
            return
        side = 2 * _REACH + 1
        around = cv2.boxFilter(part, cv2.CV_8U, (side, side), normalize=False, borderType=cv2.BORDER_CONSTANT)
        mine = slice(start - first, stop - first)
        kept[start:stop] = over[start:stop] & (around[mine] > 1)

    in_bands(len(over), BAND, judge)
    return kept


def without_noise_tail(
    over: NDArray[np.uint8], mosaic: NDArray[np.uint16], cfa: Cfa, limits: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Drop photosites that only noise lifts to saturation, in light that lies just under it.

    In light well over saturation every photosite clips, in light at saturation half of them, in light under it
    the few whose noise is large. A photosite is dropped when fewer than a quarter of the 7 × 7 at its own position
    of the pattern are clipped although their mean is at least 0.95 of saturation.

    Parameters
    ----------
    over : ndarray of uint8, shape (rows, columns)
        1 where at or above saturation.
    mosaic : ndarray of uint16, shape (rows, columns)
        DN.
    cfa : Cfa
        Its pattern.
    limits : ndarray, shape (colours,)
        Saturation by colour, DN.

    Returns
    -------
    ndarray of uint8
        The same without those.
    """
    kept = over
    pattern = cfa.array()
    for y, x in np.ndindex(*pattern.shape):
        part = np.ascontiguousarray(over[y :: pattern.shape[0], x :: pattern.shape[1]])
        if not part.any():
            continue
        window = (_TAIL_SIDE, _TAIL_SIDE)
        count = cv2.boxFilter(part, cv2.CV_8U, window, normalize=False, borderType=cv2.BORDER_REFLECT_101)
        rows, columns = np.nonzero(part & (count < _TAIL_SHARE * _TAIL_SIDE**2))
        if rows.size == 0:
            continue
        values = mosaic[y :: pattern.shape[0], x :: pattern.shape[1]]
        means = _window_means(values, rows, columns)
        tail = means >= _TAIL_LEVEL * limits[pattern[y, x]]
        if tail.any():
            kept = kept.copy() if kept is over else kept
            kept[y :: pattern.shape[0], x :: pattern.shape[1]][rows[tail], columns[tail]] = 0
    return kept


def _window_means(
    values: NDArray[np.uint16], rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Mean of the window around each place; the edge repeats."""
    half = _TAIL_SIDE // 2
    total = np.zeros(rows.shape)
    for dy in range(-half, half + 1):
        for dx in range(-half, half + 1):
            y = np.clip(rows + dy, 0, values.shape[0] - 1)
            x = np.clip(columns + dx, 0, values.shape[1] - 1)
            total += values[y, x]
    return total / _TAIL_SIDE**2
