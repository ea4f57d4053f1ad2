"""The lens: blur by depth, diffraction, shake, fall-off and veiling flare."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.rehearse._surface import FIELD_MM

Planes = NDArray[np.float32]

SENSOR_MM = 36.0
"""Width of the sensor."""

WAVELENGTH_MM = 0.00055

SMALLEST_DISC = 1.8
"""Radius in pixels under which a defocus disc is drawn as a Gaussian of the same σ."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Lens:
    """A macro lens at a fixed field.

    Attributes
    ----------
    focal_mm : float
        Focal length.
    residual_px : float
        σ of what blurs even the sharp plane (aberrations, filter stack), pixels; aperture of the pixel left out.
    falloff : float
        Light lost in the corner of the picture, as a fraction.
    flare : float
        Veil over the picture, as a fraction of its mean light.
    spread : {"gaussian", "disc"}
        Shape of the defocus spread; both have the same σ, a quarter of the disc's diameter.
    """

    focal_mm: float = 90.0
    residual_px: float = 0.55
    falloff: float = 0.12
    flare: float = 0.004
    spread: Literal["gaussian", "disc"] = "gaussian"

    @property
    def magnification(self) -> float:
        """Image size over object size."""
        return SENSOR_MM / FIELD_MM

    @property
    def distance_mm(self) -> float:
        """From the sharp plane to the lens: s = f (1 + 1/m)."""
        return self.focal_mm * (1 + 1 / self.magnification)

    def defocus(
        self, depth: Planes | float, *, focus: float, aperture: float, columns: int
    ) -> NDArray[np.float64]:
        """Return σ of the defocus spread in pixels.

        A disc of diameter c = (f m / N) |u − s| / u at distance u, from the thin-lens equation; the σ of an even
        disc along one axis is c / 4 (its second moment).

        Parameters
        ----------
        depth : array_like
            z of the object, millimetres.
        focus : float
            z of the sharp plane.
        aperture : float
            f-number.
        columns : int
            Pixels across the sensor.
        """
        away = np.asarray(depth, dtype=np.float64) - focus
        circle = self.focal_mm * self.magnification / aperture * np.abs(away) / (self.distance_mm + away)
        return circle / 4 / (SENSOR_MM / columns)

    def floor(self, *, aperture: float, columns: int) -> float:
        """Return σ of the sharp plane in pixels: residual and diffraction in quadrature.

        Diffraction as the Gaussian of equal MTF50, σ = 0.4639 λ N (1 + m), from MTF50 at ν = 0.403973 of a
        circular aperture (computed from its closed form) and 0.187391 / σ of a Gaussian.
        """
        diffraction = 0.4639 * WAVELENGTH_MM * aperture * (1 + self.magnification) / (SENSOR_MM / columns)
        return float(np.hypot(self.residual_px, diffraction))

    def sigma(self, depth: Planes | float, *, focus: float, aperture: float, columns: int) -> NDArray[np.float64]:
        """Return σ of the whole blur in pixels, shake and pixel aperture left out."""
        defocus = self.defocus(depth, focus=focus, aperture=aperture, columns=columns)
        return np.hypot(defocus, self.floor(aperture=aperture, columns=columns))

    def transmission(self, rows: int, columns: int) -> Planes:
        """Return what the corners keep, shape (rows, columns); 1 in the centre."""
        y = ((np.arange(rows, dtype=np.float32) + 0.5) / rows * 2 - 1) * np.float32(rows / columns)
        x = (np.arange(columns, dtype=np.float32) + 0.5) / columns * 2 - 1
        square = (y[:, np.newaxis] ** 2 + x**2) / np.float32(1 + (rows / columns) ** 2)
        return (1 - self.falloff * square).astype(np.float32)

    def blur(self, planes: Planes, sigma: float, floor: float) -> Planes:
        """Return planes, shape (rows, columns[, n]), blurred by a whole σ of which `floor` is not defocus."""
        radius = 2 * float(np.sqrt(max(sigma**2 - floor**2, 0.0)))
        # Between pixels a smaller disc has no shape of its own, and cannot be drawn on their lattice either.
        if self.spread == "gaussian" or radius < SMALLEST_DISC:
            return gaussian(planes, sigma)
        return _filter(gaussian(planes, floor), disc(radius))

    def blur_by_depth(self, planes: Planes, sigma: NDArray[np.float64], floor: float) -> Planes:
        """Return planes blurred by a σ of their own at each pixel.

        Between levels at most 40 % apart, pixels are mixed so that the variance of the spread is exact.
        """
        low, high = float(sigma.min()), float(sigma.max())
        count = 1 + int(np.ceil(np.log(high / low) / np.log(1.4) - 1e-6))
        levels = np.geomspace(low, high, max(count, 1))
        blurred = self.blur(planes, levels[0], floor)
        for lower, upper in pairwise(levels.tolist()):
            share = np.clip((sigma**2 - lower**2) / (upper**2 - lower**2), 0, 1).astype(np.float32)
            more = self.blur(planes, upper, floor)
            more -= blurred
            more *= share.reshape(*share.shape, *[1] * (planes.ndim - 2))
            blurred += more
        return blurred


def gaussian(planes: Planes, sigma: float) -> Planes:
    """Return planes blurred by a Gaussian, edges continued."""
    side = 2 * int(np.ceil(4 * sigma)) + 1
    return np.asarray(cv2.GaussianBlur(planes, (side, side), sigma, borderType=cv2.BORDER_REPLICATE))


def disc(radius: float) -> Planes:
    """Return an even disc as a kernel of sum 1 with σ = radius / 2 along an axis, its rim shared among pixels."""
    half, fine = int(np.ceil(radius)), 32
    radius = float(np.sqrt(max(radius**2 - 1 / 3, 0.0)))  # sharing adds 1/12 px² to the second moment
    axis = (np.arange((2 * half + 1) * fine) + 0.5) / fine - half - 0.5
    inside = np.hypot(axis[:, np.newaxis], axis) <= radius
    kernel = inside.reshape(2 * half + 1, fine, 2 * half + 1, fine).mean(axis=(1, 3))
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def streak(length: float, degrees: float) -> Planes:
    """Return an even straight movement as a kernel of sum 1.

    Parameters
    ----------
    length : float
        Pixels from end to end.
    degrees : float
        Direction, anticlockwise from +x as seen on the picture.
    """
    half = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    along = (np.arange(400) + 0.5) / 400 - 0.5
    x = half + along * length * np.cos(np.deg2rad(degrees))
    y = half - along * length * np.sin(np.deg2rad(degrees))
    for dx in (0, 1):
        for dy in (0, 1):
            share = np.abs(1 - dx - x % 1) * np.abs(1 - dy - y % 1)
            np.add.at(kernel, (np.floor(y).astype(int) + dy, np.floor(x).astype(int) + dx), share)
    return np.asarray(kernel / kernel.sum(), dtype=np.float32)


def shaken(planes: Planes, length: float, degrees: float) -> Planes:
    """Return planes, shape (rows, columns, n), smeared along a straight movement."""
    return _filter(planes, streak(length, degrees))


def _filter(planes: Planes, kernel: Planes) -> Planes:
    # filter2D takes four channels at most
    if planes.ndim == 2:
        return np.asarray(cv2.filter2D(planes, -1, kernel, borderType=cv2.BORDER_REPLICATE))
    parts = [
        cv2.filter2D(np.ascontiguousarray(planes[..., i]), -1, kernel, borderType=cv2.BORDER_REPLICATE)
        for i in range(planes.shape[2])
    ]
    return np.stack(parts, axis=-1)
