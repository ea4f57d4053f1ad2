"""Connected places of a mask, found without labelling the empty part of a large frame."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts

_BLOCK = 16
_MOST_WINDOWS = 400


@dataclass(frozen=True, slots=True, kw_only=True)
class Places:
    """Connected places, in no stated order but always the same.

    Attributes
    ----------
    areas : ndarray of int, shape (n,)
        Cells of each.
    boxes : ndarray of int, shape (n, 4)
        First row, first column, rows, columns of the rectangle that holds it.
    parts : tuple of (ndarray, (int, int))
        Labelled windows of the mask, with first row and column.
    where : ndarray of int, shape (n, 2)
        Index into `parts` and the label there.
    """

    areas: NDArray[np.int64]
    boxes: NDArray[np.int64]
    parts: tuple[tuple[NDArray[np.int32], tuple[int, int]], ...]
    where: NDArray[np.int64]

    def mask(self, index: int) -> NDArray[np.bool_]:
        """Return which cells of its rectangle a place holds."""
        part, label = self.where[index]
        labels, (first_row, first_column) = self.parts[part]
        top, left, rows, columns = self.boxes[index]
        top, left = top - first_row, left - first_column
        return np.asarray(labels[top : top + rows, left : left + columns] == label, dtype=bool)


def places(mask: Counts) -> Places:
    """Return the places of a mask that 8 neighbours connect.

    Parameters
    ----------
    mask : ndarray of uint8, shape (rows, columns)
        255 where a cell counts, else 0.

    Returns
    -------
    Places

    Notes
    -----
    The mask is first looked at in blocks of 16 × 16. Cells that touch lie in blocks that touch, so each group of
    touching blocks can be labelled alone, and the rest of the frame need not be labelled at all.
    """
    areas, boxes, where = [], [], []
    parts: list[tuple[NDArray[np.int32], tuple[int, int]]] = []
    for window, chosen in _groups(mask):
        _, found, stats, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(chosen), connectivity=8)
        table = np.asarray(stats, dtype=np.int64)[1:]
        if not len(table):
            continue
        first = window[0].start, window[1].start
        areas.append(table[:, cv2.CC_STAT_AREA])
        boxes.append(
            table[:, [cv2.CC_STAT_TOP, cv2.CC_STAT_LEFT, cv2.CC_STAT_HEIGHT, cv2.CC_STAT_WIDTH]] + (*first, 0, 0)
        )
        where.append(np.stack([np.full(len(table), len(parts)), np.arange(1, len(table) + 1)], axis=-1))
        parts.append((np.asarray(found, dtype=np.int32), first))
    return Places(
        areas=np.concatenate([np.zeros(0, dtype=np.int64), *areas]),
        boxes=np.concatenate([np.zeros((0, 4), dtype=np.int64), *boxes]),
        parts=tuple(parts),
        where=np.concatenate([np.zeros((0, 2), dtype=np.int64), *where]),
    )


def _groups(mask: Counts) -> Iterator[tuple[tuple[slice, slice], Counts]]:
    """Windows with the cells of one group of touching blocks each; one window when that is less work."""
    rows, columns = mask.shape
    padded = cv2.copyMakeBorder(mask, 0, -rows % _BLOCK, 0, -columns % _BLOCK, cv2.BORDER_CONSTANT, value=0)
    size = padded.shape[1] // _BLOCK, padded.shape[0] // _BLOCK
    # the mean of a block with one cell of 255 rounds to 1
    blocks = (np.asarray(cv2.resize(padded, size, interpolation=cv2.INTER_AREA)) > 0).view(np.uint8)
    blocks = np.ascontiguousarray(blocks.reshape(size[::-1]))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(blocks, connectivity=8)
    table = np.asarray(stats, dtype=np.int64)[1:] * _BLOCK
    windows = [
        (slice(int(y), min(rows, int(y + h))), slice(int(x), min(columns, int(x + w)))) for x, y, w, h, _ in table
    ]
    work = sum((y.stop - y.start) * (x.stop - x.start) for y, x in windows)
    if count - 1 > _MOST_WINDOWS or work > rows * columns:
        yield (slice(0, rows), slice(0, columns)), mask
        return
    for label, window in enumerate(windows, start=1):
        y, x = window
        own = np.asarray(labels)[
            y.start // _BLOCK : -(-y.stop // _BLOCK), x.start // _BLOCK : -(-x.stop // _BLOCK)
        ]
        yield window, _only(mask[window], own == label)


def _only(part: Counts, blocks: NDArray[np.bool_]) -> Counts:
    """Cells of a window that lie in the given blocks."""
    if blocks.all():
        return part
    fine = np.repeat(np.repeat(blocks, _BLOCK, axis=0), _BLOCK, axis=1)[: part.shape[0], : part.shape[1]]
    return part * fine.view(np.uint8)
