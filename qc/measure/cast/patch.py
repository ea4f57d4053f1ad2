"""The patch as light: its mean, how even it is, and whether it can serve as a reference at all."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame
from qc.measure._tiles import grid, masked_tile_means
from qc.reading import Reason
from qc.sheet.zones import Zone

FEWEST_CELLS = 36
"""Fewest cells: 12 × 12 photosites, so that a patch is at least the 11 × 11 px spot that Metamorfoze Preservation
Imaging Guidelines 1.0 (2012), 2.4, measures."""

MOST_CLIPPED = 0.5
"""Clipped cells from which a patch is refused, %. Our own choice: what is left is then cut from above."""

MOST_UNEVEN = 5.0
"""Unevenness from which a patch is refused, %: the evenness FADGI 2016 asks of two-star work, as standard
deviation over mean."""

GLARE = 0.10
"""Part by which the brightest tile of a patch exceeds its middle from which there is glare. Our own choice."""

MOST_DOUBT = 1.0
"""Standard error from noise alone, %, from which unevenness cannot be told and the patch is too dark. Our own
choice: a fifth of `MOST_UNEVEN`."""

_TILES = 8
_TILE_CELLS = 3
_LIT_TILE = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class Patch:
    """Mean light of a patch.

    Attributes
    ----------
    means : ndarray, shape (colours,)
        Mean light of the cells that are not clipped.
    cells : int
        How many cells that is.
    clipped : float
        Cells with a clipped photosite, %.
    unevenness : float or None
        Standard deviation of the light over the patch / mean, noise removed, %; None when it is too small to tell.
    glare : float
        How much brighter than the middle one the brightest tile is, above what noise explains; part of the middle.
    shade : float
        How much darker the darkest tile is.
    doubt : float
        Standard error of `unevenness` from noise alone, %.
    """

    means: NDArray[np.float64]
    cells: int
    clipped: float
    unevenness: float | None
    glare: float
    shade: float
    doubt: float

    @property
    def too_dark(self) -> bool:
        """Whether noise hides how even the patch is."""
        return self.doubt > MOST_DOUBT


def cut_patch(frame: Frame, zone: Zone, clipped_cells: Counts) -> Patch | Reason:
    """Take the light of a patch out of a frame.

    Parameters
    ----------
    frame : Frame
        The capture.
    zone : Zone
        Where the patch is.
    clipped_cells : ndarray of uint8, shape of a plane of `Frame.cells`
        Above 0 where a cell holds a clipped photosite.

    Returns
    -------
    Patch or Reason
        Reasons: ``outside_frame``, ``too_small``.
    """
    shape = frame.cells.shape[1], frame.cells.shape[2]
    window = zone.window(shape, frame.orientation)
    inside = zone.mask_in_window(shape, frame.orientation)
    total = int(inside.sum())
    if total == 0:
        return Reason("outside_frame", f"the zone {zone.name} holds no cell of the frame")
    if total < FEWEST_CELLS:
        return Reason("too_small", f"the patch holds {total} cells, {FEWEST_CELLS} are needed")
    burnt = (clipped_cells[window] > 0) & inside
    plain = inside & ~burnt
    cells = int(plain.sum())
    light = frame.cells[(slice(None), *window)]
    # float64: a mean over a million float32 cells would otherwise lose the third digit of a colour difference
    means = light[:, plain].mean(axis=1, dtype=np.float64) if cells else np.full(len(light), np.nan)
    unevenness, glare, shade, doubt = _evenness(light, plain, means) if cells else (None, 0.0, 0.0, 0.0)
    return Patch(
        means=np.asarray(means, dtype=np.float64),
        cells=cells,
        clipped=100.0 * (total - cells) / total,
        unevenness=unevenness,
        glare=glare,
        shade=shade,
        doubt=doubt,
    )


def _evenness(
    light: NDArray[np.float32], plain: NDArray[np.bool_], means: NDArray[np.float64]
) -> tuple[float | None, float, float, float]:
    """Return unevenness (worst colour, %), glare and shade (lightest colour), and the doubt noise leaves (%)."""
    tiles = grid((plain.shape[0], plain.shape[1]), long_side=_TILES, smallest=_TILE_CELLS)
    if tiles[0] * tiles[1] < 4:
        return None, 0.0, 0.0, 0.0
    per_tile = plain.size / (tiles[0] * tiles[1])
    worst: float | None = None
    glare = shade = worst_doubt = 0.0
    for index, (plane, mean) in enumerate(zip(light, means, strict=True)):
        if mean <= 0:
            continue
        ratio = (plane / np.float32(mean) - 1).astype(np.float32)
        first, fraction = masked_tile_means(ratio, plain, tiles)
        second, _ = masked_tile_means(np.square(ratio), plain, tiles)
        whole = fraction >= _LIT_TILE
        if int(whole.sum()) < 4:
            return worst, glare, shade, worst_doubt
        noise = np.maximum(second - np.square(first), 0)[whole] / (fraction[whole] * per_tile)
        spread = float(np.var(first[whole], ddof=1, dtype=np.float64) - noise.mean(dtype=np.float64))
        # of a variance estimated from n tiles: √(2 / (n − 1)) of itself
        unsure = float(noise.mean(dtype=np.float64)) * np.sqrt(2.0 / (int(whole.sum()) - 1))
        worst_doubt = max(worst_doubt, 100.0 * float(np.sqrt(unsure)))
        here = 100.0 * float(np.sqrt(max(0.0, spread)))
        worst = here if worst is None else max(worst, here)
        if index == int(np.argmax(means)):
            middle = float(np.median(first[whole]))
            doubt = 3 * np.sqrt(noise)
            glare = max(0.0, float((first[whole] - doubt).max()) - middle)
            shade = max(0.0, middle - float((first[whole] + doubt).min()))
    return worst, glare, shade, worst_doubt


def refusal(patch: Patch) -> Reason | None:
    """Return why a patch cannot serve as a reference, or None when it can.

    Returns
    -------
    Reason or None
        ``clipped``; ``too_dark`` when noise hides how even it is; ``glaring`` when one part is much brighter than
        the rest while no part is as much darker: a mirror of the light lies on it; ``uneven``.
    """
    if patch.clipped > MOST_CLIPPED or patch.cells < FEWEST_CELLS:
        return Reason("clipped", f"{patch.clipped:.1f} % of the patch is clipped")
    if patch.too_dark:
        return Reason("too_dark", f"noise alone makes {patch.doubt:.0f} % of unevenness in the patch")
    if patch.glare > GLARE and patch.glare > 2 * patch.shade:
        return Reason("glaring", f"a part of the patch is {100 * patch.glare:.0f} % brighter than its middle")
    if patch.unevenness is not None and patch.unevenness > MOST_UNEVEN:
        return Reason("uneven", f"the light on the patch varies by {patch.unevenness:.1f} %")
    return None
