"""How many stops one frame lies above another, by position in the colour filter mosaic."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.frame import Frame
from qc.measure.ambient.pair import check_comparable
from qc.reading import Reading, Reason, Unit

SIDE = 8
"""Photosites of one position along the side of a tile."""

FEWEST = 16
"""Tiles that a median is taken over at least."""

MOST_AT_ZERO = 0.01
"""Part of a position's photosites that may stand at 0 DN where that is black. Tiles with a 0 are left out, and
those without are no fair choice: they are the ones that noise raised. In even light with 1 % at 0 they read 0.02
stop too bright (simulated, normal noise of 2 and 8 DN); with 3 % it is 0.05, with 8 % 0.14. The part is of the
whole frame, so dark places in a bright frame may hold more; as long as they are fewer than half of the tiles the
median does not follow them. None of this is in the ±."""

_MEDIAN_ERROR = 1.2533 * 1.4826
"""Standard error of a median of n normal values is 1.2533 σ / √n, and σ is 1.4826 × the median deviation."""


def position_ratio(a: Frame, b: Frame, *, low: float = 0.02, high: float = 0.95) -> tuple[Reading, ...]:
    """Return by how many stops `b` lies above `a`, for each position of the mosaic.

    The median over tiles of log2 of the ratio of their means, black subtracted. A tile counts where both means lie
    between `low` and `high` of the range from black to white and no photosite is at saturation or, where black is
    0, at 0: a file that cannot hold values below black raises the mean of what is cut off there.

    Parameters
    ----------
    a, b : Frame
        Mosaics of one body and size.
    low, high : float
        Parts of the range.

    Returns
    -------
    tuple of Reading
        ``ratio.row0_column0``, …, row by row of the pattern. 0: the same light; + when `b` is brighter. ± is two
        standard errors of the median and of the black level, added in quadrature. Reasons: ``too_dark``,
        ``clipped``, ``too_small``.

    Raises
    ------
    UsageError
        For frames that are no mosaics or cannot be compared.
    """
    check_comparable(a, b)
    if a.mosaic is None or b.mosaic is None or a.cfa is None:
        raise UsageError("ratios by position need two mosaics")
    rows, columns = a.cfa.shape
    return tuple(_ratio(a, b, row, column, low, high) for row in range(rows) for column in range(columns))


def _ratio(a: Frame, b: Frame, row: int, column: int, low: float, high: float) -> Reading:
    name = f"ratio.row{row}_column{column}"
    one, two = _Position(a, row, column), _Position(b, row, column)
    if not one.mean.size:
        return _none(name, "too_small", f"fewer than {SIDE} × {SIDE} photosites of the position")
    censored = max(one.at_zero, two.at_zero)
    if censored > MOST_AT_ZERO:
        return _none(name, "too_dark", f"{censored:.0%} of its photosites stand at 0, where black is cut off")
    above = (one.mean >= low) & (two.mean >= low) & ~one.any_at_zero & ~two.any_at_zero
    below = (one.mean <= high) & (two.mean <= high) & ~one.any_clipped & ~two.any_clipped
    count = int((above & below).sum())
    if count < FEWEST:
        dark = int((~above).sum()) >= int((~below).sum())
        text = f"{count} of {above.size} tiles lie between {low:.0%} and {high:.0%} of range in both frames"
        return _none(name, "too_dark" if dark else "clipped", text)
    first, second = one.mean[above & below], two.mean[above & below]
    stops = np.log2(second / first)
    middle = float(np.median(stops))
    scatter = _MEDIAN_ERROR * float(np.median(np.abs(stops - middle))) / np.sqrt(count)
    # one black level for both frames moves both means by the same amount
    error = max(a.black.uncertainty, b.black.uncertainty) / a.scale
    black = error * abs(float(np.median(1 / second - 1 / first))) / np.log(2.0)
    return Reading(name=name, unit=Unit.STOPS, value=middle, plus_minus=float(2.0 * np.hypot(scatter, black)))


class _Position:
    """Tiles of one position of one frame."""

    def __init__(self, frame: Frame, row: int, column: int) -> None:
        assert frame.mosaic is not None
        assert frame.cfa is not None
        rows, columns = frame.cfa.shape
        plane = _tiled(frame.mosaic[row::rows, column::columns])
        levels = frame.black.array()
        black = float(levels[row % levels.shape[0], column % levels.shape[1]])
        top = frame.saturation[frame.cfa.pattern[row][column]].level
        self.mean = (plane.mean(axis=1) - black) / frame.scale
        zero = plane == 0 if black <= 0 else np.zeros(plane.shape, dtype=bool)
        self.any_at_zero = zero.any(axis=1)
        self.at_zero = float(zero.mean()) if zero.size else 0.0
        self.any_clipped = plane.max(axis=1, initial=0) >= (black + frame.scale if top is None else top)


def _tiled(plane: NDArray[np.uint16]) -> NDArray[np.uint16]:
    """Return the photosites of each whole tile, shape (tiles, SIDE²)."""
    rows, columns = plane.shape[0] // SIDE, plane.shape[1] // SIDE
    parts = plane[: rows * SIDE, : columns * SIDE].reshape(rows, SIDE, columns, SIDE)
    return parts.transpose(0, 2, 1, 3).reshape(rows * columns, SIDE * SIDE)


def _none(name: str, code: str, text: str) -> Reading:
    return Reading(name=name, unit=Unit.STOPS, reason=Reason(code, text))
