"""The set: three glazed stoneware bottles on a sweep, with a label, a card, a cloth and a pebble. Invented."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from qc.rehearse import _props
from qc.rehearse._bottle import Bottle, resize
from qc.rehearse._label import Label
from qc.rehearse._surface import FIELD_MM, RISE, Slice, View
from qc.rehearse._sweep import Sweep, make_sweep
from qc.rehearse.lights import LIGHTS
from qc.sheet.zones import Role, Zone

NEUTRAL_CARD = (50.0, 0.0, 0.0)
"""CIELAB (D50) of the card when nothing else is asked for."""

LABEL = Label(
    low=30.0,
    high=63.0,
    half_width=19.0,
    lines=(
        ("◆", 24.6, 8.0),
        ("ASH GLAZE", 16.6, 3.2),
        ("BOTTLE No. 27", 12.2, 1.8),
        ("thrown and fired by hand, cone 9", 9.2, 1.0),
        ("≡", 5.9, 3.0),
        ("batch 0412   0.5 l   do not heat", 3.1, 0.75),
    ),
)

MIDDLE = Bottle(
    name="middle bottle",
    x=-16.0,
    z=0.0,
    profile=(
        (0, 22.5),
        (3, 24.5),
        (30, 26),
        (62, 25.5),
        (76, 21),
        (86, 11.5),
        (94, 8.2),
        (108, 7.6),
        (112, 9.4),
        (116, 9.6),
    ),
    glaze=(0.50, 0.56, 0.52),
    label=LABEL,
)
BEHIND = Bottle(
    name="bottle behind",
    x=38.0,
    z=46.0,
    profile=((0, 17), (4, 20), (26, 25), (44, 22), (60, 12), (70, 7.5), (84, 7.0), (88, 8.8), (91, 9.0)),
    glaze=(0.33, 0.40, 0.50),
    dip=9.0,
)
BESIDE = Bottle(
    name="bottle beside",
    x=70.0,
    z=-30.0,
    profile=((0, 15), (3, 17.5), (20, 19), (34, 18), (42, 12), (47, 7.6), (56, 7.0), (59, 8.6), (62, 8.8)),
    glaze=(0.36, 0.235, 0.16),
    dip=8.0,
    speckles=140,
)

BOTTLES = (BEHIND, MIDDLE, BESIDE)
"""What stands on the set unless something else is asked for."""

CARD_ZONE = (-101.0, -79.5, 32.5, 50.5)
"""Left, right, low and high of the patch inside the card, picture plane, millimetres."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scene:
    """The set cut into pieces, ready for any mixture of light.

    Attributes
    ----------
    view : View
        Size and scale of the picture.
    lights : tuple of str
        Order of the last axis of every piece's light.
    sweep : Sweep
        What is behind everything.
    slices : tuple of Slice
        From far to near.
    """

    view: View
    lights: tuple[str, ...]
    sweep: Sweep
    slices: tuple[Slice, ...]


def make_scene(
    rows: int,
    columns: int,
    seed: int,
    card_lab: Sequence[float] = NEUTRAL_CARD,
    bottles: Sequence[Bottle] = BOTTLES,
) -> Scene:
    """Return the set at a picture size; the seed decides its grain, specks and unevenness."""
    view, lights = View(rows, columns), tuple(LIGHTS.values())
    streams = iter(np.random.default_rng(seed).spawn(5 + len(bottles)))
    bottles = sorted(bottles, key=lambda bottle: -bottle.z)
    things = (*(bottle.footprint() for bottle in bottles), *_props.footprints())
    sweep = make_sweep(view, lights, things, next(streams))
    pieces = (
        _props.cloth(view, lights, resize(sweep.diffuse, (rows, columns)), next(streams)),
        *(bottle.cut(view, lights, next(streams)) for bottle in bottles),
        _props.card(view, lights, card_lab, next(streams)),
        _props.pebble(view, lights, next(streams)),
    )
    return Scene(view=view, lights=tuple(LIGHTS), sweep=sweep, slices=pieces)


def zones(rows: int, columns: int) -> tuple[Zone, ...]:
    """Return the set's zones as a technician would draw them, fractions of the upright picture."""
    view, foot = View(rows, columns), MIDDLE.foot
    front = RISE * MIDDLE.widest
    low, high = foot + LABEL.low - front, foot + LABEL.high - front
    label = (MIDDLE.x - 15.5, MIDDLE.x + 15.5, low + 4, high - 1)
    seal = (MIDDLE.x - 14.5, MIDDLE.x + 14.5, low + 19.5, low + 30.0)
    shoulder = (MIDDLE.x - 24, MIDDLE.x + 24, foot + 57, foot + MIDDLE.height + 5)
    behind = (BEHIND.x - 20, BEHIND.x + 20, BEHIND.foot + 33, BEHIND.foot + 68)
    beside = (BESIDE.x - 16, BESIDE.x + 16, BESIDE.foot + 26, BESIDE.foot + 56)
    left, right, bottom, top = CARD_ZONE
    return (
        _box(view, "label", Role.PROTECT, label),
        _box(view, "seal", Role.SHARP, seal),
        _box(view, "shoulder and rim", Role.ALLOW, shoulder, budget=0.6),
        _box(view, "bottle behind", Role.ALLOW, behind, budget=0.3),
        _box(view, "bottle beside", Role.ALLOW, beside, budget=0.2),
        _box(view, "grey card", Role.PATCH, (left, right, bottom, top)),
        _box(view, "wall", Role.BACKDROP, (-FIELD_MM / 2, FIELD_MM / 2, 108.0, view.height_mm)),
    )


def _box(
    view: View, name: str, role: Role, edges: tuple[float, float, float, float], budget: float | None = None
) -> Zone:
    left, right, low, high = edges
    x0, y0 = view.fraction(left, high)
    x1, y1 = view.fraction(right, low)
    x0, y0, x1, y1 = (round(min(max(value, 0.0), 1.0), 4) for value in (x0, y0, x1, y1))
    return Zone.from_box(name, role, (x0, y0, round(x1 - x0, 4), round(y1 - y0, 4)), budget=budget)
