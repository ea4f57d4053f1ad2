"""What the picture of one capture suggests for a sheet: zones that a person may take up or not.

Nobody but the photographer knows what is meant. So these are proposals, and `qc.sheet.write` puts them into a new
sheet behind ``#``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.measure._rectangle import largest_rectangle
from qc.reading import Box, Region
from qc.sheet.zones import Role

MOST = 4
"""Most burnt places that are proposed; more than that nobody reads through. Our own choice, as all here."""

LEAST_BURNT = 0.05
"""Area in % of the picture from which a burnt place is worth a proposal."""

MIDDLE = (0.35, 0.35, 0.3, 0.3)
"""Where the product usually stands; what is burnt there is not proposed as meant."""

ROOM = 0.01
"""Part of the sides that a zone is wider than the burnt place on each side: the next frame is shifted."""

BUDGET = 1.1, 0.05
"""A budget is the burnt area times the first, and at least the second above it, % of the picture."""

LEAST_BACKDROP = 12.0
"""Area in % of the picture from which an even place is taken for a backdrop."""

RANGE = 1.0
"""Stops under the bright end of the picture that a backdrop may have."""

STEP = 0.15
"""Most stops from one tile of a backdrop to the next."""

DIMMEST = 0.05
"""Light as a part of full scale under which nothing is called bright."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proposal:
    """One zone that a person may want.

    Attributes
    ----------
    name : str
        Unique among the proposals.
    role : Role
        ``allow`` or ``backdrop``.
    box : tuple of float
        Left, top, width, height as fractions of the upright picture.
    budget : float or None
        For ``allow``, % of the picture.
    why : str
        What was seen there.
    """

    name: str
    role: Role
    box: Box
    budget: float | None = None
    why: str


def propose(digest: Digest) -> tuple[Proposal, ...]:
    """Return the zones that a capture suggests.

    Parameters
    ----------
    digest : Digest
        Of the capture.

    Returns
    -------
    tuple of Proposal
        ``allow`` for its larger burnt places that keep clear of the middle of the picture, largest first, with a
        budget a little above what is burnt; then ``backdrop`` for the largest even bright rectangle.
    """
    return (*_allowed(digest.regions), *_backdrop(digest.tile_means))


def budget_for(area: float) -> float:
    """Return the budget of a zone where so much is burnt now; both in % of the picture."""
    budget = math.ceil(max(area * BUDGET[0], area + BUDGET[1]) * 100 - 1e-6) / 100
    return min(budget, 100.0)


def meet(one: Box, other: Box) -> bool:
    """Tell whether two boxes have more than an edge in common."""
    return all(one[i] < other[i] + other[i + 2] and other[i] < one[i] + one[i + 2] for i in (0, 1))


def _allowed(regions: Sequence[Region]) -> Iterator[Proposal]:
    burnt = [region for region in regions if region.what in ("clipped", "burnt")]
    larger = sorted((r for r in burnt if r.area >= LEAST_BURNT), key=lambda region: -region.area)
    boxes = [box for box in map(_wider, (r.box for r in larger)) if not meet(box, MIDDLE)]
    for number, box in enumerate(boxes[:MOST], 1):
        area = sum(region.area for region in burnt if meet(region.box, box))
        yield Proposal(
            name=f"highlight {number}",
            role=Role.ALLOW,
            box=box,
            budget=budget_for(area),
            why=f"burnt {area:.2f} % of the picture here",
        )


def _wider(box: Box) -> Box:
    left, top = (max(0.0, round(v - ROOM, 3)) for v in box[:2])
    right, bottom = min(1.0, box[0] + box[2] + ROOM), min(1.0, box[1] + box[3] + ROOM)
    return left, top, _size(left, right), _size(top, bottom)


def _size(low: float, high: float) -> float:
    """Round a side to what a sheet shows, so that the far edge stays inside the picture."""
    return math.floor((high - low) * 1000 + 1e-6) / 1000


def _backdrop(light: NDArray[np.float32]) -> Iterator[Proposal]:
    even = _even(light.mean(axis=0))
    if even is None:
        return
    top, left, bottom, right = largest_rectangle(even)
    rows, columns = even.shape
    area = 100.0 * (bottom - top) * (right - left) / (rows * columns)
    if area < LEAST_BACKDROP:
        return
    x, y = math.ceil(left / columns * 1000) / 1000, math.ceil(top / rows * 1000) / 1000
    yield Proposal(
        name="backdrop",
        role=Role.BACKDROP,
        box=(x, y, _size(x, right / columns), _size(y, bottom / rows)),
        why=f"bright and even over {area:.0f} % of the picture",
    )


def _even(light: NDArray[np.float32]) -> NDArray[np.bool_] | None:
    """Tell which tiles are bright and like their neighbours; None of a picture without bright ones."""
    known = light[np.isfinite(light)]
    if known.size == 0 or (bright := float(np.percentile(known, 98))) < DIMMEST:
        return None
    stops = np.log2(np.maximum(np.nan_to_num(light), DIMMEST / 1024))
    even = stops >= math.log2(bright) - RANGE
    for axis in (0, 1):
        rough = np.abs(np.diff(stops, axis=axis)) > STEP
        pads = [(0, 0), (0, 0)]
        for side in ((1, 0), (0, 1)):
            pads[axis] = side
            even &= ~np.pad(rough, pads)
    return even
