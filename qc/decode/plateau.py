"""A plateau in the histogram of one colour: where its photosites stop, under the tagged white level.

A tag often lies above the level at which photosites really stop (TRAPS 23). Above it there is then nothing, and at
it a pile: values that would have spread over all brighter light. A pile is a plateau when

* it is the top: nothing connected lies above it, a few scattered hot photosites aside;
* it stands out: its density is several times that just below it;
* it is connected: photosites of one colour side by side;
* it is narrower than photon noise lets an evenly lit surface be: its upper side is what counts, since clipped
  light of a rim lies below. A white sweep at 0.8 of range is a pile too, two-sided and as wide as photon noise.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CODES = 65536

FEW = 12
"""Photosites that do not make a plateau yet."""

LOWEST = 0.5
"""A plateau under this part of the tagged range is not believed."""

STANDS_OUT = 2.5
"""Density of a plateau over the density just below it."""

TOOTH = 4.0
"""Photosites of the highest tooth of a comb over those of the teeth below it, from which it may be a plateau."""

SUB_PHOTON = 0.6
"""A plateau's variance over the variance of an evenly lit surface of its level: at most this."""

WIDEST = 0.0015
"""Without a noise model: the widest plateau, as a part of its level. A photosite that holds 400,000 electrons,
more than any camera's, has that photon noise at saturation (1/√N)."""

MARGIN = 3.0
"""The threshold lies at most this many of the plateau's own standard deviations under its middle."""

FOOT = 0.0025
"""The part of a plateau's lower half that may lie under the threshold, where ordinary light leads up to it."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """A plateau of one colour, DN: middle, standard deviation, and the level at which it begins."""

    middle: float
    spread: float
    level: float


@dataclass(frozen=True, slots=True)
class Lit:
    """Variance of an evenly lit surface.

    Attributes
    ----------
    variance : float or None
        DN²; None when the frame shows nothing of it.
    modelled : bool
        Whether it comes from a noise model; else it only tells that the frame has noise or detail.
    """

    variance: float | None
    modelled: bool


def find_plateau(
    counts: Floats,
    joined: Floats,
    *,
    tag: float,
    black: float,
    variance: Callable[[float], Lit],
) -> Plateau | None:
    """Find the plateau of one colour, or None.

    Parameters
    ----------
    counts : ndarray, shape (65536,)
        Photosites of the colour by DN.
    joined : ndarray, shape (65536,)
        2×2 groups of neighbours of one position by their smallest DN: the histogram of connected light.
    tag, black : float
        Tagged white level and black, DN.
    variance : callable
        From a level to what is known of the variance of an evenly lit surface there.

    Returns
    -------
    Plateau or None
        None when the top of the histogram is no pile, is not connected, or is as wide as photon noise.
    """
    top = top_of(joined)
    if top is None or top - black < LOWEST * (tag - black):
        return None
    signal = top - black
    first, last = int(top - 0.02 * signal), min(CODES - 1, int(np.ceil(top + 0.002 * signal)))
    window = counts[first : last + 1]
    width = max(1, int(0.0004 * signal))
    smooth = np.convolve(window, np.ones(width), mode="same")
    peak = int(np.argmax(smooth))
    nearby = np.arange(max(0, peak - width), min(len(window), peak + width + 1))
    middle = first + float(_quantile(nearby, window[nearby], 0.5))
    spread = _upper_spread(counts, middle, signal)
    if not _stands_out(counts, middle, spread) or not _is_top(joined, middle, spread):
        return None
    if is_comb(counts, top) and not piles_up(counts, top):  # every tooth of a comb stands out
        return None
    lit = variance(middle)
    # Noise under one step of the converter cannot show what is lit and what is cut.
    noisy = spread > 0 if lit.variance is None else lit.variance >= 1.0
    widest = SUB_PHOTON * lit.variance if lit.modelled and lit.variance is not None else (WIDEST * signal) ** 2
    return Plateau(middle, spread, _foot(counts, middle, spread)) if noisy and spread**2 <= widest else None


def top_of(joined: Floats) -> float | None:
    """Return the highest DN that several connected groups reach; None when there are no such groups."""
    reached = np.flatnonzero(np.cumsum(joined[::-1])[::-1] >= FEW // 3)
    return float(reached[-1]) if reached.size else None


def _quantile(values: NDArray[np.intp], weights: Floats, share: float) -> float:
    total = np.cumsum(weights)
    return float(values[np.searchsorted(total, share * total[-1])])


def _upper_spread(counts: Floats, middle: float, signal: float) -> float:
    """Return the standard deviation of what lies above the middle: the 68 % point of a half-normal."""
    start = int(middle)
    above = counts[start : min(CODES, int(start + 0.03 * signal) + 2)].copy()
    above[0] *= 0.5  # half of what stands on the middle belongs to each side
    return _quantile(np.arange(len(above)), above, 0.6827) if above.sum() > 0 else 0.0


def _foot(counts: Floats, middle: float, spread: float) -> float:
    """Return where the plateau begins: where what lies over the density below it sums up to `FOOT` of its half."""
    first, last = int(np.floor(middle - MARGIN * spread)), int(middle)
    density = float(_below(counts, middle, spread).mean())
    excess = np.cumsum(counts[first : last + 1] - density)
    missing = np.flatnonzero(excess < FOOT * excess[-1])
    return float(first + (missing[-1] + 1 if missing.size else 0))


def _below(counts: Floats, middle: float, spread: float) -> Floats:
    end = int(middle - MARGIN * spread) - 1
    return counts[max(0, end - max(16, int(4 * spread))) : max(1, end)]


def _stands_out(counts: Floats, middle: float, spread: float) -> bool:
    low, high = int(middle - spread), int(np.ceil(middle + spread))
    pile = counts[low : high + 1]
    expected = float(_below(counts, middle, spread).mean()) * len(pile)
    excess = pile.sum() - expected
    # Counting noise of a thin histogram must not look like a pile.
    return bool(excess > FEW + 5 * np.sqrt(expected) and pile.sum() > STANDS_OUT * expected)


def _is_top(joined: Floats, middle: float, spread: float) -> bool:
    above = joined[int(middle + 5 * spread) + 2 :]
    return bool(above.sum() < FEW // 3)


def is_comb(counts: Floats, top: float) -> bool:
    """Tell whether codes are missing regularly up to `top`: values were scaled, or come from a table.

    Codes that many photosites have are followed by one that none has; with noise, never.
    """
    used = np.flatnonzero(counts[: int(top) + 1])
    many = np.flatnonzero(counts[used[:-1]] >= 8)
    return bool(many.size >= 8 and np.median(np.diff(used)[many]) >= 2)


def piles_up(counts: Floats, top: float) -> bool:
    """Tell whether the highest tooth of a comb stands over the teeth below it."""
    part = counts[: int(top) + 2]
    teeth = part[np.flatnonzero(part)][-9:]
    return bool(len(teeth) == 9 and max(teeth[-2:]) > TOOTH * max(1.0, float(np.median(teeth[:-2]))))
