"""Means of a lit and a dark frame over tiles of the frame or of a zone, and which tiles may be used."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._tiles import masked_tile_means, tile_means
from qc.sheet.zones import Zone

Array = NDArray[np.float64]
Scalar = TypeVar("Scalar", bound=np.generic)

FLASH_OVER_NOISE = 20.0
"""A tile counts where T − A exceeds this many times its ±."""


@dataclass(frozen=True, slots=True)
class Tiles:
    """Means over tiles.

    Attributes
    ----------
    lit, dark, lit_variance, dark_variance : ndarray, shape (colours, rows, columns)
        Means, and the variance of each by noise alone.
    cells : ndarray, shape (rows, columns)
        How many cells each mean is made of; 0 where none counts.
    clipped : ndarray of bool, shape (rows, columns)
        Whether either frame is clipped anywhere in the tile.
    """

    lit: Array
    dark: Array
    lit_variance: Array
    dark_variance: Array
    cells: Array
    clipped: NDArray[np.bool_]

    @property
    def flash(self) -> Array:
        """T − A."""
        return self.lit - self.dark

    def usable(self, colour: int) -> NDArray[np.bool_]:
        """Where neither frame is clipped and T − A exceeds 20 × its ±."""
        error = 2.0 * np.sqrt(self.lit_variance[colour] + self.dark_variance[colour])
        return (self.cells > 0) & ~self.clipped & (self.flash[colour] > FLASH_OVER_NOISE * error)

    def coarser(self) -> Tiles:
        """Return tiles of 3 × 3 of these; the number along each side must divide by three."""
        return Tiles(
            lit=_thirds(self.lit).mean(axis=(2, 4)),
            dark=_thirds(self.dark).mean(axis=(2, 4)),
            lit_variance=_thirds(self.lit_variance).mean(axis=(2, 4)) / 9,
            dark_variance=_thirds(self.dark_variance).mean(axis=(2, 4)) / 9,
            cells=_thirds(self.cells[np.newaxis]).sum(axis=(2, 4))[0],
            clipped=np.any(_thirds(self.clipped[np.newaxis])[0], axis=(1, 3)),
        )

    def open(self) -> NDArray[np.bool_]:
        """Where neither frame is clipped."""
        return (self.cells > 0) & ~self.clipped


def window_of(frame: Frame, zone: Zone | None) -> tuple[tuple[slice, slice], NDArray[np.bool_] | None]:
    """Return the window of `cells` that holds a zone, and which of its cells do; all of the frame for None."""
    shape = frame.cells.shape[1:]
    if zone is None:
        return (slice(None), slice(None)), None
    plane = (shape[0], shape[1])
    return zone.window(plane, frame.orientation), zone.mask_in_window(plane, frame.orientation)


def cells_per_tile(mask: NDArray[np.bool_] | None, shape: tuple[int, int], whole: int) -> Array:
    """Return how many cells each tile counts: those in the mask, or its share of the `whole` frame."""
    if mask is None:
        return np.full(shape, whole / (shape[0] * shape[1]))
    return tile_means(mask, shape).astype(np.float64) * mask.size / (shape[0] * shape[1])


def means_of(
    frame: Frame, window: tuple[slice, slice], mask: NDArray[np.bool_] | None, shape: tuple[int, int]
) -> Array:
    """Return the mean light of each colour over tiles of a window; 0 where the mask holds no cell."""
    planes = frame.cells[:, window[0], window[1]]
    if mask is None or mask.all():
        return np.stack([tile_means(plane, shape) for plane in planes]).astype(np.float64)
    return np.nan_to_num(
        np.stack([masked_tile_means(plane, mask, shape)[0] for plane in planes]).astype(np.float64)
    )


def clipped_tiles(frame: Frame, zone: Zone | None, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return the tiles with any clipped photosite of the frame, or of the zone."""
    clip = frame.clip
    if zone is None:
        rows, columns, inside = slice(None), slice(None), None
    else:
        plane = (clip.shape[1], clip.shape[2])
        rows, columns = zone.window(plane, frame.orientation)
        inside = zone.mask_in_window(plane, frame.orientation)
    parts = clip[:, rows, columns]
    if parts.size == 0 or not parts.any():
        return np.zeros(shape, dtype=bool)
    any_colour = parts.max(axis=0) > 0
    if inside is not None:
        any_colour &= inside
    return np.asarray(tile_means(any_colour, shape) > 0)


def _thirds(planes: NDArray[Scalar]) -> NDArray[Scalar]:
    """Return planes as (colours, rows / 3, 3, columns / 3, 3)."""
    colours, rows, columns = planes.shape
    return planes.reshape(colours, rows // 3, 3, columns // 3, 3)
