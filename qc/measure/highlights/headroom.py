"""How far the brightest light that is no glint stays under saturation."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame, Plane
from qc.measure._clipped import Clipped, at_cells
from qc.reading import Reason

SHARE = 0.001
"""Part of the cells that may be brighter: the 99.9th percentile."""

FEWEST = 100
"""Fewest cells that a percentile is taken of."""

RIM = 4
"""Cells around a clipped place that belong to its roll-off and are left out. Our own choice: 8 photosites, the
width of a specular edge at two pixels of blur."""

_SAMPLE = 200_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Brightness:
    """Brightest colour of every cell as a part of its saturation.

    Attributes
    ----------
    values : ndarray of float32, shape of a plane of `Frame.cells`
        3×3 median, so that specks under 5 cells do not count.
    specular : ndarray of uint8, same shape, or None
        Above 0 in clipped cells and their rims; None when nothing is clipped.
    """

    values: Plane
    specular: Counts | None


def light_at_saturation(frame: Frame) -> NDArray[np.float64]:
    """Return the light at which each colour saturates, shape (colours,); NaN where it is not known."""
    black = frame.black.array()
    levels = []
    for index, saturation in enumerate(frame.saturation):
        if saturation.level is None:
            levels.append(np.nan)
        elif frame.cfa is not None:
            repeat = tuple(int(np.lcm(a, b)) for a, b in zip(black.shape, frame.cfa.shape, strict=True))
            of_colour = _tiled(frame.cfa.array(), repeat) == index
            levels.append((saturation.level - float(_tiled(black, repeat)[of_colour].mean())) / frame.scale)
        else:
            levels.append((saturation.level - float(black.reshape(-1)[index % black.size])) / frame.scale)
    return np.array(levels, dtype=np.float64)


def _tiled(array: NDArray[np.generic], shape: tuple[int, ...]) -> NDArray[np.generic]:
    return np.tile(array, (shape[0] // array.shape[0], shape[1] // array.shape[1]))


def brightness(frame: Frame, found: Clipped, levels: NDArray[np.float64]) -> Brightness:
    """Return how bright every cell is against saturation.

    Parameters
    ----------
    frame : Frame
        With at least one cell.
    found : Clipped
        Its clipped cells.
    levels : ndarray, shape (colours,)
        Light at which each colour saturates.
    """
    brightest = None
    common = float(levels[0])
    for plane, level in zip(frame.cells, levels, strict=True):
        part = plane if level == common else plane * np.float32(common / level)
        brightest = part if brightest is None else cv2.max(brightest, part)
    values = np.asarray(cv2.medianBlur(np.ascontiguousarray(brightest), 3), dtype=np.float32)
    if common != 1.0:
        values *= np.float32(1 / common)
    specular = None
    if not found.none:
        kernel = np.ones((2 * RIM + 1, 2 * RIM + 1), dtype=np.uint8)
        specular = np.asarray(cv2.dilate(at_cells(frame, found.anywhere), kernel), dtype=np.uint8)
    return Brightness(values=values.reshape(frame.cells.shape[1:]), specular=specular)


def headroom(bright: Brightness, where: tuple[slice, slice], inside: NDArray[np.bool_] | None) -> float | Reason:
    """Return stops from the 99.9th percentile of the brightness up to saturation.

    Parameters
    ----------
    bright : Brightness
        Of the frame.
    where : (slice, slice)
        Window to look at.
    inside : ndarray of bool or None
        Cells of the window that count.

    Returns
    -------
    float or Reason
        Stops; 0 would be at saturation. Reasons: ``clipped`` when nearly all is clipped or specular,
        ``too_dark`` when the percentile is no light at all, ``too_small``.
    """
    values = bright.values[where]
    if values.size < FEWEST:
        return Reason("too_small", f"{values.size} cells, {FEWEST} are needed")
    counts = inside
    if bright.specular is not None:
        plain = bright.specular[where] == 0
        counts = plain if counts is None else counts & plain
    chosen = values.reshape(-1) if counts is None else values[counts]
    if chosen.size < FEWEST:
        return Reason("clipped", f"only {chosen.size} cells are neither clipped nor beside a clipped place")
    percentile = top_value(chosen, max(1, round(SHARE * chosen.size)))
    if percentile <= 0:
        return Reason("too_dark", "nothing is brighter than black")
    return float(-np.log2(percentile))


def top_value(values: NDArray[np.float32], rank: int) -> float:
    """Return the value that `rank` - 1 others exceed, without sorting all of them."""
    step = values.size // _SAMPLE
    if step > 1:
        sample = values[::step]
        # a sample's value at three times the rank lies below the true one for all but freak arrangements
        guess = min(sample.size - 1, 3 * rank // step + 50)
        bar = np.partition(sample, sample.size - 1 - guess)[sample.size - 1 - guess]
        above = values[values > bar]
        if above.size >= rank:
            values = above
    return float(np.partition(values, values.size - rank)[values.size - rank])
