"""Pieces: ridge points of one small block and direction, averaged into one blur with its error.

Gradients are summed over a piece before they are divided, so noise enters a ratio of sums, not a sum of ratios.
A piece counts only when most of its points stand alone, agree with each other within their noise, and give the
same blur at two pairs of scales, or when it is a bar; what fails is texture, and is counted as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.isolation import Isolation, Sums, isolate
from qc.measure.sharpness.ridges import Profiles
from qc.measure.sharpness.scale import COARSE_BOTTOM, FINE_TOP, TOP, invert
from qc.measure.sharpness.steps import Read, add_bars, lone_steps

BLOCK = 16
"""Lattice steps along the side of a block."""

SECTORS = 8
"""Directions told apart, over the full turn."""

FEWEST = 4
"""Fewest ridge points of a piece."""

FEWEST_OF_BAR = 3
"""The same for a bar, none of them left out."""

MOSTLY = 0.5
"""Part of a piece's points that must stand alone."""

SIGNIFICANT = 2.5
"""Standard errors that ln R must lie above 0: fewer, and the summit may be one that noise has chosen."""

STEADY = 0.8
"""Least part of its gradient that a soft ridge keeps after the largest re-blur; one of 5 px keeps 0.93."""

EDGE, SOFT, TEXTURE, UNCLEAR = 0, 1, 2, 3
"""Kinds: isolated steps with a blur; softer than can be read; no isolated step; lost in the noise."""

Numbers = NDArray[np.float64]
Floats = NDArray[np.float32]
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
    bar : ndarray of bool
        Whether it was read as the edge of a bar, not as a lone step.
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
    bar: Flags
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
    numbers = {f.name: none for f in fields(Pieces) if f.name not in ("bar", "sector", "kind")}
    return Pieces(
        **numbers,
        bar=np.zeros(0, dtype=bool),
        sector=np.zeros(0, dtype=np.int64),
        kind=np.zeros(0, dtype=np.int8),
    )


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
    strengths = profiles.strengths()
    seen = isolate(profiles, strengths, sums, variance)
    whole = sums.of(np.ones(len(x)))
    long = whole >= FEWEST / every
    read = lone_steps(profiles, seen, strengths, sums, variance, step)
    read.good &= seen.clear & (read.points >= np.maximum(FEWEST / every, MOSTLY * whole))
    tried = seen.half & long & (whole >= FEWEST_OF_BAR) & ~(read.good & seen.alike)
    add_bars(read, profiles, sums, variance, tried=tried, step=step)
    kind, mixed = _kinds(read, seen, strengths, sums, variance, step)
    if step == 1:
        keep = np.where(kind == EDGE, read.blur <= FINE_TOP, mixed <= FINE_TOP)
    else:
        keep = np.where(kind == EDGE, read.blur >= COARSE_BOTTOM, mixed > COARSE_BOTTOM)
    turn = 2 * np.arctan2(profiles.ny, profiles.nx)
    counts = seen.counts | read.bar[sums.group]
    span = np.where(kind == EDGE, sums.of(counts / profiles.cosine), sums.of(1.0 / profiles.cosine))
    return Pieces(
        x=(sums.of(x) / whole + 0.5) * step - 0.5,
        y=(sums.of(y) / whole + 0.5) * step - 0.5,
        direction=np.arctan2(sums.of(np.sin(turn)), sums.of(np.cos(turn))) / 2 % np.pi,
        blur=read.blur,
        error=read.error,
        log_ratio=read.log_ratio,
        ratio_error=read.ratio_error,
        variance=np.full(sums.count, variance),
        step=np.full(sums.count, float(step)),
        length=span * step * every,
        bar=read.bar,
        sector=sector,
        kind=kind,
    ).take(keep & long)


def _kinds(
    read: Read, seen: Isolation, strengths: Floats, sums: Sums, variance: float, step: int
) -> tuple[NDArray[np.int8], Numbers]:
    """Return the kind of each piece, and the blur that all of its points give together, px."""
    with np.errstate(divide="ignore", invalid="ignore"):
        clear = read.bar | (read.log_ratio > SIGNIFICANT * read.ratio_error)
        all0, all1, all2 = (sums.of(s) for s in strengths)
        mixed = step * np.sqrt(np.maximum(invert(all0 / all1, variance), 0.0))
    soft = (mixed > TOP) & ~seen.hemmed & (all2 > STEADY * all0)
    other = np.where(soft, SOFT, np.where(clear, TEXTURE, UNCLEAR))
    return np.where(read.good & clear, EDGE, other).astype(np.int8), mixed


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
