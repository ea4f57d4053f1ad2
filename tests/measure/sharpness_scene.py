"""Scenes of known blur for the tests of sharpness, made without the estimator.

Everything is linear light on square pixels: a shape or an analytic step at `FINE` points per pixel, the spread as
a convolution there, then the mean over each pixel. Sensor, noise and mosaic come from `qc.rehearse`.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.special import erf, j1

from qc.decode import BAYER, frame_from_mosaic
from qc.frame import Camera, Frame
from qc.rehearse.sensor import Sensor

FINE = 6
"""Points per pixel along each side."""

Light = NDArray[np.float64]


def to_pixels(fine: NDArray[np.floating]) -> Light:
    """Return the mean over each pixel of a picture with `FINE` points per pixel."""
    rows, columns = fine.shape[0] // FINE, fine.shape[1] // FINE
    return fine.reshape(rows, FINE, columns, FINE).mean(axis=(1, 3), dtype=np.float64)


def edge(size: int, angle: float, sigma: float, low: float, high: float, *, shift: float = 0.0) -> Light:
    """Return a straight step from low to high across direction `angle`, blurred by a Gaussian (erf, exact)."""
    k = (np.arange(size * FINE) + 0.5) / FINE - 0.5 - size / 2
    across = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    distance = k[np.newaxis, :] * across[0] + k[:, np.newaxis] * across[1] - shift
    return low + (high - low) * to_pixels(0.5 * (1 + erf(distance / (np.sqrt(2) * sigma))))


def strokes(size: int, width: float, *, seed: int, pitch: int | None = None) -> NDArray[np.float32]:
    """Return glyph-like lines and arcs, 0 to 1, at `FINE` points per pixel, not yet blurred."""
    rng = np.random.default_rng(seed)
    fine = np.zeros((size * FINE, size * FINE), dtype=np.uint8)
    pitch = pitch or max(30, round(5 * width))
    thick, reach = round(width * FINE), 0.33 * pitch * FINE
    for y in range(pitch // 2 + 4, size - pitch // 2, pitch):
        for x in range(pitch // 2 + 4, size - pitch // 2, pitch):
            turn = rng.uniform(0, 2 * np.pi)
            centre = np.array([x, y]) * FINE + rng.uniform(-FINE, FINE, 2)
            along = reach * np.array([np.cos(turn), np.sin(turn)])
            kind = int(rng.integers(0, 3))
            if kind == 0:
                _line(fine, centre - along, centre + along, thick)
            elif kind == 1:
                _line(fine, centre - along, centre + along, thick)
                _line(fine, centre, centre + along[::-1] * (-1, 1), thick)
            else:
                radius = (round(reach), round(reach))
                start = float(np.rad2deg(turn))
                at = (round(float(centre[0])), round(float(centre[1])))
                cv2.ellipse(fine, at, radius, start, 0, float(rng.uniform(180, 360)), 255, thick)
    return np.asarray(fine / 255, dtype=np.float32)


def _line(fine: NDArray[np.uint8], start: NDArray[np.float64], end: NDArray[np.float64], thick: int) -> None:
    first, last = (tuple(round(float(v)) for v in point) for point in (start, end))
    cv2.line(fine, first, last, 255, thick)


def gaussian(fine: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Blur a fine picture by a Gaussian of `sigma` px."""
    return np.asarray(cv2.GaussianBlur(fine, (0, 0), sigma * FINE), dtype=np.float32)


def spread(fine: NDArray[np.float32], kernel: NDArray[np.floating]) -> NDArray[np.float32]:
    """Convolve a fine picture with a kernel at `FINE` points per pixel, scaled to sum 1."""
    shape = [n + k for n, k in zip(fine.shape, kernel.shape, strict=True)]
    padded = np.pad(fine, [(k // 2, k - k // 2) for k in kernel.shape], mode="edge")
    product = np.fft.rfft2(padded, shape) * np.fft.rfft2(kernel / kernel.sum(), shape)
    full = np.fft.irfft2(product, shape)
    start = [k // 2 + (k - 1) // 2 for k in kernel.shape]
    out = np.roll(full, [-s for s in start], axis=(0, 1))[: fine.shape[0], : fine.shape[1]]
    return np.asarray(out, dtype=np.float32)


def disc(diameter: float) -> Light:
    """Return a uniform disc, at `FINE` points per pixel."""
    half = int(np.ceil(diameter * FINE / 2)) + 1
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    return np.clip(diameter * FINE / 2 - np.hypot(x, y) + 0.5, 0.0, 1.0)


def airy(aperture: float, pitch_um: float, *, wavelength_um: float = 0.55) -> Light:
    """Return the Airy pattern (2 J₁(v)/v)², v = π r/(λN), at `FINE` points per pixel, out to 24 px."""
    half = 24 * FINE
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    v = np.maximum(np.pi * np.hypot(x, y) / FINE * pitch_um / (wavelength_um * aperture), 1e-9)
    return np.asarray((2 * j1(v) / v) ** 2)


def motion(length: float, angle: float) -> Light:
    """Return a straight even smear of `length` px, `angle` degrees anticlockwise from +x as seen."""
    half = int(np.ceil(length * FINE / 2)) + 2
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    for t in np.linspace(-0.5, 0.5, 40 * FINE):
        x = half + t * length * FINE * np.cos(np.deg2rad(angle))
        y = half - t * length * FINE * np.sin(np.deg2rad(angle))
        column, row = int(x), int(y)
        for r, c in ((0, 0), (0, 1), (1, 0), (1, 1)):
            kernel[row + r, column + c] += abs(1 - r - (y - row)) * abs(1 - c - (x - column))
    return kernel


def weave(size: int, period: float, angle: float, sigma: float) -> Light:
    """Return a plain weave of round threads: over and under by turns, `period` px from thread to next but one."""
    k = (np.arange(size * FINE) + 0.5) / FINE
    x, y = np.meshgrid(k, k)
    c, s = np.cos(np.deg2rad(angle)), np.sin(np.deg2rad(angle))
    u, v = (x * c + y * s) * 2 / period, (y * c - x * s) * 2 / period
    over = (np.floor(u) + np.floor(v)) % 2 > 0
    across, along = np.where(over, u % 1, v % 1), np.where(over, v % 1, u % 1)
    height = np.sqrt(np.clip(1 - (2 * across - 1) ** 2, 0, 1)) * (0.7 + 0.3 * np.sin(np.pi * along))
    return to_pixels(gaussian((0.06 + 0.3 * height).astype(np.float32), sigma))


def expose(
    light: Light, *, seed: int | None = 0, phase: str = "RGGB", camera: Camera | None = None, orientation: int = 1
) -> Frame:
    """Return the frame a simulated sensor makes of green light; red and blue are weaker."""
    rng = None if seed is None else np.random.default_rng(seed)
    planes = np.stack([0.6 * light, light, 0.7 * light])
    sensor = Sensor()
    mosaic = sensor.expose(planes, BAYER[phase], rng)
    return frame_from_mosaic(
        mosaic, cfa=phase, black=sensor.black, white=sensor.white, camera=camera, orientation=orientation
    )
