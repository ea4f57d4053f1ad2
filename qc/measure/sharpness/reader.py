"""The ridges of one frame, read for one set of zones after another; what does not hang on the zones is kept."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure.sharpness.green import BLOCK, Gradient, Windows, gradients, green_index
from qc.measure.sharpness.pieces import Pieces, assemble, empty, prefer_coarse
from qc.measure.sharpness.ridges import REACH, find, read
from qc.measure.sharpness.windows import Score, Variance, choose, noise_variance, scores
from qc.sheet.zones import Zone

CLIP_REACH = 8
"""Lattice steps around a clipped photosite in which nothing counts: a clipped edge looks sharp."""

RIM = REACH + 5
"""Lattice steps at a window's rim whose profiles or filters would reach into its neighbour."""

KEPT = 8
"""Choices of windows whose pieces are kept: some 2 MB each."""


class Reader:
    """Reads the ridges of a frame.

    Parameters
    ----------
    frame : Frame
        Mosaic or linear, with a green plane that is dense enough.
    """

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self._kept: dict[bytes, Pieces] = {}

    def pieces(self, zones: Sequence[Zone] = ()) -> Pieces:
        """Return the pieces of ridge of the frame, with the zones read closely in a large one."""
        windows = self._windows(zones)
        name = windows.origins.tobytes()
        if name not in self._kept:
            for oldest in list(self._kept)[: len(self._kept) - KEPT + 1]:
                del self._kept[oldest]
            self._kept[name] = self._read(windows)
        return self._kept[name]

    def knows(self, zones: Sequence[Zone]) -> bool:
        """Tell whether `pieces` has them already."""
        return self._windows(zones).origins.tobytes() in self._kept

    def _windows(self, zones: Sequence[Zone]) -> Windows:
        return choose(self.frame, zones, self._score)

    def _read(self, windows: Windows) -> Pieces:
        if len(windows.origins) == 0:
            return empty()
        lattices = gradients(self.frame, windows)
        fine, coarse = (_pieces_of(self.frame, windows, lattice, self._variance) for lattice in lattices)
        return prefer_coarse(fine, coarse)

    @cached_property
    def _variance(self) -> Variance:
        return noise_variance(self.frame)

    @cached_property
    def _score(self) -> Score | None:
        return scores(self.frame, self._variance)


def _pieces_of(frame: Frame, windows: Windows, gradient: Gradient, variance: Variance) -> Pieces:
    noise = variance(gradient.light)
    index, along_row, every = find(gradient, noise)
    y, x = np.divmod(index, gradient.x.shape[1])
    keep = _usable(frame, windows, gradient, y, x)
    index, along_row, y, x = index[keep], along_row[keep], y[keep], x[keep]
    profiles = read(gradient, index, along_row, noise[y // BLOCK, x // BLOCK])
    row, column = windows.to_frame(y, x, gradient.step)
    return assemble(profiles, column, row, variance=gradient.variance, step=gradient.step, every=every)


def _usable(
    frame: Frame, windows: Windows, gradient: Gradient, y: NDArray[np.intp], x: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Tell which places are neither at a window's rim nor near a clipped photosite."""
    keep = np.ones(len(y), dtype=bool)
    if len(windows.origins) > 1:
        height, width = windows.height // gradient.step, windows.width // gradient.step
        for at, size in ((y % height, height), (x % width, width)):
            keep &= (at >= RIM) & (at < size - RIM)
    index = green_index(frame)
    assert index is not None
    clip = np.asarray(windows.gather(frame.clip[index], frame.clip_cell), dtype=np.uint8)
    if not clip.any():
        return keep
    reach = 2 * (-(-CLIP_REACH * gradient.step // frame.clip_cell)) + 1
    near = cv2.dilate(clip, np.ones((reach, reach), dtype=np.uint8))
    rows = np.minimum(y * gradient.step // frame.clip_cell, near.shape[0] - 1)
    columns = np.minimum(x * gradient.step // frame.clip_cell, near.shape[1] - 1)
    return np.asarray(keep & (near[rows, columns] == 0))
