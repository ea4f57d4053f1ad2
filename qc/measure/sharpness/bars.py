"""Strokes of print: blur and width of a bar fitted together, where its two edges overlap.

The gradient across a bar of width w is A (G(u; τ) − G(u − w; τ)), G a Gaussian whose variance τ² is that of the
blur and of all known smoothing. The outer side gives τ, the way to the bar's middle gives w; beyond the middle
nothing is fitted, so that bars of several widths may be averaged. What does not fit is no bar: a weave is not.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.isolation import Sums
from qc.measure.sharpness.ridges import Profiles, smoothing_of_ridge
from qc.measure.sharpness.scale import FLOOR, REBLUR

BIN = 0.5
"""Width of a bin of the mean profile, lattice steps."""

HALF = 20
"""Bins on either side of the summit."""

WIDEST = 4.5
"""Largest blur of a bar that is looked for, lattice steps."""

BLURS, WIDTHS = 48, 16
"""Models: blurs, and widths for each."""

NARROWEST, BROADEST = 0.6, 5.5
"""Widths of bars, in τ."""

OUTER = 3.2
"""How far outside the summit the profile is fitted, in τ of the first fit."""

MISFIT = 0.05
"""Largest root mean square departure from the model over the summit, beyond noise."""

SHARED = 3.0
"""How many bins share their noise, by the gradient filter."""

TOP_OF_BARS = 2.2
"""Largest blur of a bar that is believed, lattice steps: beyond, noise makes summits of its own."""

NOISE = 1.5
"""How far above its expectation the noise of a mean profile may lie."""

LARGEST_ERROR = 0.55
"""Largest error of ln σ of a bar that counts."""

Numbers = NDArray[np.float64]
Floats = NDArray[np.float32]
Flags = NDArray[np.bool_]

AT = np.arange(-HALF, HALF + 1) * BIN


@dataclass(frozen=True, slots=True, kw_only=True)
class Bars:
    """Bars that were fitted; arrays have a value per piece.

    Attributes
    ----------
    sigma2 : ndarray
        σ² of the blur, lattice steps².
    error : ndarray
        Standard error of ln σ.
    fits : ndarray of bool
        Whether the piece is the edge of a bar.
    """

    sigma2: Numbers
    error: Numbers
    fits: Flags


def _relative() -> Numbers:
    return np.geomspace(NARROWEST, BROADEST, WIDTHS)


@cache
def _models(variance: float) -> tuple[Numbers, Floats]:
    """Return τ of each blur, and the bars' gradients about their summits, shape (blurs, widths, bins)."""
    blur = np.geomspace(FLOOR, WIDEST, BLURS)
    tau = np.sqrt(blur**2 + variance)
    width = tau[:, np.newaxis] * _relative()
    fine = np.linspace(-4.0, 1.0, 2001)
    seen = np.sqrt(tau**2 + REBLUR[1] ** 2)[:, np.newaxis, np.newaxis]
    # profiles are aligned by the summit that they have after the second re-blur
    at = fine * seen
    bar = np.exp(-0.5 * (at / seen) ** 2) - np.exp(-0.5 * ((at - width[..., np.newaxis]) / seen) ** 2)
    summit = (fine[bar.argmax(axis=-1)] * seen[..., 0])[..., np.newaxis]
    t, u = tau[:, np.newaxis, np.newaxis], AT + summit
    # a bin averages over its width, which smooths a little
    t = np.sqrt(t**2 + BIN**2 / 12)
    model = np.exp(-0.5 * (u / t) ** 2) - np.exp(-0.5 * ((u - width[..., np.newaxis]) / t) ** 2)
    return tau, np.asarray(model / model[..., HALF : HALF + 1], dtype=np.float32)


def fit(profiles: Profiles, sums: Sums, variance: float, narrowest: float) -> Bars:
    """Fit a bar to the mean profile of each piece.

    Parameters
    ----------
    profiles : Profiles
        Ridge points.
    sums : Sums
        Their pieces.
    variance : float
        Known smoothing, lattice steps².
    narrowest : float
        Least width of a bar that counts, over the τ of its profile.
    """
    mean, count = _means(profiles, sums)
    towards = np.where(_least(mean[:, HALF:]) <= _least(mean[:, HALF::-1]), 1, -1)
    mean = np.where((towards > 0)[:, np.newaxis], mean, mean[:, ::-1])
    count = np.where((towards > 0)[:, np.newaxis], count, count[:, ::-1])
    top = np.where(mean[:, HALF] > 0, mean[:, HALF], np.inf)
    mean = mean / top[:, np.newaxis]
    inner = np.cumsum(mean[:, HALF:] <= 0, axis=1) == 0
    ends = inner.sum(axis=1)
    points = np.maximum(sums.of(np.ones(len(sums.group))), 1.0)
    raw = sums.of(profiles.noise**2) / points * ((variance + REBLUR[0] ** 2) / variance) ** 1.5
    noise2 = raw * np.minimum(smoothing_of_ridge(), points) / top**2
    tau, models = _models(variance)
    first = np.full(sums.count, np.sqrt(variance + 1.0))
    for _ in range(2):
        outer = -AT[:HALF] < np.maximum(OUTER * first, 3.0)[:, np.newaxis]
        weight = count * np.concatenate([outer, inner], axis=1)
        best, width, error, misfit = _search(mean, weight, noise2, models, tau, variance)
        first = tau[best]
    inside = first**2 - variance < TOP_OF_BARS**2
    allowed = MISFIT**2 + NOISE * noise2 * (weight > 0).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-9)
    fits = (
        np.isfinite(top)
        & (ends < HALF)
        & (misfit < allowed)
        & (error < LARGEST_ERROR)
        & inside
        & (width >= narrowest)
    )
    return Bars(sigma2=first**2 - variance, error=error, fits=fits)


def _least(side: Numbers) -> Numbers:
    return np.asarray(side[:, : round(6 / BIN)].min(axis=1))


def _means(profiles: Profiles, sums: Sums) -> tuple[Numbers, Numbers]:
    """Return the mean profile of each piece about its summit and the points in each bin, shape (pieces, bins)."""
    size = 2 * HALF + 1
    bins = np.rint(profiles.place / np.float32(BIN)).astype(np.intp) + HALF
    inside = (bins >= 0) & (bins < size)
    where = (sums.group[:, np.newaxis] * size + bins)[inside]
    length = sums.count * size
    count = np.bincount(where, minlength=length).astype(np.float64)
    whole = np.bincount(where, weights=profiles.gradient[inside], minlength=length)
    shape = (sums.count, size)
    return (whole / np.maximum(count, 1.0)).reshape(shape), count.reshape(shape)


def _search(
    mean: Numbers, weight: Numbers, noise2: Numbers, models: Floats, tau: Numbers, variance: float
) -> tuple[NDArray[np.intp], Numbers, Numbers, Numbers]:
    """Return, per piece: which blur fits best, the width in τ, the error of ln σ, the mean square departure."""
    flat = models.reshape(-1, models.shape[-1])
    mean, weight = mean.astype(np.float32), weight.astype(np.float32)
    square = weight @ (flat**2).T
    cross = (weight * mean) @ flat.T
    own = (weight * mean**2).sum(axis=1)[:, np.newaxis]
    cube = (own - cross * cross / np.maximum(square, 1e-12)).reshape(len(mean), *models.shape[:2])
    rest = cube.min(axis=2).astype(np.float64)
    best = rest.argmin(axis=1)
    total = np.maximum(weight.sum(axis=1), 1e-9)
    every = np.arange(len(mean))
    width = _relative()[cube[every, best].argmin(axis=1)]
    least = rest[every, best]
    misfit = least / total
    middle = np.clip(best, 2, len(tau) - 3)
    logs = 0.5 * np.log(np.maximum(tau**2 - variance, 1e-9))
    step = logs[1] - logs[0]
    bend = (rest[every, middle - 2] + rest[every, middle + 2] - 2 * rest[every, middle]) / (4 * step**2)
    scale = SHARED * np.maximum(noise2, misfit / 3)
    error = np.sqrt(2 * scale / np.maximum(bend, 1e-12))
    return best, width, np.asarray(error), np.asarray(misfit)
