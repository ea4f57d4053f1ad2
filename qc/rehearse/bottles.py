"""Sets of glazed bottles for a rehearsed day: swapped, turned and moved from one to the next. Invented."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from qc.rehearse._bottle import Bottle
from qc.rehearse.scene import BEHIND, BESIDE, MIDDLE

GLAZES = (
    (0.50, 0.56, 0.52),  # ash green
    (0.33, 0.40, 0.50),  # slate blue
    (0.36, 0.235, 0.16),  # iron brown
    (0.74, 0.73, 0.70),  # white
    (0.045, 0.04, 0.04),  # black
    (0.55, 0.16, 0.10),  # copper red
)
"""Balanced camera RGB, from nearly white to nearly black: a swap changes much of the picture."""

PLACES_BEHIND = (38.0, 52.0, -64.0)
PLACES_BESIDE = (70.0, 62.0, 86.0)
"""x of the two smaller bottles, millimetres."""

Bottles = tuple[Bottle, ...]


def next_set(before: Bottles | None, rng: np.random.Generator) -> Bottles:
    """Return the bottles of the next set-up: others, or those of before turned or moved a little.

    The labelled bottle stays in the middle of the picture, so that one set sheet holds for the whole day.
    """
    if before is None or rng.random() < 0.5:
        return _swapped(rng)
    if rng.random() < 0.5:
        return tuple(replace(bottle, turn=float(rng.uniform(-0.12, 0.12))) for bottle in before)
    return tuple(_moved(bottle, rng) for bottle in before)


def _swapped(rng: np.random.Generator) -> Bottles:
    glazes = rng.permutation(len(GLAZES))
    middle = replace(_sized(MIDDLE, rng), glaze=GLAZES[glazes[0]], label=MIDDLE.label)
    behind = replace(_sized(BEHIND, rng), glaze=GLAZES[glazes[1]], x=float(rng.choice(PLACES_BEHIND)))
    beside = replace(_sized(BESIDE, rng), glaze=GLAZES[glazes[2]], x=float(rng.choice(PLACES_BESIDE)))
    around = [bottle for bottle in (behind, beside) if rng.random() < 0.8]  # sometimes one is taken away
    return (middle, *around)


def _sized(bottle: Bottle, rng: np.random.Generator) -> Bottle:
    """Return a bottle of the same kind thrown again: no two are quite alike."""
    wide = rng.uniform(0.97, 1.03)
    speckles = round(bottle.speckles * rng.uniform(0.2, 1.2))
    profile = tuple((height, float(radius * wide)) for height, radius in bottle.profile)
    return replace(bottle, profile=profile, speckles=speckles)


def _moved(bottle: Bottle, rng: np.random.Generator) -> Bottle:
    reach = 0.6 if bottle.label is not None else 4.0
    x, z = rng.uniform(-reach, reach, 2)
    return replace(bottle, x=float(bottle.x + x), z=float(bottle.z + z))
