"""Ridges of the gradient: where they run, how strong they are at each re-blur, whether they stand alone.

A ridge is found as a maximum of the gradient along the row or column that it crosses most steeply. Its profile
is read along that line at whole photosites, so nothing is interpolated: sums with Gaussian weights that are
wider than a step replace the integral across the ridge (the trapezoid rule is all but exact for them).
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.green import BLOCK, SIGMA, Gradient
from qc.measure.sharpness.scale import REBLUR

REACH = 12
"""Lattice steps of profile on either side of a ridge."""

CLEAR = 5.0
"""Standard deviations of noise that a ridge must stand above."""

LIMIT = 40_000
"""Most ridge points read per lattice; beyond, every second, third … is taken."""

ROOT_TURN = np.float32(np.sqrt(2 * np.pi))

Floats = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Profiles:
    """Ridge points of one lattice and the gradient across them; arrays have a value or a row per point.

    Attributes
    ----------
    x, y : ndarray of int
        Place in the gathered array, lattice steps.
    nx, ny : ndarray of float32
        Unit direction in which light grows.
    cosine : ndarray of float32
        Spacing of the profile's samples across the ridge, lattice steps.
    gradient : ndarray of float32, shape (n, 2 × REACH + 1)
        Light per step in the direction (nx, ny), along the row or column.
    place : ndarray of float32, same shape
        Distance of each sample from the ridge's summit, lattice steps.
    noise : ndarray of float32
        Standard deviation of the summit's gradient after the first re-blur.
    """

    x: NDArray[np.intp]
    y: NDArray[np.intp]
    nx: Floats
    ny: Floats
    cosine: Floats
    gradient: Floats
    place: Floats
    noise: Floats

    def take(self, keep: NDArray[np.bool_] | NDArray[np.intp]) -> Profiles:
        """Return the points that are to be kept."""
        return Profiles(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})

    def smoothed(self, centre: float | Floats, sigma: float | Floats) -> Floats:
        """Return the profile smoothed by a Gaussian of `sigma` and read at `centre`, both per point or for all."""
        middle = np.broadcast_to(np.asarray(centre, dtype=np.float32), self.cosine.shape)[:, np.newaxis]
        width = np.broadcast_to(np.asarray(sigma, dtype=np.float32), self.cosine.shape)
        u = self.place - middle
        weight = np.exp(u * u * (-0.5 / (width * width))[:, np.newaxis])
        return np.einsum("ij,ij->i", self.gradient, weight) * self.cosine / (ROOT_TURN * width)

    def strengths(self) -> Floats:
        """Return the gradient at the summit after each of `REBLUR`, shape (3, n)."""
        return np.stack([self.smoothed(0.0, r) for r in REBLUR])


def gradient_noise(gradient: Gradient, along: float = 0.0) -> float:
    """Return the variance of a gradient, per step, over that of a photosite.

    White noise through a Gaussian derivative: 1/(8π σ_n³ σ_t) across and along the ridge, over the density of
    sites, in light per px; `along` is a further re-blur across the ridge in px.
    """
    across = np.hypot(gradient.spread, along)
    per_px = 1.0 / (8.0 * np.pi * across**3 * gradient.spread * gradient.density)
    return float(per_px * gradient.step**2)


def find(gradient: Gradient, variance: NDArray[np.float32]) -> tuple[NDArray[np.intp], NDArray[np.bool_], int]:
    """Return flat indices of ridge points clear of the noise, whether each is read along its row, and the stride.

    Parameters
    ----------
    gradient : Gradient
        Lattice.
    variance : ndarray of float32, shape (rows, columns)
        Noise variance of a photosite in each block of `Gradient.light`.

    Returns
    -------
    index : ndarray of int
        Into the flattened lattice, `REACH` steps away from its rim.
    along_row : ndarray of bool
        True where the profile runs along the row.
    every : int
        1, or n when only every n-th point was taken.
    """
    rows, columns = gradient.x.shape
    if min(rows, columns) <= 2 * REACH + 2:
        return np.zeros(0, dtype=np.intp), np.zeros(0, dtype=bool), 1
    inner = np.s_[REACH : rows - REACH, REACH : columns - REACH]
    energy = gradient.x * gradient.x
    energy += gradient.y * gradient.y
    centre = energy[inner]
    level = np.abs(gradient.x[inner]) >= np.abs(gradient.y[inner])
    left = energy[REACH : rows - REACH, REACH - 1 : columns - REACH - 1]
    right = energy[REACH : rows - REACH, REACH + 1 : columns - REACH + 1]
    above = energy[REACH - 1 : rows - REACH - 1, REACH : columns - REACH]
    below = energy[REACH + 1 : rows - REACH + 1, REACH : columns - REACH]
    peak = np.where(level, (centre >= left) & (centre > right), (centre >= above) & (centre > below))
    gain = CLEAR**2 * gradient_noise(gradient)
    peak &= centre > np.float32(gain * float(variance.min()))
    y, x = np.nonzero(peak)
    local = variance[(y + REACH) // BLOCK, (x + REACH) // BLOCK]
    clear = centre[y, x] > gain * local
    y, x = y[clear], x[clear]
    every = max(1, -(-len(y) // LIMIT))
    along_row = level[y, x]
    index = (y + REACH) * columns + x + REACH
    return index[::every], along_row[::every], every


def read(gradient: Gradient, index: NDArray[np.intp], along_row: NDArray[np.bool_], variance: Floats) -> Profiles:
    """Read the profile of each ridge point.

    Parameters
    ----------
    gradient : Gradient
        Lattice.
    index, along_row : ndarray
        From `find`.
    variance : ndarray of float32
        Noise variance of a photosite at each point, light².

    Returns
    -------
    Profiles
    """
    columns = gradient.x.shape[1]
    k = np.arange(-REACH, REACH + 1)
    at = index[:, np.newaxis] + k * np.where(along_row, 1, columns)[:, np.newaxis]
    gx, gy = gradient.x.ravel()[at], gradient.y.ravel()[at]
    near = np.exp(-(k**2) / 2.0).astype(np.float32)
    nx, ny = gx @ near, gy @ near
    size = np.maximum(np.hypot(nx, ny), np.float32(1e-20))
    nx, ny = nx / size, ny / size
    profile = gx * nx[:, np.newaxis] + gy * ny[:, np.newaxis]
    cosine = np.maximum(np.where(along_row, np.abs(nx), np.abs(ny)), np.float32(0.2))
    return Profiles(
        x=index % columns,
        y=index // columns,
        nx=nx,
        ny=ny,
        cosine=cosine,
        gradient=profile,
        place=_place(profile, cosine, REBLUR[1]),
        noise=np.sqrt(variance * np.float32(gradient_noise(gradient, REBLUR[0] * gradient.step))),
    )


def _place(profile: Floats, cosine: Floats, reblur: float) -> Floats:
    """Return each sample's distance from the summit of the re-blurred profile, found by two Newton steps."""
    k = np.arange(-REACH, REACH + 1)
    square = (reblur / cosine[:, np.newaxis]) ** 2
    shift = np.zeros(len(profile), dtype=np.float32)
    for _ in range(2):
        u = (k - shift[:, np.newaxis]).astype(np.float32)
        weight = profile * np.exp(-u * u / (2 * square))
        slope = (weight * u).sum(axis=1)
        bend = (weight * (u * u / square - 1)).sum(axis=1)
        with np.errstate(divide="ignore", invalid="ignore"):
            move = np.where(bend < 0, -slope / bend, np.float32(0))
        shift = np.clip(shift + np.clip(move, -0.6, 0.6), -1.5, 1.5).astype(np.float32)
    return np.asarray((k - shift[:, np.newaxis]).astype(np.float32) * cosine[:, np.newaxis])


def smoothing_of_ridge() -> float:
    """Return the correlation length of noise along a ridge in steps, ∫ρ of a Gaussian of σ `SIGMA`."""
    return float(2.0 * np.sqrt(np.pi) * SIGMA)
