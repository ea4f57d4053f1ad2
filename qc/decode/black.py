"""Black: the level of no light, measured where light cannot reach when there is such a place.

A camera shields some photosites at the sensor's border. Their mean is the black of this very frame, at its
temperature and shutter time; a tag is the maker's figure for all of them (DNG 1.7.1.0, BlackLevel, MaskedAreas).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded, Window
from qc.frame import Black
from qc.reading import Finding

_LEAK = 4
"""Photosites left out along each edge of a masked area: light and charge leak in there (TRAPS 25)."""

_ENOUGH = 256
"""Fewest masked photosites worth a mean."""

_MOST = 400_000
"""Photosites of one area that are looked at; more add nothing to the mean."""

TAG_UNCERTAINTY = 0.5
"""Standard error of a tagged level in DN: tags are whole numbers, and the maker's figure for all frames."""


@dataclass(frozen=True, slots=True)
class _Half:
    """One half of a masked area: mean by position of the pattern, spread, photosites."""

    levels: NDArray[np.float64]
    spread: float
    count: int


def black_of(decoded: Decoded) -> tuple[Black, NDArray[np.float64], tuple[Finding, ...]]:
    """Decide the black of a frame.

    Masked photosites win over the tag. Their mean is robust (values within 4 of their own spread of the median),
    by position of the pattern, over the inner part of each area. Its uncertainty is the disagreement of the
    areas' halves and the standard error of the mean.

    Parameters
    ----------
    decoded : Decoded
        Any kind of file.

    Returns
    -------
    black : Black
        Levels by position of the pattern, or of the tag's larger repeat.
    read_noise : ndarray, shape (0,) or (1,)
        Standard deviation of the masked photosites, DN; empty where there are none.
    findings : tuple of Finding
        ``black_differs``, ``black_clipped``, ``black_unknown``.
    """
    if decoded.kind == "rendered":
        return Black(levels=_rows(decoded.black), source="none", uncertainty=0.0), np.empty(0), ()
    tagged = _tagged(decoded)
    halves = _believable(decoded, tagged) if decoded.kind == "mosaic" else []
    if not halves:
        return *_without_mask(decoded, tagged), _clipped(decoded, tagged)
    weights = np.array([half.count for half in halves], dtype=np.float64)
    levels = np.average([half.levels for half in halves], axis=0, weights=weights)
    shifts = np.array([float((half.levels - levels).mean()) for half in halves])
    spread = float(np.median([half.spread for half in halves]))
    error = spread / np.sqrt(weights.sum() / levels.size)
    disagreement = float(np.sqrt(np.average(shifts**2, weights=weights)))
    uncertainty = float(np.hypot(error, disagreement))
    findings = _differs(decoded, tagged, levels, uncertainty)
    if tagged.size > levels.size:  # the tag knows a finer pattern than the mask can show: keep its shape
        levels = tagged + float(levels.mean() - tagged.mean())
    black = Black(levels=_rows(levels), source="masked pixels", uncertainty=uncertainty)
    return black, np.array([spread]), (*findings, *_clipped(decoded, levels))


def _tagged(decoded: Decoded) -> NDArray[np.float64]:
    """Return tagged levels in the shape of the pattern, or of their own repeat where that is larger."""
    if decoded.cfa is None:
        return np.asarray(decoded.black, dtype=np.float64)
    shape = tuple(int(np.lcm(a, b)) for a, b in zip(decoded.black.shape, decoded.cfa.shape, strict=True))
    levels = np.tile(decoded.black, (shape[0] // decoded.black.shape[0], shape[1] // decoded.black.shape[1]))
    rows, columns = decoded.cfa.shape
    folded = np.tile(levels[:rows, :columns], (shape[0] // rows, shape[1] // columns))
    return levels[:rows, :columns] if np.array_equal(folded, levels) else levels


def _without_mask(decoded: Decoded, tagged: NDArray[np.float64]) -> tuple[Black, NDArray[np.float64]]:
    if decoded.black_tagged:
        black = Black(levels=_rows(tagged), source=decoded.black_source, uncertainty=TAG_UNCERTAINTY)
        return black, np.empty(0)
    # Black lies somewhere between 0 and the darkest thing seen: a uniform distribution of that width.
    row, column, rows, columns = decoded.visible
    seen = decoded.data[row : row + rows : 4, column : column + columns : 4]
    darkest = float(np.percentile(seen, 0.1)) if seen.size else 0.0
    uncertainty = max(TAG_UNCERTAINTY, darkest / np.sqrt(12.0))
    return Black(levels=_rows(tagged), source="none", uncertainty=uncertainty), np.empty(0)


def _believable(decoded: Decoded, tagged: NDArray[np.float64]) -> list[_Half]:
    """Return halves of the masked areas that hold darkness: narrow, alike, and at the foot of the picture."""
    assert decoded.cfa is not None
    areas = [_halves(decoded, window, decoded.cfa.shape) for window in decoded.masked]
    areas = [halves for halves in areas if halves]
    if not areas:
        return []
    quietest = max(1.0, min(half.spread for halves in areas for half in halves))
    row, column, rows, columns = decoded.visible
    seen = decoded.data[row : row + rows : 8, column : column + columns : 8]
    foot = float(np.percentile(seen, 1.0)) if seen.size else 0.0
    reach = 0.02 * (decoded.white - float(tagged.mean()))
    kept: list[_Half] = []
    for halves in areas:
        level = float(np.mean([half.levels.mean() for half in halves]))
        spread = max(half.spread for half in halves)
        near_tag = not decoded.black_tagged or abs(level - float(tagged.mean())) <= reach
        if near_tag and level <= foot + 3 * spread + 1 and spread <= 4 * quietest:
            kept += halves
    return kept


def _halves(decoded: Decoded, window: Window, pattern: tuple[int, int]) -> list[_Half]:
    """Return the inner part of one masked area in two halves along its long side; empty when too small."""
    top, left, rows, columns = window
    trim_rows, trim_columns = min(_LEAK, rows // 4), min(_LEAK, columns // 4)
    top, left, rows, columns = (
        top + trim_rows,
        left + trim_columns,
        rows - 2 * trim_rows,
        columns - 2 * trim_columns,
    )
    if rows * columns < 2 * _ENOUGH:
        return []
    if rows >= columns:
        parts = [(top, left, rows // 2, columns), (top + rows // 2, left, rows - rows // 2, columns)]
    else:
        parts = [(top, left, rows, columns // 2), (top, left + columns // 2, rows, columns - columns // 2)]
    found = [_half(decoded.data, part, decoded.visible, pattern) for part in parts]
    return [half for half in found if half is not None]


def _half(data: NDArray[np.generic], part: Window, visible: Window, pattern: tuple[int, int]) -> _Half | None:
    top, left, rows, columns = part
    step = max(1, int(np.ceil(rows * columns / _MOST)))
    levels, spreads, count = np.empty(pattern), [], 0
    for y, x in np.ndindex(*pattern):
        # first photosite of the area that stands at this position of the visible area's pattern
        first_row = top + (y + visible[0] - top) % pattern[0]
        first_column = left + (x + visible[1] - left) % pattern[1]
        values = data[first_row : top + rows : pattern[0] * step, first_column : left + columns : pattern[1]]
        if values.size < _ENOUGH // (pattern[0] * pattern[1]):
            return None
        flat = values.astype(np.float64).ravel()
        middle = np.median(flat)
        spread = max(1.0, 1.4826 * float(np.median(np.abs(flat - middle))))
        kept = flat[np.abs(flat - middle) <= 4 * spread]
        levels[y, x] = kept.mean()
        spreads.append(float(kept.std()))
        count += kept.size
    return _Half(levels, float(np.median(spreads)), count)


def _differs(
    decoded: Decoded, tagged: NDArray[np.float64], levels: NDArray[np.float64], uncertainty: float
) -> tuple[Finding, ...]:
    if not decoded.black_tagged:
        return ()
    measured, stated = float(levels.mean()), float(tagged.mean())
    if abs(measured - stated) <= uncertainty:
        return ()
    text = f"masked photosites read {measured:.1f} DN where the file states {stated:g}: the measured black is used"
    data = {"measured": measured, "tag": stated, "uncertainty": uncertainty}
    return (Finding(code="black_differs", text=text, data=data),)


def _clipped(decoded: Decoded, levels: NDArray[np.float64]) -> tuple[Finding, ...]:
    """Say when darkness was cut off at 0, so that a mean over dark places reads too bright."""
    if decoded.kind != "mosaic" or any(f.code == "black_clipped" for f in decoded.findings):
        return ()
    row, column, rows, columns = decoded.visible
    seen = decoded.data[row : row + rows : 2, column : column + columns]
    share = 1.0 - int(np.count_nonzero(seen)) / seen.size if seen.size else 0.0
    findings: list[Finding] = []
    if share > 0.001 and float(levels.mean()) < 1.0:
        text = f"{100 * share:.1f} % of photosites are exactly 0: black was cut off, dark places read too bright"
        findings.append(Finding(code="black_clipped", text=text, data={"share": share}))
    elif not decoded.black_tagged and float(levels.mean()) == 0.0:
        text = "the file states no black and has no masked photosites: 0 stands in, dark places read too bright"
        findings.append(Finding(code="black_unknown", text=text))
    return tuple(findings)


def _rows(levels: NDArray[np.float64]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(float(v) for v in row) for row in np.atleast_2d(levels))
