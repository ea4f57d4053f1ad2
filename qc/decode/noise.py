"""Noise of a photosite by photon transfer: variance = K · signal + read noise² (EMVA 1288 Release 4 Linear).

Three ways, best first: two frames of one scene (the scene cancels), masked photosites (read noise only), one
frame (its plainest places). All use the Haar contrasts of 2×2 photosites of one colour; under white noise the
three contrasts of a block are independent and each has the photosite's variance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.frame import Frame, Noise
from qc.reading import Reason

Floats = NDArray[np.float64]

MOST = 1_600_000
"""Photosites sampled from a frame: enough for a few per cent, cheap at any size."""

QUARTER = 0.25
"""Part of the blocks of a level, the plainest, that the one-frame estimate uses."""

QUARTER_MEAN = 1.2711
"""Mean of the lowest quarter of a normal distribution is this many standard deviations under its mean: φ(z)/¼ at
z = Φ⁻¹(¼) (computed)."""

TEXTURE = 1.35
"""Ratio of coarse to fine contrast above which plain places are not plain: 1 for white noise."""

UNEVEN = 0.012
"""Largest fixed pattern of a photosite's response (PRNU, a fraction) that the fit may hold responsible."""

SPREAD = 0.12
"""Largest scatter of levels around the fitted line, relative."""

WELLS = (500.0, 2e6)
"""Electrons between black and white that a sensor can have; outside it the slope is implausible."""

FLOOR = 1.0 / 12.0
"""Quantisation alone, DN² (EMVA 1288, σ_q²)."""


@dataclass(frozen=True, slots=True)
class Blocks:
    """Blocks of one frame or pair, one entry a block and position of the pattern.

    Attributes
    ----------
    level : ndarray
        Mean over black, DN.
    fine, coarse : ndarray
        Mean square of the diagonal contrast, and of the two others; DN².
    top : ndarray
        Largest value in the block, DN as stored.
    quads : int
        2×2 groups in each block.
    """

    level: Floats
    fine: Floats
    coarse: Floats
    top: Floats
    quads: int


def sample(
    mosaic: NDArray[np.uint16], black: Floats, other: NDArray[np.uint16] | None = None, *, most: int = MOST
) -> Blocks:
    """Return evenly spread blocks of a mosaic, or of the difference of two divided by √2.

    Parameters
    ----------
    mosaic, other : ndarray of uint16, shape (rows, columns)
        DN.
    black : ndarray
        Black by position of the pattern or a multiple of it; its shape is taken as the period.
    most : int
        Photosites at most.
    """
    period = tuple(int(n) if n > 1 else 2 for n in black.shape)
    side = [p * (16 if mosaic.size > 2_000_000 and p <= 2 else 8) for p in period]
    count = [n // s for n, s in zip(mosaic.shape, side, strict=True)]
    if min(count) == 0:
        empty = np.empty(0)
        return Blocks(empty, empty, empty, empty, 1)
    thin = max(1.0, np.sqrt(count[0] * count[1] * side[0] * side[1] / most))
    picks = [np.unique(np.linspace(0, n - 1, max(1, round(n / thin))).astype(int)) for n in count]
    first = _gather(mosaic, side, count, picks)
    second = None if other is None else _gather(other, side, count, picks)
    levels = np.tile(black, (period[0] // black.shape[0], period[1] // black.shape[1]))
    parts = [_position(first, second, levels, y, x, period) for y in range(period[0]) for x in range(period[1])]
    level, fine, coarse, top = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Blocks(level, fine, coarse, top, (side[0] // period[0] // 2) * (side[1] // period[1] // 2))


def _gather(
    mosaic: NDArray[np.uint16], side: list[int], count: list[int], picks: list[NDArray[np.intp]]
) -> NDArray[np.uint16]:
    whole = mosaic[: count[0] * side[0], : count[1] * side[1]]
    return whole.reshape(count[0], side[0], count[1], side[1])[picks[0]][:, :, picks[1]]


def _position(
    first: NDArray[np.uint16],
    second: NDArray[np.uint16] | None,
    levels: Floats,
    y: int,
    x: int,
    period: tuple[int, ...],
) -> tuple[Floats, Floats, Floats, Floats]:
    values = first[:, y :: period[0], :, x :: period[1]].astype(np.float32)
    seen: NDArray[np.float32] = values
    if second is not None:
        partner = second[:, y :: period[0], :, x :: period[1]].astype(np.float32)
        seen, values = (values + partner) / np.float32(2), (values - partner) / np.float32(np.sqrt(2.0))
    top_left, top_right = values[:, 0::2, :, 0::2], values[:, 0::2, :, 1::2]
    low_left, low_right = values[:, 1::2, :, 0::2], values[:, 1::2, :, 1::2]
    down, up = top_left - low_right, top_right - low_left
    fine = ((top_left + low_right - top_right - low_left) / 2) ** 2
    axes = (1, 3)
    # The mean of the two other Haar contrasts, (down ± up)² / 4 each; an even slope of light is no detail.
    down, up = (c - c.mean(axis=axes, keepdims=True) for c in (down, up))
    count = down.shape[1] * down.shape[3]
    coarse = (down**2 + up**2) / np.float32(4 * (1 - 1 / count))
    flat = [a.mean(axis=axes, dtype=np.float64).ravel() for a in (seen, fine, coarse)]
    return flat[0] - levels[y, x], flat[1], flat[2], seen.max(axis=axes).ravel().astype(np.float64)


def noise_from_pair(a: Frame, b: Frame) -> Noise:
    """Return gain and read noise from two frames of the same scene, light and settings.

    The temporal variance is half the variance of the difference (EMVA 1288 R4, 6.6), taken from contrasts so that
    a small change of light between the two does not count. The line is fitted over all levels.

    Parameters
    ----------
    a, b : Frame
        Mosaics of one body, size and pattern.

    Returns
    -------
    Noise
        Source ``"pair"``; unknown with a reason when the levels span too little or do not lie on a line.

    Raises
    ------
    UsageError
        When the frames are not mosaics of the same size and pattern.
    """
    if a.mosaic is None or b.mosaic is None or a.mosaic.shape != b.mosaic.shape or a.cfa != b.cfa:
        raise UsageError("noise from a pair needs two mosaics of the same size and pattern")
    blocks = sample(a.mosaic, a.black.array(), b.mosaic, most=16 * MOST)
    return fit(blocks, cap=_cap(a), span=a.scale, source="pair", plainest=False)


def _cap(frame: Frame) -> float:
    levels = [s.level for s in frame.saturation if s.level is not None]
    top = min(levels) if levels else frame.scale + float(frame.black.array().mean())
    return 0.97 * top


def fit(
    blocks: Blocks,
    *,
    cap: float,
    span: float,
    source: str = "one frame",
    plainest: bool = True,
    read: float | None = None,
) -> Noise:
    """Fit variance against level.

    Parameters
    ----------
    blocks : Blocks
        From `sample`.
    cap : float
        DN as stored at and above which a block does not count.
    span : float
        White less black, DN: says which slopes are plausible.
    source : str
        As `Noise.source`.
    plainest : bool
        Use only the plainest quarter of the blocks of each level (one frame), or all of them (a pair).
    read : float or None
        Read noise known from masked photosites, DN: the line then starts there.

    Returns
    -------
    Noise
        Unknown, with the reason, when the levels span too little, when the scatter is too large, when plain
        places are not plain, or when the slope is implausible. Its `bound` is "at most" where nothing dark shows
        the read noise.
    """
    table = _levels(blocks, cap, plainest)
    if len(table) < (2 if read is not None else 4):
        return _unknown("too_few_levels", f"only {len(table)} levels of brightness have enough places")
    if read is None and table[-1, 0] < 3 * max(table[0, 0], 1.0):
        return _unknown("too_few_levels", "light and dark places are too alike to draw a line")
    if plainest and float(np.median(table[:, 3])) > TEXTURE:
        ratio = float(np.median(table[:, 3]))
        return _unknown("texture", f"fine detail everywhere: coarse contrast is {ratio:.1f} × the fine one")
    gain, floor, doubt, uneven, scatter = _line(table, read)
    if scatter > SPREAD:
        return _unknown("not_a_line", f"variance scatters {100 * scatter:.0f} % around the line of photon noise")
    if uneven > UNEVEN**2:
        return _unknown("texture", f"variance grows with the square of light ({100 * np.sqrt(uneven):.1f} %)")
    if gain <= 0 or not WELLS[0] <= span / gain <= WELLS[1]:
        return _unknown("implausible", f"a slope of {gain:.3g} DN per electron is no sensor's")
    # Without dark places the line leaves read noise open: then its upper end, so that no ± comes out too small.
    open_end = 2 * doubt if doubt > 0.2 * max(floor, FLOOR) else 0.0
    read_noise = float(np.sqrt(max(floor, 0.0) + max(open_end, FLOOR - max(floor, 0.0)))) if read is None else read
    bound: Literal["at most"] | None = "at most" if read is None and open_end > 0 else None
    return Noise(gain=float(gain), read_noise=read_noise, bound=bound, source=source)


def _levels(blocks: Blocks, cap: float, plainest: bool) -> Floats:
    """Return level, variance, its relative standard error, coarse over fine contrast; a row each brightness."""
    # Well under black there is no light but a cut: such blocks say nothing about noise.
    good = (blocks.top < cap) & (blocks.level > -3.0 * np.sqrt(np.maximum(blocks.fine, FLOOR)))
    level, fine, coarse = blocks.level[good], blocks.fine[good], blocks.coarse[good]
    if level.size < 64:
        return np.empty((0, 4))
    # Steps even in the square root of light: photon noise then spans each level alike.
    root = np.sqrt(np.maximum(level, 0.0))
    steps = np.linspace(0.0, root.max() * 1.0001, 17)
    which = np.digitize(root, steps)
    rows = [_level(level[at], fine[at], coarse[at], blocks.quads, plainest) for at in _groups(which)]
    return np.array([row for row in rows if row is not None]).reshape(-1, 4)


def _groups(which: NDArray[np.intp]) -> list[NDArray[np.intp]]:
    return [np.flatnonzero(which == value) for value in np.unique(which)]


def _level(
    level: Floats, fine: Floats, coarse: Floats, quads: int, plainest: bool
) -> tuple[float, float, float, float] | None:
    if level.size < 24:
        return None
    picked = np.arange(level.size)
    expected = 1.0
    if plainest:
        # Chosen by the coarse contrasts and measured by the fine one, which is independent of them: no bias.
        picked = np.argsort(coarse, kind="stable")[: max(8, int(QUARTER * level.size))]
        expected = 1.0 - QUARTER_MEAN / np.sqrt(quads)
        variance = float(fine[picked].mean())
        ratio = float(coarse[picked].mean()) / expected / max(variance, 1e-9)
        error = np.sqrt(2.0 / (quads * picked.size))
    else:
        both = (fine + 2 * coarse) / 3
        middle = np.median(both)
        picked = np.flatnonzero(both <= 8 * middle)  # something moved in the others
        variance, ratio = float(both[picked].mean()), 1.0
        error = np.sqrt(2.0 / (3 * quads * picked.size))
    return float(level[picked].mean()), variance, error, ratio


def _line(table: Floats, read: float | None) -> tuple[float, float, float, float, float]:
    """Return gain, variance at zero light, its doubt, squared fixed pattern (per light²), relative scatter."""
    x, y, error = table[:, 0], table[:, 1], table[:, 2]
    columns = [x, x**2] if read is not None else [x, np.ones_like(x), x**2]
    offset = read**2 if read is not None else 0.0
    best = _solve(columns[:-1], y - offset, error, y)
    curved = _solve(columns, y - offset, error, y)
    quadratic, doubt = curved[0][-1], curved[1][-1]
    use = curved if len(x) > len(columns) and quadratic > 4 * doubt else best
    solution = use[0]
    uneven = float(solution[-1]) if use is curved else 0.0
    fitted = np.column_stack(columns[: len(solution)]) @ solution + offset
    weight = 1.0 / (error**2 + 0.03**2)
    scatter = float(np.sqrt(np.average(((y - fitted) / np.maximum(y, 1e-9)) ** 2, weights=weight)))
    floor, unsure = (offset, 0.0) if read is not None else (float(solution[1]), float(use[1][1]))
    return float(solution[0]), floor, unsure, uneven, scatter


def _solve(columns: list[Floats], y: Floats, error: Floats, total: Floats) -> tuple[Floats, Floats]:
    """Weighted least squares, weights from the relative error of each variance; solution and standard errors."""
    sigma = np.maximum(total, FLOOR) * np.hypot(error, 0.005)
    matrix = np.column_stack(columns) / sigma[:, np.newaxis]
    solution, *_ = np.linalg.lstsq(matrix, y / sigma, rcond=None)
    covariance = np.linalg.pinv(matrix.T @ matrix)
    return solution, np.sqrt(np.maximum(np.diag(covariance), 0.0))


def _unknown(code: str, text: str) -> Noise:
    return Noise(reason=Reason(code, text))
