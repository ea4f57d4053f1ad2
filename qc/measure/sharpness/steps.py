"""The blur of each piece of ridge: as a lone step, or as one edge of a bar."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.bars import fit
from qc.measure.sharpness.isolation import Isolation, Sums
from qc.measure.sharpness.ridges import Profiles, smoothing_of_ridge
from qc.measure.sharpness.scale import ENDLESS, FLOOR, TOP, invert, log_ratio_of, ratio_error_of, relative_error

AGREE = 0.3
"""Largest difference of ln σ between the two pairs of scales, beyond its noise."""

SCATTER = 0.05
"""Spread of ln R within a piece that is not noise: sampling phase and gentle curvature."""

NARROWEST = {1: 0.0, 2: 2.5}
"""Narrowest bar that is read from either lattice, in widths of the profile: the coarse one has hardly a sample in
a narrower one."""

Numbers = NDArray[np.float64]
Floats = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(slots=True, kw_only=True)
class Read:
    """What the points of each piece give; arrays have a value per piece.

    Attributes
    ----------
    points : ndarray
        Points that count.
    log_ratio, ratio_error, blur, error : ndarray
        As in `Pieces`.
    good, bar : ndarray of bool
        Whether that may be believed; whether it was read as a bar.
    """

    points: Numbers
    log_ratio: Numbers
    ratio_error: Numbers
    blur: Numbers
    error: Numbers
    good: Flags
    bar: Flags


def lone_steps(
    profiles: Profiles, seen: Isolation, strengths: Floats, sums: Sums, variance: float, step: int
) -> Read:
    """Read every piece as a step that stands alone.

    Parameters
    ----------
    profiles : Profiles
        Ridge points.
    seen : Isolation
        What lies beside them.
    strengths : ndarray of float32
        `Profiles.strengths` of them.
    sums : Sums
        Their pieces.
    variance : float
        Known smoothing, lattice steps².
    step : int
        Pixels per lattice step.

    Returns
    -------
    Read
    """
    points = sums.of(seen.counts)
    with np.errstate(divide="ignore", invalid="ignore"):
        s0, s1, s2 = (sums.of(s * seen.counts) for s in strengths)
        base = seen.slope * s0
        log_ratio = np.log((s0 - base) / (s1 - base))
        ratio_error = _ratio_error(sums.of(profiles.noise**2 * seen.counts), s0, points)
        sigma2 = invert(np.exp(log_ratio), variance)
        blur = np.sqrt(np.clip(np.nan_to_num(sigma2, nan=ENDLESS), (FLOOR / step) ** 2, None))
        error = relative_error(blur**2, variance, ratio_error)
        good = _points_agree(seen, strengths, sums, ratio_error)
        good &= _scales_agree(sigma2, invert(s1 / s2, variance, 1, 2), error)
    return Read(
        points=points,
        log_ratio=log_ratio_of(sigma2, variance),
        ratio_error=ratio_error,
        blur=blur * step,
        error=error,
        good=good & np.isfinite(error) & (blur * step <= TOP),
        bar=np.zeros(sums.count, dtype=bool),
    )


def add_bars(read: Read, profiles: Profiles, sums: Sums, variance: float, *, tried: Flags, step: int) -> None:
    """Put the blur of those pieces that are bars in the place of what a lone step would give.

    Parameters
    ----------
    read : Read
        From `lone_steps`; changed.
    profiles, sums, variance, step
        As there.
    tried : ndarray of bool
        Pieces that may be bars.
    """
    if not tried.any():
        return
    at = np.flatnonzero(tried[sums.group])
    names = np.cumsum(tried) - 1
    found = fit(
        profiles.take(at), Sums(group=names[sums.group[at]], count=int(tried.sum())), variance, NARROWEST[step]
    )
    sigma2, which = found.sigma2[found.fits], np.flatnonzero(tried)[found.fits]
    read.blur[which] = np.sqrt(np.maximum(sigma2, FLOOR**2))
    read.error[which] = found.error[found.fits]
    read.log_ratio[which] = log_ratio_of(sigma2, variance)
    read.ratio_error[which] = ratio_error_of(sigma2, variance, found.error[found.fits])
    read.good[which] = read.bar[which] = True


def _points_agree(seen: Isolation, strengths: Floats, sums: Sums, ratio_error: Numbers) -> Flags:
    """Tell where the points of a piece differ by no more than their noise."""
    points = sums.of(seen.counts)
    each = np.nan_to_num(np.log(strengths[0] / strengths[1])) * seen.counts
    off = (each - (sums.of(each) / points)[sums.group]) * seen.counts
    return np.asarray(sums.of(off**2) / points < 3.0 * (ratio_error**2 * points + SCATTER**2))


def _scales_agree(sigma2: Numbers, other: Numbers, error: Numbers) -> Flags:
    """Tell where two pairs of scales give one blur, and where it is not beyond what no blur would give."""
    apart = 0.5 * np.abs(np.log(np.maximum(other, FLOOR**2) / np.maximum(sigma2, FLOOR**2)))
    beyond = sigma2 < -3 * np.maximum(0.08, error * FLOOR**2)
    return (apart < AGREE + 3 * error) & ~beyond


def _ratio_error(noise2: Numbers, strength: Numbers, points: Numbers) -> Numbers:
    """Return the standard error of ln R: noise of neighbours along a ridge is shared."""
    shared = np.minimum(smoothing_of_ridge(), np.maximum(points, 1.0))
    # the two re-blurs share most of their noise; their ratio keeps about 0.85 of the first's
    return 0.85 * np.sqrt(noise2 * shared) / np.maximum(strength, 1e-20)
