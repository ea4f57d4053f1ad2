"""Blur against direction: shake smears along one line, defocus all round.

A ridge shows the spread across itself. For a Gaussian spread its variance along the unit vector n is nᵀ Σ n, so
the variances of ridges of several directions give the three numbers of Σ by least squares.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.pieces import Pieces
from qc.measure.sharpness.population import sharpest

BINS = 12
"""Directions of ridge that are read apart, over half a turn."""

FEWEST_BINS = 4
"""Fewest directions with a blur."""

SHORTEST = 20.0
"""Least ridge length of one direction, px."""

WORST_CONDITION = 8.0
"""Largest condition number of the fit: beyond, the directions do not span enough."""

MISFIT = 3.0
"""Largest mean square departure from the fit, in errors, with which its axes are believed: edges at several depths
that happen to run in several directions do not fit one spread."""

DIRECTIONAL = 1.4
"""Major over minor from which blur has a direction."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Direction:
    """Blur along its longest and shortest axis.

    Attributes
    ----------
    major, minor : float
        σ, px.
    major_error, minor_error : float
        Standard errors, px.
    angle : float
        Direction of the major axis, degrees anticlockwise from +x as seen on the sensor picture, [0, 180).
    angle_error : float
        Standard error, degrees.
    directional : bool
        Whether major and minor differ by `DIRECTIONAL` and by three standard errors.
    """

    major: float
    minor: float
    major_error: float
    minor_error: float
    angle: float
    angle_error: float
    directional: bool


def blur_direction(edges: Pieces) -> Direction | None:
    """Fit the axes of the blur; None when the ridges do not span enough directions."""
    bins = np.minimum((edges.direction / np.pi * BINS).astype(np.intp), BINS - 1)
    rows, values, errors = [], [], []
    for k in range(BINS):
        part = edges.take(bins == k)
        found = sharpest(part, shortest=SHORTEST, fewest=2)
        if found is None:
            continue
        angle = np.average(part.direction, weights=part.length)
        rows.append((np.cos(angle) ** 2, np.sin(2 * angle), np.sin(angle) ** 2))
        values.append(found.blur**2)
        errors.append(2 * found.blur**2 * np.hypot(found.error, 0.05))
    if len(rows) < FEWEST_BINS:
        return None
    design, sigma = np.array(rows), np.array(errors)
    if np.linalg.cond(design) > WORST_CONDITION:
        return None
    weighted = design / sigma[:, np.newaxis]
    fit = np.linalg.lstsq(weighted, np.array(values) / sigma, rcond=None)[0]
    misfit = float(np.mean((weighted @ fit - np.array(values) / sigma) ** 2)) * len(rows) / max(len(rows) - 3, 1)
    if misfit > MISFIT:
        return None
    return _axes(fit, np.linalg.inv(weighted.T @ weighted) * max(misfit, 1.0))


def _axes(fit: NDArray[np.float64], covariance: NDArray[np.float64]) -> Direction | None:
    square, turned = np.linalg.eigh(np.array([[fit[0], fit[1]], [fit[1], fit[2]]]))
    if square[1] <= 0:
        return None
    least = max(float(square[0]), 0.05 * float(square[1]))
    minor, major = float(np.sqrt(least)), float(np.sqrt(square[1]))
    errors = []
    for axis, sigma in ((turned[:, 1], major), (turned[:, 0], minor)):
        gradient = np.array([axis[0] ** 2, 2 * axis[0] * axis[1], axis[1] ** 2])
        errors.append(float(np.sqrt(gradient @ covariance @ gradient)) / (2 * sigma))
    across = np.array(
        [
            turned[0, 0] * turned[0, 1],
            turned[0, 0] * turned[1, 1] + turned[1, 0] * turned[0, 1],
            turned[1, 0] * turned[1, 1],
        ]
    )
    gap = max(float(square[1] - square[0]), 1e-9)
    angle_error = float(np.rad2deg(np.sqrt(across @ covariance @ across) / gap))
    return Direction(
        major=major,
        minor=minor,
        major_error=errors[0],
        minor_error=errors[1],
        angle=float(np.rad2deg(np.arctan2(-turned[1, 1], turned[0, 1])) % 180.0),
        angle_error=min(angle_error, 90.0),
        directional=bool(major > DIRECTIONAL * minor and major - minor > 3 * np.hypot(errors[0], errors[1])),
    )
