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
from qc.measure._green import Windows, green_index
from qc.sheet.zones import Zone

WHOLE = 3_000_000
"""Largest frame that is read as one window, px."""

SIDE = 144
"""Side of a window, px; a multiple of 12, so that every mosaic keeps its phase."""

PITCH = 108
"""Distance of neighbouring windows, px: less than what a window can show."""

SPREAD = 200
"""Most windows spread over the frame."""

PER_ZONE = 30
"""Most windows of one zone."""

DETAIL = 4.0
"""Mean square of neighbouring differences, over that of noise, from which a block has detail."""

BINS = 16
"""Levels of light at which noise is looked for."""

Variance = Callable[[Plane], Plane]


def noise_variance(frame: Frame) -> Variance:
    """Return a function from light to the noise variance of a green photosite.

    The frame's own noise where it is known. Otherwise a lower envelope: in every bin of light the quietest runs
    of cells, fitted by a + b · light (EMVA 1288 R4, linear model). In a frame that is full of detail this is too
    much, and less detail is found, never more.
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
    """Return a and b of the quietest second differences along rows, as variance of a photosite."""
    index = green_index(frame)
    assert index is not None
    floor = 1.0 / 12.0 / frame.scale**2
    plane = frame.cells[index, :: max(1, frame.cells.shape[1] // 512)]
    run = 24
    columns = (plane.shape[1] - 2) // run * run
    if columns < run:
        return floor, 0.0
    second = plane[:, :columns] - 2 * plane[:, 1 : columns + 1] + plane[:, 2 : columns + 2]
    energy = np.square(second).reshape(-1, run).mean(axis=1) / 6.0
    light = plane[:, :columns].reshape(-1, run).mean(axis=1)
    alive = energy > 0  # clipped runs have no noise and say nothing
    energy, light = energy[alive], light[alive]
    per_cell = float(frame.photosites_per_cell()[index])
    if len(energy) < 4 * BINS:
        return max(floor, float(np.median(energy)) * per_cell if len(energy) else floor), 0.0
    order = np.argsort(light, kind="stable")
    parts = np.array_split(order, BINS)
    # the 10th percentile of the mean of 24 correlated squares is 0.60 of their mean, by simulation
    low = np.array([np.percentile(energy[p], 10) for p in parts]) / 0.60 * per_cell
    at = np.array([light[p].mean() for p in parts])
    keep = np.ones(BINS, dtype=bool)
    slope, offset = 0.0, float(low.min())
    for _ in range(3):
        slope = float(np.maximum((low[keep] - floor) / np.maximum(at[keep], 1e-4), 0.0).min())
        slope = float(np.median(low[keep] / np.maximum(at[keep], 1e-4))) if slope == 0 else slope
        offset = max(floor, float(np.median(low[keep] - slope * at[keep])))
        keep = low <= 2.0 * (offset + slope * np.maximum(at, 0.0))
        if not keep.any():
            break
    return offset, slope


def choose(frame: Frame, zones: Sequence[Zone], variance: Variance) -> Windows:
    """Return the windows to read.

    Parameters
    ----------
    frame : Frame
        With a `green_index`.
    zones : sequence of Zone
        Zones to read closely.
    variance : callable
        From `noise_variance`.

    Returns
    -------
    Windows
        The whole frame as one window when it has at most `WHOLE` px.
    """
    height, width = frame.height // 12 * 12, frame.width // 12 * 12
    if frame.height * frame.width <= WHOLE or min(height, width) < SIDE:
        return Windows(origins=np.array([[0, 0]]), height=frame.height // 2 * 2, width=frame.width // 2 * 2)
    rows, columns = (max(1, -(-(n - SIDE) // PITCH) + 1) for n in (height, width))
    score = _scores(frame, (rows, columns), variance)
    chosen = _spread(score)
    for zone in zones:
        mask = zone.mask((rows, columns), frame.orientation)
        at_rows, at_columns = zone.window((rows, columns), frame.orientation)
        mask[at_rows, at_columns] |= not mask.any()
        inside = np.flatnonzero((mask & (score > 0)).ravel())
        best = inside[np.argsort(-score.ravel()[inside], kind="stable")][:PER_ZONE]
        chosen = np.union1d(chosen, best)
    row, column = np.divmod(chosen, columns)
    origins = np.stack([np.minimum(row * PITCH, height - SIDE), np.minimum(column * PITCH, width - SIDE)], axis=1)
    return Windows(origins=origins.astype(np.intp), height=SIDE, width=SIDE)


def _scores(frame: Frame, shape: tuple[int, int], variance: Variance) -> NDArray[np.float32]:
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


def _spread(score: NDArray[np.float32]) -> NDArray[np.intp]:
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
