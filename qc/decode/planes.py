"""The shared planes of a frame: `cells` and `clip`, made once, in bands that two threads share.

A cell's mean is linear in its photosites, so black of any pattern is taken off the means: no full-size copy in
floating point is ever made. Negatives are kept.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded
from qc.frame import Cfa, Counts, Planes

BAND = 256
"""Photosite rows worked on at a time: small enough to stay in the processor's cache."""

_WORKERS = min(2, os.cpu_count() or 1)


def in_bands(rows: int, step: int, work: Callable[[int, int], None]) -> None:
    """Call ``work(start, stop)`` for bands of `step` rows, two at a time."""
    bands = [(start, min(start + step, rows)) for start in range(0, rows, step)]
    if len(bands) < 2 or _WORKERS < 2:
        for band in bands:
            work(*band)
        return
    with ThreadPoolExecutor(_WORKERS) as pool:
        list(pool.map(lambda band: work(*band), bands))


def row_planes(array: NDArray[Any], row: int, shape: tuple[int, int]) -> list[NDArray[Any]]:
    """Return a contiguous plane for each position in one row of the pattern.

    Parameters
    ----------
    array : ndarray, shape (rows, columns)
        uint8 or uint16, rows contiguous. Of a pattern two wide an odd last column is left out.
    row : int
        Row of the pattern.
    shape : (int, int)
        Rows and columns of the pattern.
    """
    lines = array[row :: shape[0]]
    if shape[1] == 2 and array.shape[1] > 1 and len(lines) > 0:  # several times faster than a strided copy
        even = array.shape[1] // 2 * 2
        return list(cv2.split(lines[:, :even].reshape(len(lines), even // 2, 2)))
    return [np.ascontiguousarray(lines[:, column :: shape[1]]) for column in range(shape[1])]


def cell_side(cfa: Cfa) -> int:
    """Return the side of a cell in photosites: the smallest even square that holds the whole pattern."""
    return int(np.lcm.reduce([2, *cfa.shape]))


def mosaic_cells(mosaic: NDArray[np.uint16], cfa: Cfa, black: NDArray[np.float64], scale: float) -> Planes:
    """Return the mean light of each colour in each cell.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        Visible photosites, DN.
    cfa : Cfa
        Its pattern; every colour must occur.
    black : ndarray
        Black by position, DN; its shape divides the mosaic's repeat: the pattern's or a multiple.
    scale : float
        White less black, DN.

    Returns
    -------
    ndarray of float32, shape (colours, rows // side, columns // side)
        Units of `scale`; negatives kept.
    """
    side = cell_side(cfa)
    rows, columns = mosaic.shape[0] // side, mosaic.shape[1] // side
    index = np.tile(cfa.array(), (side // cfa.shape[0], side // cfa.shape[1]))
    cells = np.empty((len(cfa.colours), rows, columns), dtype=np.float32)
    if cells.size:
        fill = _fill_pairs if side == 2 else _fill_cells
        band = max(side, BAND // side * side)
        in_bands(
            rows * side, band, lambda start, stop: fill(mosaic[start:stop], index, scale, cells, start // side)
        )
        _take_black(cells, index, black, scale)
    return cells


def _fill_pairs(
    band: NDArray[np.uint16], index: NDArray[np.intp], scale: float, cells: Planes, first: int
) -> None:
    """Write the means of a 2×2 pattern: two passes at most for each colour, straight into `cells`."""
    rows, columns = band.shape[0] // 2, cells.shape[2]
    pairs = np.ascontiguousarray(band[:, : 2 * columns]).reshape(2 * rows, columns, 2)
    left, right = cv2.split(pairs)
    seen = [left[0::2], right[0::2], left[1::2], right[1::2]]
    flat = index.ravel().tolist()
    for colour in range(len(cells)):
        planes = [plane for plane, c in zip(seen, flat, strict=True) if c == colour]
        factor = 1.0 / (len(planes) * scale)
        target = cells[colour, first : first + rows]
        # reads uint16 and writes float32 in one pass, without a temporary
        second, weight = (planes[1], factor) if len(planes) > 1 else (planes[0], 0.0)
        cv2.addWeighted(planes[0], factor, second, weight, 0.0, dst=target, dtype=cv2.CV_32F)
        for plane in planes[2:]:
            target += plane * np.float32(factor)


def _fill_cells(
    band: NDArray[np.uint16], index: NDArray[np.intp], scale: float, cells: Planes, first: int
) -> None:
    """Write the means of a larger pattern, position by position."""
    side, columns = len(index), cells.shape[2]
    rows = band.shape[0] // side
    counts = np.bincount(index.ravel(), minlength=len(cells))
    blocks = band[: rows * side, : columns * side].reshape(rows, side, columns, side)
    for colour in range(len(cells)):
        total = np.zeros((rows, columns), dtype=np.float32)
        for y, x in zip(*np.nonzero(index == colour), strict=True):
            total += blocks[:, y, :, x]
        cells[colour, first : first + rows] = total / np.float32(counts[colour] * scale)


def _take_black(cells: Planes, index: NDArray[np.intp], black: NDArray[np.float64], scale: float) -> None:
    side = len(index)
    repeat = [int(np.lcm(side, n)) for n in black.shape]
    levels = np.tile(black, (repeat[0] // black.shape[0], repeat[1] // black.shape[1]))
    seen = np.tile(index, (repeat[0] // side, repeat[1] // side))
    steps = (repeat[0] // side, repeat[1] // side)
    for colour in range(len(cells)):
        where = seen == colour
        sums = np.where(where, levels, 0.0).reshape(steps[0], side, steps[1], side).sum(axis=(1, 3))
        means = sums / np.count_nonzero(index == colour) / scale
        for y in range(steps[0]):
            for x in range(steps[1]):
                cells[colour, y :: steps[0], x :: steps[1]] -= np.float32(means[y, x])


def take_deltas(cells: Planes, cfa: Cfa, decoded: Decoded, scale: float) -> None:
    """Take the per-row and per-column additions to black off the cells, in place (DNG BlackLevelDeltaV and H)."""
    side = cell_side(cfa)
    index = np.tile(cfa.array(), (side // cfa.shape[0], side // cfa.shape[1]))
    for deltas, axis in ((decoded.black_rows, 0), (decoded.black_columns, 1)):
        if deltas is None:
            continue
        count = cells.shape[1 + axis]
        lines = deltas[: count * side].reshape(count, side)
        for colour in range(len(cells)):
            weight = (index == colour).sum(axis=1 - axis)
            means = (lines @ (weight / weight.sum()) / scale).astype(np.float32)
            cells[colour] -= means[:, np.newaxis] if axis == 0 else means


def mosaic_clip(over: NDArray[np.uint8], cfa: Cfa) -> Counts:
    """Count the clipped photosites of each colour in each 2×2 block.

    Parameters
    ----------
    over : ndarray of uint8, shape (rows, columns)
        1 where a photosite is clipped.
    cfa : Cfa
        Its pattern.

    Returns
    -------
    ndarray of uint8, shape (colours, rows // 2, columns // 2)
    """
    rows, columns = over.shape[0] // 2, over.shape[1] // 2
    clip = np.zeros((len(cfa.colours), rows, columns), dtype=np.uint8)
    step = cell_side(cfa) // 2
    index = np.tile(cfa.array(), (2 * step // cfa.shape[0], 2 * step // cfa.shape[1]))

    def count(start: int, stop: int) -> None:
        band = over[2 * start : 2 * stop, : 2 * columns]
        if not band.any():
            return
        target = clip[:, start:stop]
        for y in range(len(index)):
            for x, plane in enumerate(row_planes(band, y, index.shape)):
                target[index[y, x], y // 2 :: step, x // 2 :: step] += plane

    in_bands(rows, BAND // 2 // step * step, count)
    return clip


def pixel_cells(pixels: Planes) -> Planes:
    """Return 2×2 means of the pixels of a linear or rendered file, shape (colours, rows // 2, columns // 2)."""
    colours, rows, columns = pixels.shape
    size = (columns // 2, rows // 2)
    if min(size) == 0:
        return np.empty((colours, size[1], size[0]), dtype=np.float32)
    even = pixels[:, : 2 * size[1], : 2 * size[0]]
    means = [cv2.resize(np.ascontiguousarray(p), size, interpolation=cv2.INTER_AREA) for p in even]
    return np.stack(means).astype(np.float32, copy=False)
