"""Whether ridges are steps that stand alone: what their profiles hold beside the summit.

A weave or a bar much narrower than its blur has, like an edge, a summit and a ratio; it differs in that a step
back follows within a few widths. Single points only drop out where that is plain; the decision is made on sums
over a piece, so that noise neither makes it nor selects what it is made from.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.ridges import REACH, Profiles
from qc.measure.sharpness.scale import invert

SIDE_AT = 3.0
"""Where the sides are looked at, in widths σ of the ridge's own profile."""

SIDE_WIDTH = 0.6
"""σ of the weight there, in the same widths."""

NEAR_AT = 1.7
"""Where the nearer look is taken when one side is not clear, in the same widths."""

ALONE = 0.18
"""Largest gradient at a clear side, over the ridge's own, less that of a lone step."""

UNLIKE = 0.08
"""Largest difference between the sides up to which both are read."""

NEAR = 0.30
"""Largest departure from a lone step's profile at the nearer look; at this the blur of a bar reads 8 % too
small at 0.8 px, 4 % at 2 px (computed for bars of 3 to 6 profile widths)."""

LOOSE = 0.35
"""As `ALONE`, for a single point, on top of two standard deviations of its noise."""

Numbers = NDArray[np.float64]
Floats = NDArray[np.float32]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sums:
    """Sums over the points of each piece: `group` is each point's piece, `count` how many pieces there are."""

    group: NDArray[np.intp]
    count: int

    def of(self, values: NDArray[np.generic]) -> Numbers:
        """Return the sum of a value over each piece."""
        weights = np.asarray(values, dtype=np.float64)
        return np.asarray(np.bincount(self.group, weights=weights, minlength=self.count), dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Isolation:
    """What `isolate` found.

    Attributes
    ----------
    counts : ndarray of bool, per point
        Points that are not plainly hemmed in.
    strengths : ndarray of float32, shape (3, points)
        Gradient at the summit after each re-blur, read on one side where the other is not clear.
    good : ndarray of bool, per piece
        Whether the piece is a step that stands alone, at least towards one side.
    near : ndarray, per piece
        Departure from a lone step's profile on the side that is not clear, at the nearer look; 0 where both are.
    hemmed : ndarray of bool, per piece
        Whether a step back stands at either side.
    slope : ndarray, per piece
        Part of the summit's gradient that belongs to a slope under the step: what both sides share.
    """

    counts: Flags
    strengths: Floats
    good: Flags
    near: Numbers
    hemmed: Flags
    slope: Numbers


def isolate(profiles: Profiles, strengths: Floats, sums: Sums, variance: float) -> Isolation:
    """Look beside every ridge.

    Parameters
    ----------
    profiles : Profiles
        Ridge points.
    strengths : ndarray
        `Profiles.strengths` of them.
    sums : Sums
        Their pieces.
    variance : float
        Known smoothing, lattice steps².

    Returns
    -------
    Isolation
    """
    every = np.ones(len(sums.group), dtype=bool)
    width = _width(strengths, every, sums, variance)
    top, both = _sides(profiles, width[sums.group], SIDE_AT)
    with np.errstate(divide="ignore", invalid="ignore"):
        loose = LOOSE + 2.0 * profiles.noise / strengths[0]
        counts = (np.abs(both / top - _lone(SIDE_AT)) < loose).any(axis=0)
        side = _piecewise(top, both, counts, sums, SIDE_AT)
    clear = np.abs(side) < ALONE
    low, high = side.min(axis=0), side.max(axis=0)
    half = clear.any(axis=0) & (~clear.all(axis=0) | (high - low > UNLIKE))
    good = clear.all(axis=0) & ~half
    clear = clear & (np.abs(side) <= np.abs(side[::-1]))
    slope = np.where(half, 0.0, np.where(low > 0, low, np.where(high < 0, high, 0.0)))
    near = np.zeros(sums.count)
    if half.any():
        strengths = strengths.copy()
        at = np.flatnonzero(half[sums.group] & counts)
        lean = np.where(clear[0], np.float32(-1), np.float32(1))
        some = Sums(group=sums.group[at], count=sums.count)
        strengths[:, at], beside, passed = _one_sided(profiles.take(at), lean, some, variance)
        near = np.where(half, beside, 0.0)
        good |= half & passed
    return Isolation(
        counts=counts, strengths=strengths, good=good, near=near, hemmed=low < -ALONE, slope=np.nan_to_num(slope)
    )


def _one_sided(profiles: Profiles, lean: Floats, sums: Sums, variance: float) -> tuple[Floats, Numbers, Flags]:
    """Return the strengths read on the clear side, what the nearer look shows beside, and which pieces pass it."""
    turned = profiles.leaning(lean[sums.group])
    strengths = turned.strengths()
    every = np.ones(len(sums.group), dtype=bool)
    width = _width(strengths, every, sums, variance)[sums.group]
    straight = replace(profiles, place=turned.place)
    near = _piecewise(*_sides(straight, width, NEAR_AT), every, sums, NEAR_AT)
    far = _piecewise(*_sides(straight, width, SIDE_AT), every, sums, SIDE_AT)
    first = lean < 0
    passed = (np.abs(near) < NEAR).all(axis=0) & (np.abs(np.where(first, far[0], far[1])) < ALONE)
    return strengths, np.nan_to_num(np.where(first, near[1], near[0])), passed


def _width(strengths: Floats, counts: Flags, sums: Sums, variance: float) -> Floats:
    """Return the width σ of each piece's profile, lattice steps, kept within what the reach can show."""
    with np.errstate(divide="ignore", invalid="ignore"):
        own = invert(sums.of(strengths[0] * counts) / sums.of(strengths[1] * counts), variance) + variance
    widest = (REACH * 0.7 / (SIDE_AT + SIDE_WIDTH)) ** 2
    return np.sqrt(np.clip(np.nan_to_num(own, nan=widest), variance, widest)).astype(np.float32)


def _sides(profiles: Profiles, width: Floats, at: float) -> tuple[Floats, Floats]:
    """Return the gradient at the summit and at either side, smoothed alike."""
    top = profiles.smoothed(0.0, SIDE_WIDTH * width)
    return top, np.stack([profiles.smoothed(sign * at * width, SIDE_WIDTH * width) for sign in (-1.0, 1.0)])


def _piecewise(top: Floats, both: Floats, counts: Flags, sums: Sums, at: float) -> Numbers:
    """Return, per piece, the gradient at either side over the summit's, less that of a lone step."""
    with np.errstate(divide="ignore", invalid="ignore"):
        whole = sums.of(top * counts)
        return np.stack([sums.of(side * counts) / whole for side in both]) - _lone(at)


def _lone(at: float) -> float:
    return float(np.exp(-(at**2) / (2 * (1.0 + SIDE_WIDTH**2))))
