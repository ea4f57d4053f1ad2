"""Which cells are clipped, in any colour and in every colour, from the counts that decoding made."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame


@dataclass(frozen=True, slots=True, kw_only=True)
class Clipped:
    """Clipped cells of a frame, sensor orientation, at the resolution of `Frame.clip`.

    Attributes
    ----------
    anywhere : ndarray of uint8, shape (rows, columns)
        255 where any photosite of the cell is clipped, else 0.
    everywhere : ndarray of uint8, shape (rows, columns)
        255 where every colour that the cell holds has a clipped photosite, else 0.
    photosites : tuple of int
        Clipped photosites by colour.
    """

    anywhere: Counts
    everywhere: Counts
    photosites: tuple[int, ...]

    @property
    def none(self) -> bool:
        """Whether nothing is clipped."""
        return not any(self.photosites)


def clipped(frame: Frame) -> Clipped:
    """Return the clipped cells of a frame."""
    photosites = tuple(int(cv2.sumElems(plane)[0]) for plane in frame.clip)
    if not any(photosites):  # the usual frame: nothing to build
        empty = np.broadcast_to(np.uint8(0), frame.clip.shape[1:])
        return Clipped(anywhere=empty, everywhere=empty, photosites=photosites)
    anywhere = everywhere = None
    for plane, held in zip(frame.clip, photosites_of_cells(frame), strict=True):
        anywhere = plane if anywhere is None else cv2.max(anywhere, plane)
        full = plane if held.all() else _with_neighbours(plane, held)
        everywhere = full if everywhere is None else cv2.min(everywhere, full)
    assert anywhere is not None
    assert everywhere is not None
    return Clipped(anywhere=_mask(anywhere), everywhere=_mask(everywhere), photosites=photosites)


def _mask(plane: NDArray[np.generic]) -> Counts:
    _, mask = cv2.threshold(np.asarray(plane, dtype=np.uint8), 0, 255, cv2.THRESH_BINARY)
    return np.asarray(mask, dtype=np.uint8).reshape(plane.shape)


def photosites_of_cells(frame: Frame) -> NDArray[np.intp]:
    """Return how many photosites of each colour the cells of `Frame.clip` hold.

    Returns
    -------
    ndarray of int, shape (colours, rows, columns)
        Of the smallest block of cells that repeats: 1 × 1 for Bayer and for pixels, 3 × 3 for X-Trans.
    """
    if frame.cfa is None:
        return np.full((len(frame.colours), 1, 1), frame.clip_cell**2, dtype=np.intp)
    cell = frame.clip_cell
    rows, columns = (int(np.lcm(n, cell)) for n in frame.cfa.shape)
    pattern = np.tile(frame.cfa.array(), (rows // frame.cfa.shape[0], columns // frame.cfa.shape[1]))
    held = pattern[np.newaxis] == np.arange(len(frame.colours))[:, np.newaxis, np.newaxis]
    blocks = held.reshape(len(held), rows // cell, cell, columns // cell, cell)
    return np.asarray(blocks.sum(axis=(2, 4)), dtype=np.intp)


def photosites_by_colour(frame: Frame) -> NDArray[np.intp]:
    """Return how many photosites of each colour all cells of `Frame.clip` hold together, shape (colours,)."""
    held = photosites_of_cells(frame)
    _, rows, columns = frame.clip.shape
    row_count = np.bincount(np.arange(rows) % held.shape[1], minlength=held.shape[1])
    column_count = np.bincount(np.arange(columns) % held.shape[2], minlength=held.shape[2])
    return np.asarray(np.einsum("crk,r,k->c", held, row_count, column_count), dtype=np.intp)


def at_cells(frame: Frame, anywhere: Counts) -> Counts:
    """Return 255 where a cell of `Frame.cells` holds a clipped photosite, shape of a plane of `cells`."""
    _, rows, columns = frame.cells.shape
    step = frame.cell // frame.clip_cell
    fine = np.ascontiguousarray(anywhere[: rows * step, : columns * step])
    if step == 1 or fine.size == 0:
        return fine.reshape(rows, columns)
    # the mean of the nine cells of a 6 × 6 mosaic with one of 255 is still above 0
    coarse = np.asarray(cv2.resize(fine, (columns, rows), interpolation=cv2.INTER_AREA)).reshape(rows, columns)
    return _mask(coarse)


def _with_neighbours(plane: Counts, held: NDArray[np.intp]) -> Counts:
    """Let a cell that holds no photosite of a colour take the clipping of the cells around it."""
    rows, columns = plane.shape
    block_rows, block_columns = held.shape
    lacks = np.tile(held == 0, (-(-rows // block_rows), -(-columns // block_columns)))[:rows, :columns]
    around = cv2.dilate(plane, np.ones((3, 3), dtype=np.uint8))
    return np.where(lacks, around, plane).astype(np.uint8)
