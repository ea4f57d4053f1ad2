"""How hard the edge of a clipped place is: a glint and a burnt face end in a step, a hot rim rolls off."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame, Plane
from qc.measure.highlights.zone_cells import Window

REACH = 16
"""Cells over which the edge is followed; a softer edge reads as this."""

EDGE_FROM = 0.9
"""Part of saturation from which the edge is measured."""


def rim_width(frame: Frame, brightness: Plane, mask: NDArray[np.bool_], window: Window) -> float | None:
    """Return the photosites from `EDGE_FROM` of saturation to saturation along the rim of a clipped place.

    Parameters
    ----------
    frame : Frame
        The capture.
    brightness : ndarray of float32, shape of a plane of `Frame.cells`
        Brightest colour of each cell as a part of saturation.
    mask : ndarray of bool
        The place, on the plane of `Frame.clip`.
    window : (slice, slice)
        Where on that plane the mask lies.

    Returns
    -------
    float or None
        0 is a step. `REACH` cells, in photosites, also stands for anything softer. None when there is nothing
        around the place.
    """
    step = frame.cell // frame.clip_cell
    own, (y, x) = _at_cells(mask, window, step, (brightness.shape[0], brightness.shape[1]))
    if own.size == 0 or own.all() or not own.any():
        return None
    distance = cv2.distanceTransform((~own).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    near = (distance > 0) & (distance < REACH + 0.5)
    cells = followed(np.asarray(distance, dtype=np.float32)[near], brightness[y, x][near])
    return None if cells is None else cells * frame.cell


def _at_cells(
    mask: NDArray[np.bool_], window: Window, step: int, shape: tuple[int, int]
) -> tuple[NDArray[np.bool_], Window]:
    """Return the place on the plane of `Frame.cells`, with a margin, and where on it that is."""
    reach = REACH + 1
    y, x = (
        slice(max(0, side.start // step - reach), min(limit, -(-side.stop // step) + reach))
        for side, limit in zip(window, shape, strict=True)
    )
    fine = np.zeros((max(0, y.stop - y.start) * step, max(0, x.stop - x.start) * step), dtype=bool)
    top, left = window[0].start - y.start * step, window[1].start - x.start * step
    part = mask[: max(0, fine.shape[0] - top), : max(0, fine.shape[1] - left)]
    fine[top : top + part.shape[0], left : left + part.shape[1]] = part
    if step > 1:
        blocks = fine.reshape(fine.shape[0] // step, step, fine.shape[1] // step, step)
        return np.asarray(blocks.any(axis=(1, 3)), dtype=bool), (y, x)
    return fine, (y, x)


def followed(distance: NDArray[np.float32], values: NDArray[np.float32]) -> float | None:
    """Return the cells from the rim of a clipped place to where the median brightness falls to `EDGE_FROM`.

    Parameters
    ----------
    distance : ndarray of float32, shape (n,)
        Of the cells around it from the nearest clipped cell, centre to centre.
    values : ndarray of float32, shape (n,)
        Their brightness as a part of saturation.

    Returns
    -------
    float or None
        0 to `REACH`; None when there is nothing around the place.
    """
    near, high = 0.5, 1.0  # the rim lies half a cell outside the last clipped centre, at saturation
    ring_of = np.rint(distance)
    for ring in range(1, REACH + 1):
        here = values[ring_of == ring]
        if here.size == 0:
            return None if ring == 1 else near - 0.5
        level = float(np.median(here))
        if level < EDGE_FROM:
            share = (high - EDGE_FROM) / max(high - level, 1e-6)
            return near - 0.5 + share * (ring - near)
        near, high = float(ring), min(high, level)
    return float(REACH)
