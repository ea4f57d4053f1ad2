"""Where to look: the windows with detail, and the noise that detail must stand above.

A small frame is one window. Of a large one a fixed number of windows is read, spread over the frame so that
every part with detail has its say, and closer together in the zones that must be sharp.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame, Plane
from qc.measure.sharpness.green import Windows, green_index
from qc.sheet.zones import Zone

WHOLE = 3_000_000
"""Largest frame that is read as one window, px."""

SIDE = 144
"""Side of a window, px; a multiple of 12, so that every mosaic keeps its phase."""

PITCH = 108
"""Distance of neighbouring windows, px: less than what a window can show."""

SPREAD = 150
"""Most windows spread over the frame."""

PER_ZONE = 30
"""Most windows of one zone."""

DETAIL = 4.0
"""Mean square of neighbouring differences, over that of noise, from which a block has detail."""

SQUARE = 8
"""Cells along the side of a block whose noise is looked at as one."""

WHITE = 0.5
"""Largest relative difference of the noise seen at two spacings from which it is no longer called white."""

FEWEST_BLOCKS = 8
"""Fewest blocks for a level of light."""

DEEPEST_WELL = 1e5
"""Electrons at the white level that no sensor of today much exceeds: the least photon noise there can be."""

BINS = 16
"""Levels of light at which noise is looked for."""

Variance = Callable[[Plane], Plane]
Score = NDArray[np.float32]


def noise_variance(frame: Frame) -> Variance:
    """Return a function from light to the noise variance of a green photosite.

    The frame's own noise where it is known. Otherwise a + b · light (EMVA 1288 R4, linear model) through the
    blocks of cells that look alike at two spacings: white noise does, detail that came through a lens grows
    fourfold or more at twice the spacing. Without such blocks it is the least that any sensor has.
    """
    if frame.kind == "mosaic" and frame.noise.known:
        known = frame

        def from_model(light: Plane) -> Plane:
            variance = known.variance_of_photosite(light)
            assert variance is not None
            return variance.astype(np.float32)

        return from_model
    a, b = _envelope(frame)

    def from_envelope(light: Plane) -> Plane:
        return (a + b * np.maximum(light, np.float32(0))).astype(np.float32)

    return from_envelope


def _envelope(frame: Frame) -> tuple[float, float]:
    """Return a and b of the blocks that hold nothing but noise; never less than any sensor has."""
    floor, least = 1.0 / 12.0 / frame.scale**2, 1.0 / DEEPEST_WELL
    noise, light = _white_blocks(frame)
    if len(noise) < FEWEST_BLOCKS:
        return floor, least
    parts = np.array_split(np.argsort(light, kind="stable"), min(BINS, len(noise) // FEWEST_BLOCKS))
    level = np.array([np.median(noise[p]) for p in parts])
    at = np.maximum([light[p].mean() for p in parts], 1e-4)
    slope = max(least, float(np.median(level / at)))
    return max(floor, float(np.median(level - slope * at))), slope


def _white_blocks(frame: Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return the variance of a photosite and the light of the blocks of cells that hold white noise alone."""
    index = green_index(frame)
    assert index is not None
    cells = frame.cells[index]
    rows, columns = cells.shape[0] // SQUARE, (cells.shape[1] - 4) // SQUARE
    if rows == 0 or columns <= 0:
        return np.zeros(0), np.zeros(0)
    bands = np.arange(0, rows, max(1, rows // 96)) * SQUARE
    taken = (bands[:, np.newaxis] + np.arange(SQUARE)).ravel()
    width = columns * SQUARE
    some = cells[taken, : width + 4]
    narrow = _blockwise(np.square(some[:, :-2] - 2 * some[:, 1:-1] + some[:, 2:])[:, :width] / np.float32(6))
    per_cell = float(frame.photosites_per_cell()[index])
    if frame.mosaic is not None and frame.cfa is not None and frame.cfa.shape == (2, 2):
        # between the two greens of a cell detail is less, and noise the same, than between cells
        finer, coarser = _between_greens(frame, index, taken, width), per_cell * narrow
    else:
        pairs = (some[:, :-1] + some[:, 1:]) / np.float32(2)
        wide = np.square(pairs[:, :-2] - pairs[:, 2:])[:, :width]
        finer, coarser = per_cell * narrow, per_cell * _blockwise(wide)
    binned = some[0::2] + some[1::2]
    binned = (binned[:, 0:-1:2] + binned[:, 1::2]) / np.float32(2)
    broad = np.square(binned[:, :-2] - 2 * binned[:, 1:-1] + binned[:, 2:])[:, : width // 2] / np.float32(6)
    broadest = per_cell * _blockwise(broad, SQUARE // 2)
    alike = np.maximum(finer, 1e-30)
    white = (finer > 0) & (np.abs(coarser / alike - 1) < WHITE) & (broadest < 2 * alike)
    return finer[white], _blockwise(some[:, :width])[white]


def _blockwise(plane: Plane, side: int = SQUARE) -> NDArray[np.float64]:
    """Return the mean of each block, flattened."""
    rows, columns = plane.shape[0] // side, plane.shape[1] // side
    size = (columns, rows)
    return np.asarray(cv2.resize(plane, size, interpolation=cv2.INTER_AREA), dtype=np.float64).ravel()


def _between_greens(frame: Frame, index: int, taken: NDArray[np.intp], width: int) -> NDArray[np.float64]:
    """Return, per block, the squared change from cell to cell of the difference of the two greens, over 4."""
    assert frame.mosaic is not None
    assert frame.cfa is not None
    one, other = np.argwhere(frame.cfa.array() == index)[:2]
    greens = [frame.mosaic[row::2, column::2][taken, : width + 1] for row, column in (one, other)]
    difference = greens[0].astype(np.float32) - greens[1].astype(np.float32)
    change = np.square(difference[:, 1:] - difference[:, :-1])
    return _blockwise(change) / (4.0 * frame.scale**2)


def scores(frame: Frame, variance: Variance) -> Score | None:
    """Return how much of each window that could be read has detail; None for a frame that is one window.

    Parameters
    ----------
    frame : Frame
        With a `green_index`.
    variance : callable
        From `noise_variance`.

    Returns
    -------
    ndarray of float32, shape (rows, columns) of windows, or None
        0 for no detail to 1. None when the frame has at most `WHOLE` px.
    """
    height, width = _whole_tiles(frame)
    if frame.height * frame.width <= WHOLE or min(height, width) < SIDE:
        return None
    rows, columns = (max(1, -(-(n - SIDE) // PITCH) + 1) for n in (height, width))
    return _scores(frame, (rows, columns), variance)


def choose(frame: Frame, zones: Sequence[Zone], score: Score | None) -> Windows:
    """Return the windows to read.

    Parameters
    ----------
    frame : Frame
        With a `green_index`.
    zones : sequence of Zone
        Zones to read closely.
    score : ndarray or None
        From `scores`.

    Returns
    -------
    Windows
        The whole frame as one window where there is no score.
    """
    if score is None:
        return Windows(origins=np.array([[0, 0]]), height=frame.height // 2 * 2, width=frame.width // 2 * 2)
    chosen = _spread(score)
    for zone in zones:
        mask = zone.mask((score.shape[0], score.shape[1]), frame.orientation)
        at_rows, at_columns = zone.window((score.shape[0], score.shape[1]), frame.orientation)
        mask[at_rows, at_columns] |= not mask.any()
        inside = np.flatnonzero((mask & (score > 0)).ravel())
        best = inside[np.argsort(-score.ravel()[inside], kind="stable")][:PER_ZONE]
        chosen = np.union1d(chosen, best)
    row, column = np.divmod(chosen, score.shape[1])
    height, width = _whole_tiles(frame)
    origins = np.stack([np.minimum(row * PITCH, height - SIDE), np.minimum(column * PITCH, width - SIDE)], axis=1)
    return Windows(origins=origins.astype(np.intp), height=SIDE, width=SIDE)


def _whole_tiles(frame: Frame) -> tuple[int, int]:
    """Return height and width as far as every mosaic keeps its phase."""
    return frame.height // 12 * 12, frame.width // 12 * 12


def _scores(frame: Frame, shape: tuple[int, int], variance: Variance) -> Score:
    """Return how much of each window has detail: 0 for none."""
    index = green_index(frame)
    assert index is not None
    plane = frame.cells[index]
    rows, columns = (n // 2 * 2 for n in plane.shape)
    upper, lower = plane[0:rows:2, :columns], plane[1:rows:2, :columns]
    down = cv2.absdiff(upper, lower)
    across = np.zeros_like(down)
    across[:, 1:] = cv2.absdiff(np.ascontiguousarray(upper[:, 1:]), np.ascontiguousarray(upper[:, :-1]))
    energy = cv2.multiply(down, down) + cv2.multiply(across, across)
    block = max(2, 16 // frame.cell)
    size = (max(1, columns // block), max(1, rows // block))
    mean = cv2.resize(energy, size, interpolation=cv2.INTER_AREA)
    light = cv2.resize(plane, size, interpolation=cv2.INTER_AREA)
    noise = 4.0 * variance(np.asarray(light)) / np.float32(frame.photosites_per_cell()[index])
    detail = (mean > DETAIL * noise).astype(np.float32)
    return np.asarray(cv2.resize(detail, shape[::-1], interpolation=cv2.INTER_AREA)).reshape(shape)


def _spread(score: Score) -> NDArray[np.intp]:
    """Return flat indices of windows: the best of each of at most `SPREAD` equal parts of the frame."""
    rows, columns = score.shape
    part = max(1, int(np.ceil(np.sqrt(rows * columns / SPREAD))))
    chosen = []
    for row in range(0, rows, part):
        for column in range(0, columns, part):
            some = score[row : row + part, column : column + part]
            best = int(np.argmax(some))
            if some.ravel()[best] > 0:
                chosen.append((row + best // some.shape[1]) * columns + column + best % some.shape[1])
    return np.array(chosen, dtype=np.intp)
