"""Which cells count, those that are clipped in no frame, and which hold a hot photosite.

`qc.decode.clipped` leaves out hot photosites that read saturation, and only there. In a dark frame any charge that
no light brought matters, so here they are told by shape: a defect has no point spread, light has.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame, Plane
from qc.measure._clipped import at_cells, clipped
from qc.measure.ambient.noise import CellNoise

Indices = NDArray[np.intp]

HOT_OVER_NOISE = 6.0
"""Standard deviations of one cell that a hot one stands over its neighbours. What stays below moves the mean of a
tile of n cells by less than 6 / √n of that: under its ± from 9 cells on."""

RISING = 0.05
"""Part of a cell's rise by which another colour of the same cell rises where light caused it. Under a point of
light blurred to σ = 0.5 px the photosite beside, of another colour, gets 23 % of what the middle one gets
(Gaussian over a square aperture, computed), more when the blur is larger: so light of which the other colour has a
quarter is still told from a defect."""

SPREADING = 0.6
"""Part of a cell's rise by which its brightest neighbour may stand over the others: a defect may lie on a rim."""

SPREADING_ALONE = 0.25
"""The same where there is no other colour to ask: a neighbour may hold detail, but not a spread of the light."""

_WITHIN_NOISE = 4.0
"""Standard deviations up to which a rise is noise: the largest of 8 cells and some colours."""

_BAND = 64
"""Rows looked at together: they stay in the processor's cache."""


@dataclass(frozen=True, slots=True)
class Hot:
    """Cells in which one photosite has charge that no light brought.

    Attributes
    ----------
    colours, rows, columns : ndarray of int, shape (cells,)
        Index into the planes of `Frame.cells`, and where.
    """

    colours: NDArray[np.intp]
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]

    def of(self, colour: int, window: tuple[slice, slice], shape: tuple[int, ...]) -> tuple[Indices, Indices]:
        """Return rows and columns of one colour's hot cells in a window of a plane, from the window's corner."""
        top, bottom, _ = window[0].indices(shape[0])
        left, right, _ = window[1].indices(shape[1])
        here = (self.colours == colour) & (self.rows >= top) & (self.rows < bottom)
        here &= (self.columns >= left) & (self.columns < right)
        return self.rows[here] - top, self.columns[here] - left


def left_out(frames: Sequence[Frame], hot: Hot) -> Counts | None:
    """Return 255 at cells with a clipped photosite in any frame, else 0; None when every cell counts.

    T and A must be sums over the same cells. Only the clipped cells are left out, not all of their tile: what lies
    around a glint has as much flash as any other place. A hot cell that is clipped alone counts: what stands in
    for it is not clipped.

    Returns
    -------
    ndarray of uint8, shape of a plane of `Frame.cells`, or None
    """
    out: Counts | None = None
    for frame in frames:
        found = clipped(frame)
        if not found.none:
            here = at_cells(frame, found.anywhere)
            out = here if out is None else np.maximum(out, here)
    if out is None:
        return None
    if hot.rows.size:
        out = out.copy()
        alone = np.nanmax(_around(out, hot.rows, hot.columns), axis=0) == 0
        out[hot.rows[alone], hot.columns[alone]] = 0
    return out if out.any() else None


def hot_cells(darks: Sequence[tuple[Frame, CellNoise]]) -> Hot:
    """Find cells of dark frames in which one photosite has charge that no light brought.

    In one colour the cell stands above each of its 8 neighbours, and above their median by more than 6 standard
    deviations (the model's, or the neighbours' own where that is larger), while no neighbour and no other colour
    of the cell rises with it. White light that falls on one cell alone is kept, since it raises every colour.

    Not told: two defects in touching cells, and a file whose colours were interpolated already (the defect was
    spread). With one colour only there is no other colour to ask: a point of light sharper than a cell counts as a
    defect then, which costs that cell.

    Parameters
    ----------
    darks : sequence of (Frame, CellNoise)
        Defects belong to the sensor: those of any dark frame are left out of all.
    """
    found = [np.empty((3, 0), dtype=np.intp)]
    for frame, noise in darks:
        for colour, plane in enumerate(frame.cells):
            rows, columns = _peaks(plane, *_line_under(noise, colour))
            if rows.size:
                hot = _alone(frame, noise, colour, rows, columns)
                places = rows[hot], columns[hot]
                found.append(np.stack([np.full(places[0].shape, colour, dtype=np.intp), *places]))
    every = np.unique(np.concatenate(found, axis=1), axis=1)
    return Hot(every[0], every[1], every[2])


def without_hot(plane: Plane, rows: Indices, columns: Indices) -> NDArray[np.float32]:
    """Return what stands in for hot cells of a plane: the median of the 8 around each.

    Leaving them out would do for an even place; where a tile holds a rim, its mean would lean to the other side.
    """
    return np.asarray(np.nanmedian(_around(plane, rows, columns), axis=0), dtype=np.float32)


def _line_under(noise: CellNoise, colour: int) -> tuple[float, float]:
    """Return variance without light and a slope: a line that the variance of a cell nowhere lies under."""
    floor = float(noise.at(colour, np.zeros(1))[0])
    above = noise.light[colour] > 0
    rising = (noise.variance[colour][above] - floor) / noise.light[colour][above]
    return floor, float(rising.min(initial=np.inf)) if np.isfinite(rising).any() else 0.0


def _peaks(plane: Plane, floor: float, slope: float) -> tuple[Indices, Indices]:
    """Return cells that may stand 6 standard deviations above those beside them in the row: few, found fast."""
    none = np.empty(0, dtype=np.intp)
    if min(plane.shape) < 3 or not np.isfinite(floor):
        return none, none
    least = HOT_OVER_NOISE**2
    rows, columns = [none], [none]
    for start in range(0, len(plane), _BAND):
        # the rim's one neighbour stands on both sides
        band = cv2.copyMakeBorder(plane[start : start + _BAND], 0, 0, 1, 1, cv2.BORDER_REFLECT_101)
        beside = cv2.max(band[:, :-2], band[:, 2:])
        _, rise = cv2.threshold(cv2.subtract(band[:, 1:-1], beside), 0, 0, cv2.THRESH_TOZERO)
        over = cv2.addWeighted(cv2.multiply(rise, rise), 1.0, beside, -least * slope, -least * floor)
        peaks = np.greater(over, 0.0)
        if peaks.any():
            y, x = np.divmod(np.flatnonzero(peaks), peaks.shape[1])
            rows.append(y + start)
            columns.append(x)
    return np.concatenate(rows), np.concatenate(columns)


def _alone(frame: Frame, noise: CellNoise, colour: int, rows: Indices, columns: Indices) -> NDArray[np.bool_]:
    """Tell which peaks of one colour rise without their neighbours and without the other colours."""
    around = _around(frame.cells[colour], rows, columns)
    base = np.nanmedian(around, axis=0)
    rise = frame.cells[colour, rows, columns] - base
    # scatter of the neighbours by their median deviation (1.4826 of it is σ), should the model say too little
    scatter = 1.4826 * np.nanmedian(np.abs(around - base), axis=0)
    error = np.maximum(np.sqrt(noise.at(colour, base)), scatter)
    spreading = SPREADING if len(frame.cells) > 1 else SPREADING_ALONE
    alone = (rise > HOT_OVER_NOISE * error) & (np.nanmax(around, axis=0) - base < spreading * rise)
    for other, plane in enumerate(frame.cells):
        if other != colour:
            there = np.nanmedian(_around(plane, rows, columns), axis=0)
            least = _WITHIN_NOISE * np.sqrt(noise.at(other, there))
            alone &= plane[rows, columns] - there < np.maximum(RISING * rise, least)
    return np.asarray(alone)


def _around(plane: NDArray[np.float32] | Counts, rows: Indices, columns: Indices) -> NDArray[np.float64]:
    """Return the 8 neighbours of each cell, shape (8, cells); NaN beyond the rim."""
    seen = np.full((8, len(rows)), np.nan)
    steps = [(dy, dx) for dy in (-1, 0, 1) for dx in (-1, 0, 1) if dy or dx]
    for values, (dy, dx) in zip(seen, steps, strict=True):
        y, x = rows + dy, columns + dx
        inside = (y >= 0) & (x >= 0) & (y < plane.shape[0]) & (x < plane.shape[1])
        values[inside] = plane[y[inside], x[inside]]
    return seen
