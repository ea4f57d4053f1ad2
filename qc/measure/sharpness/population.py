"""From pieces of ridge to the blur of a zone: its sharpest sizeable population.

Pieces are weighed by their length, never by their gradient, so that a strong soft shadow beside fine sharp
detail does not own the zone. The density of ln σ is smoothed by each piece's own error; the lowest of its
maxima that holds a sizeable part of all ridge length is taken, and the ratios of the pieces in it are averaged.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.measure.sharpness.pieces import EDGE, TEXTURE, UNCLEAR, Pieces
from qc.measure.sharpness.scale import FINE_TOP, FLOOR, TOP, invert

SIZEABLE = 0.15
"""Part of the ridge length that a population must hold."""

SHORTEST = 40.0
"""Least ridge length of a population, px."""

FEWEST = 4
"""Fewest pieces of a population."""

WIDTH = 0.12
"""Least smoothing of the density, in ln σ."""

CLEAN = 0.5
"""Part of the ridge length around a piece that must be edges for it not to be a chance hit in texture."""

FAINT = 0.2
FAINTER = 0.5
"""Part of all ridge length of a wider area that must be clean edges; the latter where pieces are `NOISY`."""

REGION = 256
"""Side of the wider area, px: a cloth in one corner of the frame says nothing of the label in another."""

NOISY = 0.3
CLEANER = 0.7
"""Where single pieces have more than this error in ln σ, noise decides which of them pass: this part must."""

CROWDED = 0.75
LIMIT = 0.9
SWAMPED = 8.0
"""Where ridges that crowd each other are longer together than `CROWDED` times the population, its blur is believed
up to `LIMIT` px only, and beyond `SWAMPED` times not at all: of crowded ridges those pass as edges that look
sharpest, or a shadow beside them does. Found on printed letters of 16 to 110 px at 8 to 80 % contrast, blur 0.6 to
3 px, with and without a shadow beside."""

NEIGHBOURHOOD = 64
"""Side of the area that "around" means, px."""

COARSE_SHARE = 0.25
"""Part of a population, by length, that the coarse lattice must have read to stand for it alone."""

SURE = 1.5
"""Standard errors of a single piece that a blur from the full lattice must lie below `FINE_TOP`."""

CALIBRATION = 0.02
"""Standard error of ln σ that no averaging removes: departures of real spreads from the model."""

PRINT = 0.08
"""The same for a population of bars alone: strokes that bend, end and differ (strokes of 2 to 6 px, blur 0.6 to
2 px: the median of the departures is 4 %, the largest 17 %)."""

DIAGONAL = np.deg2rad(3.5)
ALIAS = 1.0
ALIAS_FALL = 2.6
"""An edge within `DIAGONAL` of 45° crosses all rows of a mosaic's green at one phase, √2 px apart; the error of
ln σ that this leaves is `ALIAS` · exp(−`ALIAS_FALL` σ²): analytic edges of 0.5, 0.8 and 1.2 px at six phases."""

Numbers = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, kw_only=True)
class Population:
    """The sharpest sizeable population of a place.

    Attributes
    ----------
    blur : float
        σ, px.
    error : float
        Standard error of ln σ.
    spread : float
        Standard deviation of ln σ between its pieces, noise taken off.
    length : float
        Ridge length, px.
    sure : bool
        False when it comes from the full lattice and single pieces are too noisy to tell it from blurs that
        the full lattice cannot read: what passes is then a choice of the sharpest.
    """

    blur: float
    error: float
    spread: float
    length: float
    sure: bool


def clean_edges(pieces: Pieces) -> Pieces:
    """Return the edges that do not lie in texture."""
    row = (pieces.y // NEIGHBOURHOOD).astype(np.int64)
    column = (pieces.x // NEIGHBOURHOOD).astype(np.int64)
    _, place = np.unique(row * 100_000 + column, return_inverse=True)
    edge = pieces.kind == EDGE
    counted = edge | (pieces.kind == TEXTURE) | (pieces.kind == UNCLEAR)

    def around(values: Numbers | Flags) -> Numbers:
        return np.asarray(np.bincount(place, weights=pieces.length * values), dtype=np.float64)

    edges, all_ = around(edge), np.maximum(around(counted), 1e-9)
    noisy = around(edge * np.nan_to_num(pieces.error, posinf=1.0)) > NOISY * edges
    good = edges / all_ >= np.where(noisy, CLEANER, CLEAN)
    clean = edge & good[place]
    _, region = np.unique((pieces.y // REGION) * 10_000 + pieces.x // REGION, return_inverse=True)
    length, kept = np.bincount(region, weights=pieces.length * counted), pieces.length * clean
    whole = np.bincount(region, weights=kept)
    noisy = np.bincount(region, weights=kept * np.nan_to_num(pieces.error, posinf=1.0)) > NOISY * whole
    enough = whole >= np.where(noisy, FAINTER, FAINT) * length
    return pieces.take(clean & enough[region])


def sharpest(edges: Pieces, *, shortest: float = SHORTEST, fewest: int = FEWEST) -> Population | None:
    """Return the sharpest sizeable population, or None when there is too little.

    Parameters
    ----------
    edges : Pieces
        From `clean_edges`.
    shortest : float
        Least ridge length, px.
    fewest : int
        Fewest pieces.
    """
    if len(edges) < fewest or edges.length.sum() < shortest:
        return None
    centres = np.linspace(np.log(FLOOR), np.log(1.2 * TOP), 121)
    logs, width = np.log(edges.blur), np.hypot(WIDTH, np.minimum(edges.error, 1.0))
    some = slice(None, None, max(1, len(edges) // 2000))
    z = (centres[:, np.newaxis] - logs[some]) / width[some]
    density = (np.exp(-0.5 * z * z) / width[some]) @ edges.length[some]
    peaks = np.flatnonzero((density >= np.roll(density, 1)) & (density >= np.roll(density, -1)))
    needed = max(SIZEABLE * float(edges.length.sum()), shortest)
    for peak in peaks:
        inside = np.abs(logs - centres[peak]) < 0.25 + 1.5 * edges.error
        if edges.length[inside].sum() >= needed and np.count_nonzero(inside) >= fewest:
            found = _pool(edges.take(inside))
            if found.sure:
                return found
            coarse = edges.take(inside & (edges.step > 1))
            enough = len(coarse) >= 2 and coarse.length.sum() >= COARSE_SHARE * edges.length[inside].sum()
            return _pool(coarse) if enough else None
    return None


def crowded(pieces: Pieces, found: Population) -> bool:
    """Tell whether so much beside a population cannot be read that its blur is not that of the sharpest detail."""
    texture = float(pieces.length[pieces.kind == TEXTURE].sum())
    return texture > (CROWDED if found.blur > LIMIT else SWAMPED) * found.length


def _pool(edges: Pieces) -> Population:
    """Average the ratios of pieces that belong together; ln R has symmetric noise where ln σ has not."""
    sigma2, weight = np.zeros(0), np.zeros(0)
    inverse = 0.0
    for step in np.unique(edges.step):
        part = edges.take(edges.step == step)
        # capped weights: no single strong piece may own the mean
        w = part.length / (part.ratio_error**2 + 0.02**2)
        mean = float(np.average(part.log_ratio, weights=w))
        sigma2 = np.append(sigma2, step**2 * invert(np.exp(np.array(mean)), float(part.variance[0])))
        weight = np.append(weight, part.length.sum())
        inverse += float(np.sum(1.0 / part.error**2))
    blur = float(np.exp(np.average(0.5 * np.log(np.maximum(sigma2, FLOOR**2)), weights=weight)))
    off = np.log(edges.blur) - np.log(blur)
    scatter = float(np.average(off**2, weights=edges.length))
    noise = float(np.average(np.minimum(edges.error, 1.0) ** 2, weights=edges.length))
    share = edges.length / edges.length.sum()
    diagonal = float(share[np.abs(edges.direction % (np.pi / 2) - np.pi / 4) < DIAGONAL].sum())
    phase = diagonal * ALIAS * float(np.exp(-ALIAS_FALL * blur**2))
    bars = PRINT * float(share[edges.bar].sum())
    between = scatter * float(np.sum(share**2))
    return Population(
        blur=blur,
        error=float(np.sqrt(max(between, 1.0 / inverse) + CALIBRATION**2 + phase**2 + bars**2)),
        spread=float(np.sqrt(max(scatter - noise, 0.0))),
        length=float(edges.length.sum()),
        sure=bool((edges.step > 1).mean() > 0.5 or np.log(FINE_TOP / blur) > SURE * np.median(edges.error)),
    )
