"""Light of a capture on a few coarse tiles: what the folds of a day keep of each picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from qc.digest import Digest
    from qc.series.entry import Entry

Light = NDArray[np.float32]

LONG_SIDE = 16
"""Most tiles along the long side."""

CLIPPED = 0.9
"""Mean of one colour in a fine tile, as a part of full scale, from which it is taken to hold clipped light. Our
own choice: converters saturate at or a little under full scale."""

FLAT = 0.97
"""A fine tile inside a clipped region counts as clipped from this part of the region's brightest one on: clipped
light is flat, an object that a burnt backdrop surrounds is not. Our own choice."""

LEAST_OPEN = 0.9
"""Part of a coarse tile that must be free of clipping for its mean to say something. Our own choice."""

DARKEST = 2.0**-8
"""Light of a tile, as a part of full scale, under which its ratio to another says nothing: a black level that is
half a DN of 12 bits out makes an error of .05 stop there."""


def light_of(digest: Digest) -> Light | None:
    """Return the mean light of coarse tiles, all colours alike.

    Parameters
    ----------
    digest : Digest
        Of the capture.

    Returns
    -------
    ndarray of float32, shape (rows, columns), or None
        Upright, at most `LONG_SIDE` tiles along the long side, 1 is full scale; NaN where more than a tenth of a
        tile is clipped in some colour. None where the digest has no tiles.
    """
    from qc.measure._tiles import grid, masked_tile_means

    means = digest.tile_means
    if means.size == 0 or not np.isfinite(means).any():
        return None
    shape = means.shape[1], means.shape[2]
    closed: NDArray[np.bool_] = np.asarray((means >= CLIPPED).any(axis=0) | ~np.isfinite(means).all(axis=0))
    for inside, planes in _clipped_regions(digest, shape):
        closed |= (inside & (planes >= FLAT * planes[:, inside].max(axis=1)[:, None, None])).any(axis=0)
    grey = np.nan_to_num(means).mean(axis=0, dtype=np.float32)
    light, open_part = masked_tile_means(grey, ~closed, grid(shape, long_side=LONG_SIDE, smallest=1))
    return np.where(open_part >= LEAST_OPEN, light, np.float32(np.nan))


def median_of(entries: Sequence[Entry]) -> Light | None:
    """Return the median light of each tile over captures of one size; NaN where one of them says nothing.

    None where no capture has any light.
    """
    lights = [entry.light for entry in entries if entry.light is not None]
    lights = [light for light in lights if light.shape == lights[-1].shape]
    return np.median(np.stack(lights), axis=0).astype(np.float32) if lights else None


def _clipped_regions(digest: Digest, shape: tuple[int, int]) -> Iterator[tuple[NDArray[np.bool_], Light]]:
    """Yield for each clipped region the fine tiles inside its outer outline and the planes of its colours."""
    import cv2

    for region in digest.regions:
        colours = [digest.colours.index(letter) for letter in region.colours if letter in digest.colours]
        if region.what not in ("clipped", "burnt") or not region.outline or not colours:
            continue
        # a tile is inside when its centre is
        corners = np.array(region.outline) * (shape[1], shape[0]) - 0.5
        mask = np.zeros(shape, dtype=np.uint8)
        cv2.fillPoly(mask, [np.round(corners * 16).astype(np.int32)], 1, shift=4)
        if mask.any():
            yield mask.astype(bool), digest.tile_means[colours]
