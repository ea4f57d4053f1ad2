"""Whether a head fired in the dark frame: light nearly as bright as in the lit one, and of its colour.

A room lies many stops under the flash (common practice, no published source), and seldom in the flash's own
colour. Where a part of the picture that can be seen is within two stops of the flash in its colour, the dark frame
is no measure of the room, and advice about its lamps would be wrong.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.measure.ambient.light import VISIBLE, Light, Pair
from qc.measure.ambient.source import at_place, ninth
from qc.measure.ambient.tiles import Tiles
from qc.reading import Finding, Reason

Array = NDArray[np.float64]

HEAD_FIRED = 2.0
"""Stops under the flash above which light of the flash's colour in the dark frame is suspect. Our own choice."""

PART = 0.05
"""Part of the tiles that can be seen from which it counts: a small head lights this much; a lamp in the picture or
a window seldom does. Our own choice."""

SAME_COLOUR = 0.03
"""Part by which the ratios of two colours may differ and the colour be the same."""

_WHITE = 1.5
"""Ratio between the colours of a pooled light, each over the flash's, up to which it may be flash: from tungsten
to flash there is a factor of 3 between red and blue, from one glaze to the next less. Our own choice."""


def like_flash(pair: Pair, tiles: Tiles, neutral: Array | Reason) -> Finding | None:
    """Return the finding that a head may have fired in the dark frame, or None.

    Parameters
    ----------
    pair, tiles : Pair, Tiles
        The frames and their means.
    neutral : ndarray, shape (colours,), or Reason
        Camera values of the flash's white; where they are not known, whiteness is not asked for.

    Returns
    -------
    Finding or None
        ``dark_like_flash``; `data` holds the ``percent`` of the visible picture and the ``place``.
    """
    if len(tiles.lit) < 2 or not tiles.open().any():
        return None  # a monochrome sensor cannot tell a lamp from a head
    seen = tiles.open() & (tiles.lit[pair.colour] > VISIBLE)
    where = seen & _alike(pair, tiles)
    share = float(where.sum() / max(int(seen.sum()), 1))
    if share < PART or not _white(tiles, where, neutral):
        if not _all_alike(pair.light(tiles, tiles.open()), pair.colour):
            return None
        where, share = seen, 1.0
    place = ninth(where, pair.lit.orientation) if share < 0.5 else ""
    part = f"{100 * share:.0f} % of what can be seen, most of it {at_place(place)}," if place else "the picture"
    text = (
        f"looks like a flash: a head may have fired in the dark frame; {part} is within {HEAD_FIRED:g} stops of "
        "the flash and has its colour. Switch every trigger off and shoot the dark frame again; if nothing "
        "changes, light of that colour is in the room"
    )
    data = {"percent": round(100 * share, 1), "place": place or None}
    return Finding(code="dark_like_flash", text=text, data=data)


def _alike(pair: Pair, tiles: Tiles) -> NDArray[np.bool_]:
    """Tell which tiles are nearly as bright in the dark frame, in every colour to the same part."""
    lit = np.maximum(tiles.lit, 1e-9)
    ratio = tiles.dark / lit
    error = 2.0 * np.hypot(np.sqrt(tiles.dark_variance), pair.black_error) / lit
    bright = ratio[pair.colour] - error[pair.colour] > 1.0 / (1.0 + 2.0**HEAD_FIRED)
    differ = ratio.max(axis=0) - ratio.min(axis=0)
    return np.asarray(bright & (differ < SAME_COLOUR * ratio[pair.colour] + 2.0 * error.max(axis=0)))


def _white(tiles: Tiles, where: NDArray[np.bool_], neutral: Array | Reason) -> bool:
    """Tell whether the light may be flash by its own colour: beside a dead head any lamp is all there is."""
    if isinstance(neutral, Reason):
        return True
    pooled = tiles.dark[:, where].sum(axis=1) / neutral
    return bool(pooled.min() > 0 and pooled.max() < _WHITE * pooled.min())


def _all_alike(light: Light, colour: int) -> bool:
    """Tell whether all of the ambient light together is as bright as that and of the flash's colour."""
    flash, ambient = float(light.flash[colour]), float(light.ambient[colour])
    if flash <= 0 or flash >= ambient * 2.0**HEAD_FIRED:
        return False
    ratios = light.ambient / light.flash
    return bool(np.ptp(ratios) < SAME_COLOUR * ratios[colour])
