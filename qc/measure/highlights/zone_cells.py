"""The cells of a zone, made once and cut to any window of the same plane."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.sheet.zones import Zone

Window = tuple[slice, slice]


@dataclass(frozen=True, slots=True)
class ZoneCells:
    """Cells of a plane whose centre lies in a zone.

    Attributes
    ----------
    zone : Zone
        The zone.
    window : (slice, slice)
        Rows and columns of the smallest window that holds it.
    inside : ndarray of bool
        Which cells of the window are in it.
    """

    zone: Zone
    window: Window
    inside: NDArray[np.bool_]

    @classmethod
    def of(cls, zone: Zone, shape: tuple[int, int], orientation: int) -> ZoneCells:
        """Return the cells of a zone in a plane of the given shape."""
        return cls(zone, zone.window(shape, orientation), zone.mask_in_window(shape, orientation))

    def within(self, window: Window) -> tuple[NDArray[np.bool_], Window]:
        """Return the part that lies in another window, and where in that window it lies."""
        kept, own, other = [], [], []
        for mine, theirs in zip(self.window, window, strict=True):
            start, stop = max(mine.start, theirs.start), min(mine.stop, theirs.stop)
            kept.append(stop > start)
            own.append(slice(start - mine.start, max(start, stop) - mine.start))
            other.append(slice(start - theirs.start, max(start, stop) - theirs.start))
        if not all(kept):
            return np.zeros((0, 0), dtype=bool), (slice(0, 0), slice(0, 0))
        return self.inside[own[0], own[1]], (other[0], other[1])
