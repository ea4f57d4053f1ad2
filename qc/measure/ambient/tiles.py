"""Means of a lit and a dark frame over tiles of the frame or of a zone, and which tiles may be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame
from qc.measure._tiles import tile_means
from qc.measure.ambient.cells import Hot, without_hot
from qc.sheet.zones import Zone

Array = NDArray[np.float64]
Scalar = TypeVar("Scalar", bound=np.generic)

FLASH_OVER_NOISE = 20.0
"""A tile counts where T − A exceeds this many times its ±."""

_LEAST_SHARE = 1e-5
"""Part of a tile below which rounding may be all there is."""


@dataclass(frozen=True, slots=True)
class Tiles:
    """Means over tiles.

    Attributes
    ----------
    lit, dark, lit_variance, dark_variance : ndarray, shape (colours, rows, columns)
        Means, and the variance of each by noise alone.
    cells : ndarray, shape (rows, columns)
        How many cells each mean is made of: not clipped and inside the zone; 0 where there is none.
    clipped : bool
        Whether a cell was left out for being clipped.
    """

    lit: Array
    dark: Array
    lit_variance: Array
    dark_variance: Array
    cells: Array
    clipped: bool

    @property
    def flash(self) -> Array:
        """T − A."""
        return self.lit - self.dark

    def usable(self, colour: int) -> NDArray[np.bool_]:
        """Where T − A, over the cells that count, exceeds 20 × its ±."""
        error = 2.0 * np.sqrt(self.lit_variance[colour] + self.dark_variance[colour])
        return (self.cells > 0) & (self.flash[colour] > FLASH_OVER_NOISE * error)

    def coarser(self) -> Tiles:
        """Return tiles of 3 × 3 of these; the number along each side must divide by three."""
        cells = _thirds(self.cells[np.newaxis])
        total = cells.sum(axis=(2, 4))
        weight = cells / np.maximum(total, 1e-9)[:, :, np.newaxis, :, np.newaxis]

        def mean(planes: Array, power: int = 1) -> Array:
            return np.asarray((_thirds(planes) * weight**power).sum(axis=(2, 4)))

        return Tiles(
            lit=mean(self.lit),
            dark=mean(self.dark),
            lit_variance=mean(self.lit_variance, 2),
            dark_variance=mean(self.dark_variance, 2),
            cells=total[0],
            clipped=self.clipped,
        )

    def open(self) -> NDArray[np.bool_]:
        """Where some cell counts."""
        return self.cells > 0


def window_of(frame: Frame, zone: Zone | None) -> tuple[tuple[slice, slice], NDArray[np.bool_] | None]:
    """Return the window of `cells` that holds a zone, and which of its cells do; all of the frame for None."""
    shape = frame.cells.shape[1:]
    if zone is None:
        return (slice(None), slice(None)), None
    plane = (shape[0], shape[1])
    return zone.window(plane, frame.orientation), zone.mask_in_window(plane, frame.orientation)


def counting(mask: NDArray[np.bool_] | None, out: Counts | None) -> Counts | None:
    """Return 255 at the cells of a window that lie in the mask and are not left out; None for all of them."""
    if out is None:
        return None if mask is None else mask.astype(np.uint8) * np.uint8(255)
    kept = np.asarray(cv2.bitwise_not(np.ascontiguousarray(out)), dtype=np.uint8).reshape(out.shape)
    return kept if mask is None else np.where(mask, kept, np.uint8(0))


def share_per_tile(counted: Counts | None, shape: tuple[int, int]) -> Array:
    """Return which part of each tile's cells count, 0 to 1."""
    if counted is None:
        return np.ones(shape)
    share = tile_means(counted, shape).astype(np.float64) / 255.0
    return np.where(share > _LEAST_SHARE, share, 0.0)


def means_of(frame: Frame, window: tuple[slice, slice], counted: Counts | None, share: Array, hot: Hot) -> Array:
    """Return the mean light of each colour over the cells of each tile that count; 0 where there is none.

    Hot cells have what lies around them.
    """
    planes = frame.cells[:, window[0], window[1]]
    shape = (share.shape[0], share.shape[1])
    kept = np.zeros(planes.shape[1:] if counted is not None else (0, 0), dtype=np.float32)
    sums = np.empty((len(planes), *shape))
    for colour, plane in enumerate(planes):
        rows, columns = hot.of(colour, window, frame.cells.shape[1:])
        source = plane.copy() if counted is None and rows.size else plane
        if counted is not None:
            cv2.copyTo(np.ascontiguousarray(plane), counted, kept)  # what does not count stays 0
            source = kept
        if rows.size:
            inside = np.True_ if counted is None else counted[rows, columns] > 0
            source[rows, columns] = np.where(inside, without_hot(plane, rows, columns), 0.0)
        sums[colour] = tile_means(source, shape)
    return np.where(share > 0, sums / np.where(share > 0, share, 1.0), 0.0)


def _thirds(planes: NDArray[Scalar]) -> NDArray[Scalar]:
    """Return planes as (colours, rows / 3, 3, columns / 3, 3)."""
    colours, rows, columns = planes.shape
    return planes.reshape(colours, rows // 3, 3, columns // 3, 3)
