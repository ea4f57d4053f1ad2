"""Whether ridges are steps that stand alone: what their profiles hold beside the summit.

A weave or a bar much narrower than its blur has, like an edge, a summit and a ratio; it differs in that a step
back follows within a few widths (`bars` reads those that are open to one side). Single points only drop out where
that is plain; the decision is made on sums over a piece, so that noise neither makes it nor selects what it is
made from.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.ridges import REACH, Profiles
from qc.measure.sharpness.scale import invert

SIDE_AT = 3.0
"""Where the sides are looked at, in widths σ of the ridge's own profile."""

SIDE_WIDTH = 0.6
"""σ of the weight there, in the same widths."""

ALONE = 0.18
"""Largest gradient at a clear side, over the ridge's own, less that of a lone step."""

UNLIKE = 0.08
"""Largest difference between the sides of a step that stands alone."""

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
    clear : ndarray of bool, per piece
        Whether the piece is a step that stands alone.
    half : ndarray of bool, per piece
        Whether one side at least is clear.
    alike : ndarray of bool, per piece
        Whether its sides are alike besides: it is no bar.
    hemmed : ndarray of bool, per piece
        Whether a step back stands at either side.
    slope : ndarray, per piece
        Part of the summit's gradient that belongs to a slope under the step: what both sides share.
    """

    counts: Flags
    clear: Flags
    half: Flags
    alike: Flags
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
    low, high = side.min(axis=0), side.max(axis=0)
    first, second = np.abs(side) < ALONE
    alike = high - low <= UNLIKE
    slope = np.where(~alike, 0.0, np.where(low > 0, low, np.where(high < 0, high, 0.0)))
    return Isolation(
        counts=counts,
        clear=first & second,
        half=first | second,
        alike=alike,
        hemmed=low < -ALONE,
        slope=np.nan_to_num(slope),
    )


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
