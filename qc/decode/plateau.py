"""A plateau in the histogram of one colour: where its photosites stop, under the tagged white level.

A tag often lies above the level at which photosites really stop (TRAPS 23). Above it there is then nothing, and at
it a pile: values that would have spread over all brighter light. A pile is a plateau when

* it is the top: nothing connected lies above it, a few scattered hot photosites aside;
* it is connected: photosites of one colour side by side;
* no light can make it, whatever the scene: it holds more photosites than photon noise leaves together.

The last is a bound, not a matter of taste. Any light, seen through noise of standard deviation σ, has a histogram
h that is a mixture of normal distributions of that σ, one each tone. For one of them h(m−e) · h(m+e) / h(m)² is
exp(−e²/σ²); for a box-averaged one it is at least that; and for any mixture it is at least the least of its parts
(Cauchy–Schwarz). So with A, B and C photosites in three bins side by side, each e wide, B ≤ √(A · C · exp(e²/σ²))
holds for every scene without clipping: a white sweep, a print, a gradient, cloth. What B holds beyond that was
piled up by the sensor.

Where a plateau is as wide as photon noise itself nothing in a histogram can tell it from an evenly lit surface:
it is then no plateau. On a soft plateau the photosites that were not cut, but stand among the levels of those that
were, cannot be told from them: they count as clipped. Their number is the density of light just under saturation
times the plateau's half width: on a shallow gradient some tenths of a per cent of the frame.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CODES = 65536

FEW = 4
"""Pairs of neighbours that nothing connected has fewer of."""

LOWEST = 0.5
"""A plateau under this part of the tagged range is not believed."""

TOOTH = 4.0
"""Photosites of the highest tooth of a comb over those of the teeth below it, from which it may be a plateau."""

SUB_PHOTON = 0.6
"""Part of the modelled variance that the bound is drawn with, so that an estimate too large makes no plateau."""

LEAST_NOISE = 0.0015
"""Without a noise model: the least photon noise as a part of the signal. A photosite that holds 400,000 electrons,
more than any camera's, has that at saturation (1/√N)."""

SURE = 4.5
"""Standard errors by which a pile must break the bound: some twenty photosites where little else is as bright."""

LIKELY = 2.0
"""Standard errors from which a colour's pile may add to that of another at the same level."""

BIN = 1.2
"""Width of the bins of the bound in standard deviations: there a soft plateau stands out most (computed)."""

MARGIN = 3.0
"""The threshold lies at most this many of the plateau's own standard deviations under its middle."""

FOOT = 0.0025
"""The part of a plateau's lower half that may lie under the threshold, where ordinary light leads up to it."""


@dataclass(frozen=True, slots=True)
class Plateau:
    """A plateau of one colour, DN: middle, standard deviation, the level at which it begins, standard errors."""

    middle: float
    spread: float
    level: float
    sure: float = SURE

    @property
    def width(self) -> float:
        """Full width: twice from where it begins to its middle."""
        return 2.0 * (self.middle - self.level)


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
        Pairs of neighbours of one position by their smaller DN: the histogram of connected light.
    tag, black : float
        Tagged white level and black, DN.
    variance : callable
        From a level to what is known of the variance of an evenly lit surface there.

    Returns
    -------
    Plateau or None
        None when the top of the histogram is no pile, is not connected, or photon noise can make it. One of little
        sureness is left to `agreed`.
    """
    top = top_of(joined)
    if top is None or top - black < LOWEST * (tag - black):
        return None
    if is_comb(counts, top) and not piles_up(counts, top):  # every tooth of a comb stands out
        return None
    signal = top - black
    lit = variance(top)
    modelled = lit.modelled and lit.variance is not None
    sigma = np.sqrt(SUB_PHOTON * lit.variance) if modelled and lit.variance else LEAST_NOISE * signal
    middle, sure = _pile(counts, top, signal, float(sigma))
    if sure < LIKELY:
        return None
    # The top code cuts the upper side of a plateau off; the lower one then speaks for both.
    spread = _upper_spread(counts, middle, signal) if middle < tag - 1 else _lower_spread(counts, middle, signal)
    if not _is_top(joined, middle, spread) or not _noisy(counts, middle, spread, lit):
        return None
    return Plateau(middle, spread, _foot(counts, middle, spread), sure)


def _pile(counts: Floats, top: float, signal: float, sigma: float) -> tuple[float, float]:
    """Return the middle of the pile at the top, and how surely no light makes it through noise of `sigma`."""
    reach = max(0.01 * signal, 2.0 * sigma)
    width = max(1, round(BIN * sigma))
    centre, sure = _most_piled(counts, top - reach, top + reach, width, (width / sigma) ** 2)
    middle = _middle(counts, int(top), max(1, round(BIN * LEAST_NOISE * signal)))
    return middle, sure if abs(middle - centre) <= 1.5 * width else 0.0


def _most_piled(counts: Floats, low: float, high: float, width: int, squared: float) -> tuple[int, float]:
    """Return where between two levels the bound is broken most surely, and by how many standard errors.

    The bound in its linear form, B ≤ ½ exp(½e²/σ²) · (t·A + C/t) for every t; `squared` is e²/σ². With the t that
    makes the right side least its standard error is that of counts.
    """
    first, last = max(0, int(low)), min(CODES - 1, int(np.ceil(high)))
    centres = np.arange(first, last + 1)
    total = np.concatenate([np.zeros(1), np.cumsum(counts[max(0, first - 2 * width) : last + 2 * width + 2])])
    starts = centres - width // 2 - max(0, first - 2 * width)

    def held(shift: int) -> Floats:
        ends = np.clip([starts + shift, starts + shift + width], 0, len(total) - 1)
        return np.asarray(total[ends[1]] - total[ends[0]], dtype=np.float64)

    below, inside, above = held(-width), held(0), held(width)
    tilt = np.sqrt((above + 1) / (below + 1))
    half = 0.5 * np.exp(0.5 * squared)
    excess = inside - half * (tilt * below + above / tilt)
    error = np.sqrt(inside + half**2 * (tilt**2 * (below + 1) + (above + 1) / tilt**2))
    sure = excess / error
    best = int(np.argmax(sure))
    return int(centres[best]), float(sure[best])


def _middle(counts: Floats, top: int, width: int) -> float:
    """Return the level that half of the pile at the top reaches, less the ordinary light that leads up to it."""
    high = min(CODES, top + 2 * width + 1)
    reached = np.cumsum(counts[:high][::-1])[::-1]
    end = int(np.flatnonzero(reached >= FEW)[-1])
    low = max(0, end - 3 * width)
    density = float(counts[max(0, low - 2 * width) : max(1, low)].mean())
    middle = float(end)
    for _ in range(4):  # the light that leads up to the pile ends in its middle
        pile = max(float(FEW), reached[low] - density * (middle - low))
        middle = float(low + np.flatnonzero(reached[low : end + 1] >= 0.5 * pile)[-1])
    return middle


def _noisy(counts: Floats, middle: float, spread: float, lit: Lit) -> bool:
    """Tell whether the frame has noise that a pile can be told by: at least one step of the converter."""
    if lit.variance is not None:
        return lit.variance >= 1.0
    under = counts[int(0.97 * middle) : int(middle)]
    return bool(spread > 0 or np.count_nonzero(under) > 0.5 * len(under))


def agreed(found: Sequence[Plateau | None]) -> list[Plateau | None]:
    """Keep the plateaus that are sure: by themselves, or together with those of other colours at the same level.

    A small glint leaves few photosites of each colour, but all at the level where the sensor stops.
    """
    known = [p for p in found if p is not None]

    def together(plateau: Plateau) -> float:
        near = [p.sure**2 for p in known if abs(p.middle - plateau.middle) <= max(2.0, p.width / 2)]
        return float(np.sqrt(sum(near)))

    return [p if p is not None and together(p) >= SURE else None for p in found]


def top_of(joined: Floats) -> float | None:
    """Return the highest DN that several connected groups reach; None when there are no such groups."""
    reached = np.flatnonzero(np.cumsum(joined[::-1])[::-1] >= FEW)
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


def _lower_spread(counts: Floats, middle: float, signal: float) -> float:
    """Return the same of what lies below the middle, over the density further down."""
    width = max(1, round(2 * BIN * LEAST_NOISE * signal))
    start, stop = max(0, int(middle) - width), int(middle)
    density = float(counts[max(0, start - width) : max(1, start)].mean())
    at_top = float(counts[stop:].sum())
    below = np.cumsum(counts[start:stop][::-1] - density)
    # as much lies below the middle as on and above it, where the plateau is soft at all
    if below.size == 0 or below[-1] < 0.1 * at_top:
        return 0.0
    return float(1 + np.flatnonzero(below >= 0.6827 * below[-1])[0])


def _foot(counts: Floats, middle: float, spread: float) -> float:
    """Return where the plateau begins: where what lies over the density below it sums up to `FOOT` of its half."""
    first, last = int(np.floor(middle - MARGIN * spread)), int(middle)
    density = float(_below(counts, middle, spread).mean())
    excess = np.cumsum(counts[first : last + 1] - density)
    chance = np.sqrt(density * np.arange(1, len(excess) + 1))  # counting noise of the light that leads up to it
    missing = np.flatnonzero(excess < np.maximum(FOOT * excess[-1], chance))
    return float(first + (missing[-1] + 1 if missing.size else 0))


def _below(counts: Floats, middle: float, spread: float) -> Floats:
    end = int(middle - MARGIN * spread) - 1
    return counts[max(0, end - max(16, int(4 * spread))) : max(1, end)]


def _is_top(joined: Floats, middle: float, spread: float) -> bool:
    above = joined[int(middle + 5 * spread) + 2 :]
    return bool(above.sum() < FEW)


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
