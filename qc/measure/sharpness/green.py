"""Green light and its gradient at every photosite of chosen windows, without a demosaic.

The sites that do not see green are left at 0 and the whole is smoothed by a Gaussian of known width. Where the
smoothed mask of green sites is flat (quincunx, full lattice) it is a constant; where it is not (X-Trans) the
smoothed light is divided by it (normalised convolution: Knutsson & Westin, CVPR 1993, 515–523; from memory).
Windows lie side by side in one array, so that each filter runs once.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame, Plane

SIGMA = 0.8
"""σ in lattice steps of the Gaussian whose derivative is the gradient filter."""

XTRANS_SIGMA = 1.4
"""σ in px of the Gaussian that closes the gaps of an X-Trans mosaic."""

COARSE_SIGMA = 1.0
"""σ in px of the smoothing before every second row and column is left out."""

APERTURE = 1.0 / 12.0
"""Variance of a pixel's square aperture along any direction, px²."""

BLOCK = 8
"""Lattice steps along the side of a block whose light, and so whose noise, is taken as one."""

RADIUS = 4
"""Taps on either side of the filters."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Windows:
    """Square windows of the frame, or the whole frame as a single one.

    Attributes
    ----------
    origins : ndarray of int, shape (n, 2)
        First row and column of each, multiples of 12 so that every mosaic keeps its phase.
    height, width : int
        Size of a window, px.
    """

    origins: NDArray[np.intp]
    height: int
    width: int

    @property
    def columns(self) -> int:
        """Windows side by side in the array that holds them all."""
        return max(1, int(np.ceil(np.sqrt(len(self.origins)))))

    def gather(self, plane: NDArray[np.generic], shrink: int = 1) -> NDArray[np.generic]:
        """Return the windows of a plane side by side; `shrink` is the plane's pixels per plane step."""
        height, width = self.height // shrink, self.width // shrink
        if len(self.origins) == 1:
            row, column = self.origins[0] // shrink
            return plane[row : row + height, column : column + width]
        rows = -(-len(self.origins) // self.columns)
        out = np.zeros((rows * height, self.columns * width), dtype=plane.dtype)
        for k, (row, column) in enumerate(self.origins // shrink):
            y, x = k // self.columns * height, k % self.columns * width
            part = plane[row : row + height, column : column + width]
            out[y : y + part.shape[0], x : x + part.shape[1]] = part
        return out

    def to_frame(
        self, y: NDArray[np.intp], x: NDArray[np.intp], shrink: int = 1
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """Turn rows and columns of the gathered array into those of the frame, in the same steps."""
        if len(self.origins) == 1:
            row, column = self.origins[0] // shrink
            return y + row, x + column
        height, width = self.height // shrink, self.width // shrink
        start = self.origins[y // height * self.columns + x // width] // shrink
        return y % height + start[:, 0], x % width + start[:, 1]


@dataclass(frozen=True, slots=True, kw_only=True)
class Gradient:
    """Gradient of green light on a square lattice.

    Attributes
    ----------
    x, y : ndarray of float32, shape (rows, columns)
        Light per lattice step, towards growing columns and rows.
    step : int
        Pixels per lattice step: 1 or 2.
    variance : float
        Variance of all known smoothing, pixel aperture included, in lattice steps².
    spread : float
        The Gaussian part of `variance` on its own, in pixels, as it weighs noise.
    density : float
        Part of the photosites that see green.
    light : ndarray of float32, shape (rows // BLOCK, columns // BLOCK), rounded up
        Mean light of blocks.
    """

    x: Plane
    y: Plane
    step: int
    variance: float
    spread: float
    density: float
    light: Plane


def green_index(frame: Frame) -> int | None:
    """Return which plane of the frame is dense enough in green light, or None when none is."""
    if frame.colours == "L":
        return 0
    if "G" not in frame.colours:
        return None
    index = frame.colours.index("G")
    if frame.cfa is not None and np.mean(frame.cfa.array() == index) < 0.5:
        return None
    return index


def green_light(frame: Frame, windows: Windows) -> tuple[Plane, Plane | None, float]:
    """Return green light of the windows with gaps at 0, the mask of green sites and their density.

    Returns
    -------
    light : ndarray of float32
        Frame units; already divided by the density where the mask is None.
    mask : ndarray of float32 or None
        1 at green sites; None when a constant does.
    density : float
        Part of the photosites that see green.
    """
    index = green_index(frame)
    assert index is not None
    if frame.mosaic is None or frame.cfa is None:
        assert frame.pixels is not None
        return np.asarray(windows.gather(frame.pixels[index]), dtype=np.float32), None, 1.0
    raw = windows.gather(frame.mosaic)
    pattern = frame.cfa.array()
    sites = pattern == index
    density = float(sites.mean())
    flat = density == 1.0 or pattern.shape == (2, 2)
    black = frame.black.array()
    repeat_rows, repeat_columns = (
        np.lcm(pattern.shape[0], black.shape[0]),
        np.lcm(pattern.shape[1], black.shape[1]),
    )
    light = np.zeros(raw.shape, dtype=np.float32)
    mask = None if flat else np.zeros(raw.shape, dtype=np.float32)
    factor = np.float32(1.0 / (frame.scale * (density if flat else 1.0)))
    for row in range(repeat_rows):
        for column in range(repeat_columns):
            if not sites[row % pattern.shape[0], column % pattern.shape[1]]:
                continue
            at = np.s_[row::repeat_rows, column::repeat_columns]
            level = np.float32(black[row % black.shape[0], column % black.shape[1]])
            light[at] = (raw[at].astype(np.float32) - level) * factor
            if mask is not None:
                mask[at] = 1.0
    return light, mask, density


def gradients(frame: Frame, windows: Windows) -> tuple[Gradient, Gradient]:
    """Return the gradient of the windows at every photosite and at every second one.

    Parameters
    ----------
    frame : Frame
        Mosaic or linear, with a `green_index`.
    windows : Windows
        Which parts.

    Returns
    -------
    fine, coarse : Gradient
    """
    light, mask, density = green_light(frame, windows)
    base = 0.0
    if mask is not None:
        share = np.maximum(_smooth(mask, XTRANS_SIGMA), np.float32(1e-3))
        light = np.asarray(_smooth(light, XTRANS_SIGMA) / share, dtype=np.float32)
        base = XTRANS_SIGMA**2
    fine = _derive(light, 1, base, density)
    wide = _smooth(light, COARSE_SIGMA)[::2, ::2]
    coarse = _derive(np.ascontiguousarray(wide), 2, base + COARSE_SIGMA**2, density)
    return fine, coarse


def _kernels(sigma: float) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return a sampled Gaussian and its derivative with unit answer to a unit slope."""
    k = np.arange(-RADIUS, RADIUS + 1)
    smooth = np.exp(-(k**2) / (2 * sigma**2))
    smooth /= smooth.sum()
    derive = k * smooth / np.sum(k * k * smooth)
    return smooth.astype(np.float32), derive.astype(np.float32)


def _smooth(plane: Plane, sigma: float) -> Plane:
    kernel, _ = _kernels(sigma)
    return np.asarray(cv2.sepFilter2D(plane, cv2.CV_32F, kernel, kernel, borderType=cv2.BORDER_REFLECT_101))


def _derive(light: Plane, step: int, base: float, density: float) -> Gradient:
    smooth, derive = _kernels(SIGMA)
    border = cv2.BORDER_REFLECT_101
    return Gradient(
        x=np.asarray(cv2.sepFilter2D(light, cv2.CV_32F, derive, smooth, borderType=border)),
        y=np.asarray(cv2.sepFilter2D(light, cv2.CV_32F, smooth, derive, borderType=border)),
        step=step,
        variance=SIGMA**2 + (base + APERTURE) / step**2,
        spread=float(np.sqrt(SIGMA**2 * step**2 + base)),
        density=density,
        light=_blocks(light),
    )


def _blocks(light: Plane) -> Plane:
    """Return block means; the last row and column of blocks may be part full."""
    rows, columns = (-(-n // BLOCK) for n in light.shape)
    padded = light
    if light.shape != (rows * BLOCK, columns * BLOCK):
        more = (0, rows * BLOCK - light.shape[0], 0, columns * BLOCK - light.shape[1])
        padded = np.asarray(cv2.copyMakeBorder(light, *more, cv2.BORDER_REFLECT_101))
    return np.asarray(cv2.resize(padded, (columns, rows), interpolation=cv2.INTER_AREA))
