"""Which photosites of a mosaic are clipped highlights, decided one by one before any averaging."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode.planes import BAND, in_bands, row_planes
from qc.frame import Cfa, Saturation

_REACH = 4
"""Photosites around a lone one that are looked at: a few px, more than any lens keeps a point of light within."""

_HOT_OVER = 4.0
"""Standard deviations of the brighter neighbours by which a lone photosite stands above them when it is hot. Of an
even surface those are 0.6 of the noise, 0.8 of it over its mean (half-normal): 3.2 of the noise itself."""

_A_FEW = 4
"""Neighbours that make a side of an edge."""

_AT_ONCE = 20_000
"""Lone photosites looked at together: bounds the memory of a noisy frame."""

_TAIL_SIDE = 7
"""Side of the window, in photosites of one position, over which light just under saturation is told apart."""

_TAIL_SHARE = 0.25
"""Share of clipped photosites in that window under which they may be the upper tail of noise."""

_CORE_SHARE = 0.5
"""Share from which the light itself reaches saturation: at saturation noise lifts half and lowers half."""

_TAIL_LEVEL = 0.95
"""The tail needs light: the window's mean must be this part of saturation, or it is the rim of a glint."""

_BLOCK = 16
"""Photosites along the side of the blocks by which clipped places are joined to one highlight."""


def clipped_photosites(
    mosaic: NDArray[np.uint16], cfa: Cfa, saturation: Sequence[Saturation]
) -> NDArray[np.uint8] | None:
    """Mark clipped photosites; hot photosites and the tail of noise are left out.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        DN.
    cfa : Cfa
        Its pattern.
    saturation : sequence of Saturation
        One a colour; a level of None marks nothing.

    Returns
    -------
    ndarray of uint8, shape (rows, columns), or None
        1 where clipped; None when nothing is.
    """
    limits = np.array([np.inf if s.level is None else s.level for s in saturation])
    if mosaic.size == 0 or mosaic.max() < limits.min():
        return None
    over = np.zeros(mosaic.shape, dtype=np.uint8)
    pattern = cfa.array()
    # No stored value reaches 65536, so a colour without a level marks nothing.
    whole = np.minimum(np.ceil(limits), 65536.0).astype(np.uint32)
    lines = np.tile(whole[pattern], (1, -(-mosaic.shape[1] // pattern.shape[1])))[:, : mosaic.shape[1]]
    narrow = lines.max() < 65536
    thresholds = lines.astype(np.uint16) if narrow else lines

    def mark(start: int, stop: int) -> None:
        for y in range(len(pattern)):
            rows = slice(start + (y - start) % len(pattern), stop, len(pattern))
            np.greater_equal(mosaic[rows], thresholds[y], out=over[rows].view(np.bool_))

    in_bands(mosaic.shape[0], BAND, mark)
    over = without_hot_photosites(over, mosaic, cfa, limits)
    over = without_noise_tail(over, mosaic, cfa, limits)
    return over if over.any() else None


def without_hot_photosites(
    over: NDArray[np.uint8], mosaic: NDArray[np.uint16], cfa: Cfa, limits: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Drop clipped photosites that stand alone, in light that does not reach saturation.

    A photosite is hot when no other within 4 px (9 × 9) is clipped and it stands above those of its colour there
    by more than their own noise explains. So it is dropped on dark and on bright surfaces alike; a lone clip among
    neighbours as noisy as that is kept, and so is one beside a true highlight. A lens spreads even a point of
    light over more than one photosite. What noise alone lifts to saturation is for `without_noise_tail` to tell.

    Parameters
    ----------
    over : ndarray of uint8, shape (rows, columns)
        1 where at or above saturation.
    mosaic : ndarray of uint16, shape (rows, columns)
        DN.
    cfa : Cfa
        Its pattern.
    limits : ndarray, shape (colours,)
        Saturation by colour, DN.

    Returns
    -------
    ndarray of uint8
        The same without those.
    """
    rows, columns = _alone(over)
    if rows.size == 0:
        return over
    pattern = cfa.array()
    hot = np.zeros(rows.shape, dtype=bool)
    for start in range(0, rows.size, _AT_ONCE):
        part = slice(start, start + _AT_ONCE)
        under = _neighbours_under(rows[part], columns[part], mosaic, pattern, limits)
        hot[part] = _stands_out(under)
    kept = over.copy()
    kept[rows[hot], columns[hot]] = 0
    return kept


def _neighbours_under(
    rows: NDArray[np.intp],
    columns: NDArray[np.intp],
    mosaic: NDArray[np.uint16],
    pattern: NDArray[np.intp],
    limits: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Return how far the neighbours of a photosite's colour lie under saturation, shape (any, photosites).

    NaN where the frame ends or the pattern has another colour.
    """
    colour = _colour_at(pattern, rows, columns)
    found = []
    for dy, dx in np.ndindex(2 * _REACH + 1, 2 * _REACH + 1):
        y, x = rows + dy - _REACH, columns + dx - _REACH
        same = _colour_at(pattern, y, x) == colour
        same &= (y >= 0) & (x >= 0) & (y < mosaic.shape[0]) & (x < mosaic.shape[1])
        if (dy, dx) == (_REACH, _REACH) or not same.any():
            continue
        under = np.full(rows.shape, np.nan)
        under[same] = limits[colour[same]] - mosaic[y[same], x[same]]
        found.append(under)
    return np.array(found).reshape(-1, rows.size)


def _stands_out(under: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Tell which photosites stand above the brighter of their neighbours by more than the noise of those."""
    # Beside an edge the darker side is no noise: the upper half of the range speaks, where it holds a few.
    seen = np.isfinite(under)
    # no DN is as large as these; of a photosite without neighbours nothing is known
    least = np.where(seen, under, np.inf).min(axis=0, initial=1e9)
    middle = (least + np.where(seen, under, -np.inf).max(axis=0, initial=-1e9)) / 2
    bright = seen & (under <= middle)
    chosen = np.where(bright.sum(axis=0) >= _A_FEW, bright, seen)
    number = chosen.sum(axis=0)
    values = np.where(chosen, under, 0.0)
    mean = values.sum(axis=0) / np.maximum(number, 1)
    spread = np.sqrt((np.where(chosen, under - mean, 0.0) ** 2).sum(axis=0) / np.maximum(number - 1, 1))
    return np.asarray((mean > _HOT_OVER * spread) & (number > 0))


def _colour_at(pattern: NDArray[np.intp], rows: NDArray[np.intp], columns: NDArray[np.intp]) -> NDArray[np.intp]:
    return pattern[rows % pattern.shape[0], columns % pattern.shape[1]]


def _alone(over: NDArray[np.uint8]) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Return rows and columns of clipped photosites without another within `_REACH`."""
    side = 2 * _REACH + 1
    found: list[NDArray[np.intp]] = []

    def look(start: int, stop: int) -> None:
        first, last = max(0, start - _REACH), min(len(over), stop + _REACH)
        part = over[first:last]
        if not part.any():
            return
        around = cv2.boxFilter(part, cv2.CV_8U, (side, side), normalize=False, borderType=cv2.BORDER_CONSTANT)
        mine = slice(start - first, stop - first)
        lone = over[start:stop].view(np.bool_) & (around[mine] == 1)
        rows, columns = np.divmod(np.flatnonzero(lone), lone.shape[1])
        found.append(np.stack([rows + start, columns], axis=-1))

    in_bands(len(over), BAND, look)
    places = np.concatenate(found) if found else np.empty((0, 2), dtype=np.intp)
    return places[:, 0], places[:, 1]


def without_noise_tail(
    over: NDArray[np.uint8], mosaic: NDArray[np.uint16], cfa: Cfa, limits: NDArray[np.float64]
) -> NDArray[np.uint8]:
    """Drop photosites that only noise lifts to saturation, where the light itself reaches it nowhere around.

    In light well over saturation every photosite clips, in light at saturation half of them, in light under it
    the few whose noise is large. A photosite is dropped when fewer than a quarter of the 7 × 7 at its own position
    of the pattern are clipped although their mean is at least 0.95 of saturation, and no place joined to it has
    half of them clipped: the fringe of a true highlight is kept.

    Parameters and return value as for `without_hot_photosites`.
    """
    pattern = cfa.array()
    lit = np.flatnonzero(over.any(axis=1))
    if lit.size == 0:
        return over
    # Only the rows that hold anything, from a whole pattern's start; the window reaches a little further.
    reach = _TAIL_SIDE * pattern.shape[0]
    first = int(max(0, lit[0] - reach) // pattern.shape[0] * pattern.shape[0])
    part = slice(first, int(lit[-1]) + reach + 1)
    found: list[_Position] = []

    def look(start: int, stop: int) -> None:
        for y in range(start, stop):
            for x, plane in enumerate(row_planes(over[part], y, (pattern.shape[0], pattern.shape[1]))):
                if plane.size == 0:
                    continue
                values = mosaic[part][y :: pattern.shape[0], x :: pattern.shape[1]]
                found.append(_Position.of(plane, values, (y, x), _TAIL_LEVEL * limits[pattern[y, x]]))

    in_bands(pattern.shape[0], 1, look)
    if not any(len(position.tail) for position in found):
        return over
    tail = np.concatenate([position.places(pattern.shape) for position in found])
    joined, true_ones = _joined(found, pattern.shape)
    drop = tail[~np.isin(joined[tuple(tail.T // _BLOCK)], true_ones)]
    kept = over.copy()
    kept[first + drop[:, 0], drop[:, 1]] = 0
    return kept


@dataclass(frozen=True, slots=True)
class _Position:
    """One position of the pattern: where it is clipped, how densely, and which of that may be tail."""

    at: tuple[int, int]
    plane: NDArray[np.uint8]
    count: NDArray[np.uint8]
    tail: NDArray[np.intp]

    @classmethod
    def of(
        cls, plane: NDArray[np.uint8], values: NDArray[np.uint16], at: tuple[int, int], least: float
    ) -> _Position:
        """Look at one position; the tail is where few around are clipped and their mean is at least `least`."""
        window = (_TAIL_SIDE, _TAIL_SIDE)
        count = cv2.boxFilter(plane, cv2.CV_8U, window, normalize=False, borderType=cv2.BORDER_REFLECT_101)
        few = plane.view(np.bool_) & (count < _TAIL_SHARE * _TAIL_SIDE**2)
        rows, columns = np.divmod(np.flatnonzero(few), few.shape[1])
        bright = _window_means(values, rows, columns) >= least
        return cls(
            at, plane, np.asarray(count, dtype=np.uint8), np.stack([rows[bright], columns[bright]], axis=-1)
        )

    def places(self, shape: tuple[int, ...]) -> NDArray[np.intp]:
        """Return rows and columns of the tail in the mosaic."""
        return self.tail * shape + self.at


def _joined(found: list[_Position], shape: tuple[int, ...]) -> tuple[NDArray[np.int32], NDArray[np.int32]]:
    """Return the number of the highlight that each block belongs to, and the numbers of those that have a core."""
    most = [max(n) for n in zip(*(np.array(p.plane.shape) * shape + p.at for p in found), strict=True)]
    blocks = (most[0] // _BLOCK + 1, most[1] // _BLOCK + 1)
    clipped, core = np.zeros(blocks, dtype=np.uint8), np.zeros(blocks, dtype=bool)
    for position in found:
        if not position.plane.any():
            continue
        rows, columns = np.divmod(np.flatnonzero(position.plane), position.plane.shape[1])
        at = (rows * shape[0] + position.at[0]) // _BLOCK, (columns * shape[1] + position.at[1]) // _BLOCK
        clipped[at] = 1
        dense = position.count[rows, columns] >= _CORE_SHARE * _TAIL_SIDE**2
        core[at[0][dense], at[1][dense]] = True
    _, numbers = cv2.connectedComponents(clipped, connectivity=8)
    joined = np.asarray(numbers, dtype=np.int32)
    return joined, np.unique(joined[core])


def _window_means(
    values: NDArray[np.uint16], rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> NDArray[np.float64]:
    """Return the mean of the window around each place; the edge repeats."""
    half = _TAIL_SIDE // 2
    total = np.zeros(rows.shape)
    for dy, dx in np.ndindex(_TAIL_SIDE, _TAIL_SIDE):
        y = np.clip(rows + dy - half, 0, values.shape[0] - 1)
        x = np.clip(columns + dx - half, 0, values.shape[1] - 1)
        total += values[y, x]
    return total / _TAIL_SIDE**2
