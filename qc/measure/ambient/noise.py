"""How much the mean of one cell may be off by noise, at any light: from the sensor's model or from the frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._tiles import tile_means

_STEPS = 16
"""Brightness steps of the envelope: enough for a curve, few enough that each holds many tiles."""

_ROWS = 800
"""Rows of cells that are looked at, at least, where there are as many."""

_LOW = 20.0
"""Percentile of the tiles' scatter that stands for a step: tiles with little detail, not the one luckiest."""

_SPREAD = 1.5
"""Factor on the envelope's variance for the spread of a low percentile (about 64 cells a tile)."""

_CORRELATED = 9.0
"""Factor for files whose neighbouring pixels were made from one another: variance of 3 × 3 px as one."""


@dataclass(frozen=True, slots=True)
class CellNoise:
    """Variance of the mean of one cell, by colour and light.

    Attributes
    ----------
    light : ndarray, shape (colours, steps)
        Rising.
    variance : ndarray, shape (colours, steps)
        In units of scale²; rising.
    stated : bool
        Whether a ± may be stated from it. False for files whose pixels are not independent and whose noise
        model is unknown: the figures then only keep bad tiles out.
    """

    light: NDArray[np.float64]
    variance: NDArray[np.float64]
    stated: bool

    def at(self, colour: int, light: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return the variance of one cell's mean at some light."""
        return np.interp(light, self.light[colour], self.variance[colour])


def cell_noise(frame: Frame, like: Frame | None = None) -> CellNoise:
    """Return the noise of a frame's cells.

    With a noise model (its own, or that of `like`, a frame of the same body and ISO) it is the model's. Without
    one it is an upper bound from the frame itself: half the mean squared difference of neighbouring cells holds
    the noise and the detail; noise never falls as light rises, so the detail-poor tiles at some light bound the
    noise at every lower light too. Photosites of a mosaic are independent, so the bound may be divided by the
    number of cells; pixels of other files are not.
    """
    model = frame if frame.noise.known or like is None else like
    if model.noise.known:
        light = np.linspace(0.0, 1.5, 64, dtype=np.float32)
        photosite = model.variance_of_photosite(light)
        assert photosite is not None
        cells = photosite[np.newaxis, :] / model.photosites_per_cell()[:, np.newaxis]
        return CellNoise(np.tile(light.astype(np.float64), (len(cells), 1)), cells, stated=True)
    curves = [_envelope(plane) for plane in frame.cells]
    variance = np.array([v for _, v in curves])
    mosaic = frame.kind == "mosaic"
    return CellNoise(np.array([x for x, _ in curves]), variance * (1.0 if mosaic else _CORRELATED), stated=mosaic)


def _envelope(plane: NDArray[np.float32]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    plane = plane[:: max(1, plane.shape[0] // _ROWS)]  # a sample says as much about noise as the whole
    rows, columns = plane.shape
    if columns < 2:
        return np.array([0.0, 1.0]), np.array([np.inf, np.inf])
    tiles = (max(1, min(96, rows // 8)), max(1, min(96, columns // 8)))
    step = np.diff(plane, axis=1)
    np.multiply(step, step, out=step)
    tiles = (tiles[0], min(tiles[1], step.shape[1]))
    scatter = tile_means(step, tiles).ravel().astype(np.float64) / 2
    light = tile_means(plane[:, :-1], tiles).ravel().astype(np.float64)
    order = np.argsort(light, kind="stable")
    groups = [g for g in np.array_split(order, _STEPS) if len(g)]
    centres = np.array([light[g].mean() for g in groups])
    # the reverse running minimum keeps the curve rising, as noise does
    low = np.array([np.percentile(scatter[g], _LOW) for g in groups])
    rising = np.minimum.accumulate(low[::-1])[::-1] * _SPREAD
    return centres, rising
