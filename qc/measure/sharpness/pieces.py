"""Pieces: ridge points of one small block and direction, averaged into one blur with its error.

Gradients are summed over a piece before they are divided, so noise enters a ratio of sums, not a sum of ratios.
A piece counts only when most of its points stand alone, agree with each other within their noise, and give the
same blur at two pairs of scales; what fails is texture, and is counted as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.isolation import Sums, isolate
from qc.measure.sharpness.ridges import Profiles, smoothing_of_ridge
from qc.measure.sharpness.scale import (
    COARSE_BOTTOM,
    ENDLESS,
    FINE_TOP,
    FLOOR,
    TOP,
    invert,
    log_ratio_of,
    relative_error,
)

BLOCK = 16
"""Lattice steps along the side of a block."""

SECTORS = 8
"""Directions told apart, over the full turn."""

FEWEST = 4
"""Fewest ridge points of a piece."""

MOSTLY = 0.5
"""Part of a piece's points that must stand alone."""

AGREE = 0.3
"""Largest difference of ln σ between the two pairs of scales, beyond its noise."""

SCATTER = 0.05
"""Spread of ln R within a piece that is not noise: sampling phase and gentle curvature."""

SIGNIFICANT = 2.5
"""Standard errors that ln R must lie above 0: fewer, and the summit may be one that noise has chosen."""

STEADY = 0.8
"""Least part of its gradient that a soft ridge keeps after the largest re-blur; one of 5 px keeps 0.93."""

HEMMED = 1.7
"""What a step back beside a ridge takes off σ² in lattice steps², over the square of the departure at the nearer
look (computed for bars of 3 to 5 profile widths, blur 0.5 to 2.2 steps: 1.5 to 2.1)."""

EDGE, SOFT, TEXTURE, UNCLEAR = 0, 1, 2, 3
"""Kinds: isolated steps with a blur; softer than can be read; no isolated step; lost in the noise."""

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Pieces:
    """Pieces of ridge; arrays have a value per piece.

    Attributes
    ----------
    x, y : ndarray
        Mean place in the frame, px, sensor orientation.
    direction : ndarray
        Angle in radians of the line across the ridge, from +x towards +y, in [0, π).
    blur : ndarray
        σ, px; very large where nothing sharpens the ridge.
    error : ndarray
        Standard error of ln σ from noise.
    log_ratio, ratio_error, variance : ndarray
        ln R at the first two re-blurs, its standard error, and the lattice's known smoothing, steps².
    step : ndarray
        Pixels per lattice step.
    length : ndarray
        Length of ridge, px.
    near : ndarray
        Departure from a lone step's profile beside a ridge that is read on one side; NaN where none is.
    sector : ndarray of int
        Which of `SECTORS` light grows towards.
    kind : ndarray of int8
        `EDGE`, `SOFT`, `TEXTURE` or `UNCLEAR`.
    """

    x: Numbers
    y: Numbers
    direction: Numbers
    blur: Numbers
    error: Numbers
    log_ratio: Numbers
    ratio_error: Numbers
    variance: Numbers
    step: Numbers
    length: Numbers
    near: Numbers
    sector: NDArray[np.int64]
    kind: NDArray[np.int8]

    def __len__(self) -> int:
        return len(self.x)

    def take(self, keep: Flags | NDArray[np.intp]) -> Pieces:
        """Return the pieces that are to be kept."""
        return Pieces(**{f.name: getattr(self, f.name)[keep] for f in fields(self)})


def empty() -> Pieces:
    """Return no pieces at all."""
    none = np.zeros(0)
    numbers = {f.name: none for f in fields(Pieces) if f.name not in ("sector", "kind")}
    return Pieces(**numbers, sector=np.zeros(0, dtype=np.int64), kind=np.zeros(0, dtype=np.int8))


def join(parts: Sequence[Pieces]) -> Pieces:
    """Return the pieces of several lattices as one."""
    return Pieces(**{f.name: np.concatenate([getattr(p, f.name) for p in parts]) for f in fields(Pieces)})


def assemble(
    profiles: Profiles, x: NDArray[np.intp], y: NDArray[np.intp], *, variance: float, step: int, every: int
) -> Pieces:
    """Average ridge points into pieces.

    Parameters
    ----------
    profiles : Profiles
        Of one lattice.
    x, y : ndarray of int
        Place of each point in the frame, lattice steps.
    variance : float
        Known smoothing of the lattice's gradient, lattice steps².
    step : int
        Pixels per lattice step.
    every : int
        How many points each one stands for.

    Returns
    -------
    Pieces
        From the full lattice what reads up to `FINE_TOP`, from the coarse one what reads above it (edges from
        `COARSE_BOTTOM`), so that nothing is counted as texture twice.
    """
    sums, sector = _groups(x, y, np.arctan2(profiles.ny, profiles.nx))
    count = sums.count
    strengths = profiles.strengths()
    seen = isolate(profiles, strengths, sums, variance)
    points, whole = sums.of(seen.counts), sums.of(np.ones(len(x)))
    with np.errstate(divide="ignore", invalid="ignore"):
        s0, s1, s2 = (sums.of(s * seen.counts) for s in seen.strengths)
        base = seen.slope * s0
        log_ratio = np.log((s0 - base) / (s1 - base))
        ratio_error = _ratio_error(sums.of(profiles.noise**2 * seen.counts), s0, points)
        sigma2 = invert(np.exp(log_ratio), variance) + HEMMED * np.minimum(seen.near, 0.0) ** 2
        log_ratio = log_ratio_of(sigma2, variance)
        blur = np.sqrt(np.clip(np.nan_to_num(sigma2, nan=ENDLESS), (FLOOR / step) ** 2, None))
        error = relative_error(blur**2, variance, ratio_error)
        each = np.nan_to_num(np.log(seen.strengths[0] / seen.strengths[1])) * seen.counts
        off = (each - (sums.of(each) / points)[sums.group]) * seen.counts
        good = sums.of(off**2) / points < 3.0 * (ratio_error**2 * points + SCATTER**2)
        good &= seen.good & (points >= FEWEST / every) & (points >= MOSTLY * whole)
        good &= _scales_agree(sigma2, invert(s1 / s2, variance, 1, 2), error)
        clear = log_ratio > SIGNIFICANT * ratio_error
        all0, all1, all2 = (sums.of(s) for s in strengths)
        mixed = step * np.sqrt(np.maximum(invert(all0 / all1, variance), 0.0))
    blur *= step
    good &= np.isfinite(error) & (blur <= TOP)
    other_kind = np.where(
        (mixed > TOP) & ~seen.hemmed & (all2 > STEADY * all0), SOFT, np.where(clear, TEXTURE, UNCLEAR)
    )
    kind = np.where(good & clear, EDGE, other_kind).astype(np.int8)
    if step == 1:
        keep = np.where(kind == EDGE, blur <= FINE_TOP, mixed <= FINE_TOP)
    else:
        keep = np.where(kind == EDGE, blur >= COARSE_BOTTOM, mixed > COARSE_BOTTOM)
    turn = 2 * np.arctan2(profiles.ny, profiles.nx)
    span = np.where(kind == EDGE, sums.of(seen.counts / profiles.cosine), sums.of(1.0 / profiles.cosine))
    return Pieces(
        x=(sums.of(x) / whole + 0.5) * step - 0.5,
        y=(sums.of(y) / whole + 0.5) * step - 0.5,
        direction=np.arctan2(sums.of(np.sin(turn)), sums.of(np.cos(turn))) / 2 % np.pi,
        blur=blur,
        error=error,
        log_ratio=log_ratio,
        ratio_error=ratio_error,
        variance=np.full(count, variance),
        step=np.full(count, float(step)),
        length=span * step * every,
        near=np.where(seen.near != 0, seen.near, np.nan),
        sector=sector,
        kind=kind,
    ).take(keep & (whole >= FEWEST / every))


def _groups(x: NDArray[np.intp], y: NDArray[np.intp], turn: Numbers) -> tuple[Sums, NDArray[np.int64]]:
    """Divide points into pieces by block and direction; return also the direction of each piece."""
    sector = np.floor((turn / (2 * np.pi) + 0.5 / SECTORS) % 1.0 * SECTORS).astype(np.int64) % SECTORS
    key = ((y // BLOCK).astype(np.int64) * 100_000 + x // BLOCK) * SECTORS + sector
    names, group = np.unique(key, return_inverse=True)
    return Sums(group=group, count=len(names)), names % SECTORS


def prefer_coarse(fine: Pieces, coarse: Pieces) -> Pieces:
    """Join two lattices so that no ridge is counted twice.

    Where the coarse one reads an edge, what the full one makes of the same ridge is left out: a soft ridge has
    many summits there that only noise has made. What the coarse one cannot read counts only where the full one
    has nothing.
    """

    def names(pieces: Pieces) -> NDArray[np.int64]:
        side = BLOCK * 2
        return ((pieces.y // side).astype(np.int64) * 100_000 + (pieces.x // side).astype(np.int64)) * SECTORS + (
            pieces.sector
        )

    ours, theirs, edge = names(fine), names(coarse), coarse.kind == EDGE
    taken = np.isin(ours, theirs[edge])
    new = edge | (coarse.kind == SOFT) | ~np.isin(theirs, ours)
    return join([fine.take(~taken), coarse.take(new)])


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
