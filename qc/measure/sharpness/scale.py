"""From gradients at known scales to blur: the re-blur ratio, the same for a frame and for a modelled edge.

Zhuo & Sim, "Defocus map estimation from a single image", Pattern Recognition 44(9), 1852–1858, 2011: the
gradient of a step blurred by a Gaussian of σ, seen through known Gaussians of variance a and b, has at its
ridge the ratio R = √((σ² + b)/(σ² + a)); hence σ² = (b − R² a)/(R² − 1).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.green import APERTURE, COARSE_SIGMA, SIGMA

REBLUR = (0.7, 1.4, 2.2)
"""σ of the re-blurs across the ridge, lattice steps. The first two give the reading, the third the check."""

FINE_TOP = 2.6
"""Largest blur taken from the full lattice, px."""

COARSE_BOTTOM = 1.3
"""Smallest blur taken from every second photosite, px."""

MEETING = (1.2, 1.75)
"""Coarse readings over which a place is read partly from either lattice, px: of a spread with long tails, such as
Airy's, the coarse one reads up to 15 % more."""

TOP = 5.0
"""Blur above which the reading is "at least", px."""

BOTTOM = 0.5
"""Blur below which the reading is "at most", px: the lattice carries no more."""

XTRANS_BOTTOM = 1.0
"""The same where green stands in the pattern of 6 × 6: 0.8 px reads 0.5 to 0.85 there, 1.2 px within 3 %."""

FLOOR = 0.25
"""Smallest blur that is told apart from none, px."""

ENDLESS = 1e4
"""σ² that stands for a ridge which nothing sharpens, lattice steps²."""

Numbers = NDArray[np.float64]


def invert(ratio: Numbers, variance: float, first: int = 0, second: int = 1) -> Numbers:
    """Return σ² of the blur from the ratio of ridge gradients at two re-blurs.

    Parameters
    ----------
    ratio : ndarray
        Gradient at the smaller over gradient at the larger re-blur; above 1.
    variance : float
        Of the known smoothing before the re-blurs.
    first, second : int
        Which of `REBLUR`.

    Returns
    -------
    ndarray
        Negative where the ratio is beyond what no blur at all would give; `ENDLESS` where it is 1 or less.
    """
    a, b = variance + REBLUR[first] ** 2, variance + REBLUR[second] ** 2
    square = np.asarray(ratio, dtype=np.float64) ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(square > 1.0, np.minimum((b - square * a) / (square - 1.0), ENDLESS), ENDLESS)


def log_ratio_of(sigma2: Numbers, variance: float) -> Numbers:
    """Return ln R of a blur at the first two re-blurs: the inverse of `invert`."""
    a, b = variance + REBLUR[0] ** 2, variance + REBLUR[1] ** 2
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(0.5 * np.log((sigma2 + b) / (sigma2 + a)))


def relative_error(sigma2: Numbers, variance: float, ratio_error: Numbers) -> Numbers:
    """Return the standard error of ln σ from that of ln R (derivative of `invert`)."""
    a, b = variance + REBLUR[0] ** 2, variance + REBLUR[1] ** 2
    s = np.maximum(sigma2, FLOOR**2)
    return ratio_error * (s + a) * (s + b) / (s * (b - a))


def ratio_error_of(sigma2: Numbers, variance: float, error: Numbers) -> Numbers:
    """Return the standard error of ln R from that of ln σ: the inverse of `relative_error`."""
    return np.asarray(error / relative_error(sigma2, variance, np.ones_like(error)))


def blur_of_line_spread(amplitude: Callable[[float], float]) -> float:
    """Return what the estimator reads from an ideal edge with a given line spread.

    Parameters
    ----------
    amplitude : callable
        Given the variance in px² of a Gaussian, the value at its centre of the line spread (pixel aperture
        included) after smoothing by that Gaussian.

    Returns
    -------
    float
        px; from the full lattice, from every second photosite, or between the two over `MEETING`.
    """

    def at(step: int, known: float) -> float:
        top, bottom = (amplitude(step**2 * (SIGMA**2 + r**2) + known) for r in REBLUR[:2])
        variance = SIGMA**2 + (known + APERTURE) / step**2
        return float(step * np.sqrt(np.maximum(invert(np.array(top / bottom), variance), 0.0)))

    fine, coarse = at(1, 0.0), at(2, COARSE_SIGMA**2)
    low, high = MEETING
    if coarse <= low or fine <= 0.0:
        return fine
    share = min(float(np.log(coarse / low) / np.log(high / low)), 1.0)
    return float(fine ** (1 - share) * coarse**share)
