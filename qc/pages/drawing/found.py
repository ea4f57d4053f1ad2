"""What the measurements found in a capture, as zones to take with one click.

Nobody but the photographer knows what is meant: that a place is offered as ``allow`` says that it is burnt, not
that it may be.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.digest import Digest
from qc.frame import Frame
from qc.measure._card import cards
from qc.measure._rectangle import largest_rectangle
from qc.measure.sharpness.map import SHARP_FACTOR, SHARP_ROOM
from qc.pages.drawing.around import Mask, Points, along_tiles, around, within
from qc.reading import Box, Region
from qc.result import Result
from qc.sheet.propose import MIDDLE, ROOM, budget_for, meet, propose
from qc.sheet.zones import Role
from qc.words import counted

MOST_BURNT = 6
"""Most burnt places that are offered, the largest. Our own choice, as all here."""

LEAST_BURNT = 0.01
"""Burnt area in % of the picture from which a place is offered."""

FEWEST_SHARP = 3
"""Fewest sharp tiles that make a place."""

_SIDE = 800
"""Pixels along the long side of the picture that burnt places are drawn in."""

_ROOM = round(ROOM * _SIDE)
"""Of these pixels, the room that a zone has around a burnt place."""

_KEPT = 2
"""Of these pixels, the part of the room that stays however few corners a zone has."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """A place that may be taken as a zone; it has either a box or points.

    Attributes
    ----------
    what : str
        ``"burnt"``, ``"sharp"``, ``"grey"`` or ``"even"``.
    name : str
        Unique among those of a capture.
    role : Role
        The role it is offered as.
    box : tuple of float or None
        Left, top, width, height, fractions of the upright picture.
    points : tuple of (x, y) or None
        Corners of a polygon that does not cross itself, fractions of the upright picture.
    budget : float or None
        For ``allow``, % of the picture.
    why : str
        What was seen there, one clause.
    """

    what: Literal["burnt", "sharp", "grey", "even"]
    name: str
    role: Role
    box: Box | None = None
    points: Points | None = None
    budget: float | None = None
    why: str


def found(frame: Frame, result: Result) -> tuple[Found, ...]:
    """Return the places of a capture that may be wanted as zones.

    Parameters
    ----------
    frame : Frame
        The capture.
    result : Result
        Of the same capture; of one without a digest only cards are found.

    Returns
    -------
    tuple of Found
        Burnt places, largest first; the sharp plane; grey cards; an even backdrop.
    """
    digest = result.digest
    if digest is None:
        return tuple(_grey(frame))
    best = result.reading("sharpness.best_blur")
    sharp = None if best is None or best.value is None else _sharp(digest, best.value)
    return (*_burnt(digest), *((sharp,) if sharp else ()), *_grey(frame), *_even(digest))


@dataclass(frozen=True, slots=True)
class _Group:
    """Burnt places near each other: how many, their area in % of the picture, and where they are.

    `place` is the group with its room, in a picture of `_SIDE`; `held` is the part that a zone must not cut.
    """

    count: int
    area: float
    box: Box
    place: Mask
    held: Mask


def _burnt(digest: Digest) -> Iterator[Found]:
    groups = [group for group in _groups(digest) if group.area >= LEAST_BURNT]
    for number, group in enumerate(sorted(groups, key=lambda group: -group.area)[:MOST_BURNT], 1):
        why = f"burnt {group.area:.2f} % of the picture in {counted(group.count, 'place')}"
        if meet(group.box, MIDDLE):
            why += ", in the middle: allow it only if it is meant"
        points = around(group.place, group.held, _ROOM)
        yield Found(
            what="burnt",
            name=f"highlight {number}",
            role=Role.ALLOW,
            box=None if points else group.box,
            points=points,
            budget=budget_for(group.area),
            why=why,
        )


def _groups(digest: Digest) -> Iterator[_Group]:
    """Yield the burnt places, those together that a zone with room around one would touch."""
    import cv2

    regions = [region for region in digest.regions if region.what in ("clipped", "burnt") and region.outline]
    if not regions:
        return
    width, height = digest.full_size
    long = max(width, height)
    shape = max(2, round(_SIDE * height / long)), max(2, round(_SIDE * width / long))
    outlines = [_pixels(region, shape) for region in regions]
    burnt = cv2.fillPoly(np.zeros(shape, dtype=np.uint8), outlines, 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _ROOM + 1, 2 * _ROOM + 1))
    contours, _ = cv2.findContours(cv2.dilate(burnt, kernel), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    held = np.asarray(cv2.dilate(burnt, np.ones((2 * _KEPT + 1, 2 * _KEPT + 1), dtype=np.uint8)))
    for contour in contours:
        inside = cv2.drawContours(np.zeros(shape, dtype=np.uint8), [contour], 0, 1, cv2.FILLED)
        own = [r for r, line in zip(regions, outlines, strict=True) if inside[line[0, 1], line[0, 0]]]
        x, y, columns, rows = cv2.boundingRect(contour)
        yield _Group(
            count=len(own),
            area=sum(region.area for region in own),
            box=within((x / shape[1], y / shape[0], columns / shape[1], rows / shape[0])),
            place=np.asarray(inside) > 0,
            held=(held > 0) & (np.asarray(inside) > 0),
        )


def _pixels(region: Region, shape: tuple[int, int]) -> NDArray[np.int32]:
    """Return an outline in pixels, (x, y); the rims of the picture are the middles of its outermost pixels."""
    size = np.array(shape[::-1]) - 1
    return np.rint(np.array(region.outline) * size).clip(0, size).astype(np.int32)


def _sharp(digest: Digest, best: float) -> Found | None:
    """Return the largest place where the picture is as sharp as it gets."""
    blur = next((tiles.values for tiles in digest.maps if tiles.name == "sharpness.blur"), None)
    if blur is None:
        return None
    bar = max(SHARP_FACTOR * best, best + SHARP_ROOM)
    place = _largest_place(np.asarray(np.nan_to_num(blur, nan=np.inf) <= bar), np.asarray(blur > bar))
    if place is None:
        return None
    points = along_tiles(place)
    return Found(
        what="sharp",
        name="sharp",
        role=Role.SHARP,
        box=None if points else _box_of_tiles(place),
        points=points,
        why=f"blur up to {bar:.1f} px, as sharp as the picture gets",
    )


def _largest_place(sharp: Mask, blurred: Mask) -> Mask | None:
    """Return the connected tiles with most sharp ones among them; two tiles without detail are bridged."""
    import cv2

    kernel = np.ones((3, 3), dtype=np.uint8)
    padded = np.pad(sharp, 1).view(np.uint8)  # else the rim of the picture would count as sharp
    closed = np.asarray(cv2.morphologyEx(padded, cv2.MORPH_CLOSE, kernel))[1:-1, 1:-1]
    count, labels = cv2.connectedComponents(np.where(blurred, np.uint8(0), closed), connectivity=8)
    tiles = np.bincount(np.asarray(labels)[sharp], minlength=count)
    largest = int(np.argmax(tiles))
    return np.asarray(labels == largest) if tiles[largest] >= FEWEST_SHARP else None


def _box_of_tiles(place: Mask) -> Box:
    top, left, bottom, right = largest_rectangle(place)
    rows, columns = place.shape
    return within((left / columns, top / rows, (right - left) / columns, (bottom - top) / rows))


def _grey(frame: Frame) -> Iterator[Found]:
    for number, card in enumerate(cards(frame), 1):
        name = "card" if number == 1 else f"card {number}"
        yield Found(what="grey", name=name, role=Role.PATCH, box=within(card.box), why=card.why)


def _even(digest: Digest) -> Iterator[Found]:
    for proposal in propose(digest):
        if proposal.role is Role.BACKDROP:
            yield Found(
                what="even", name=proposal.name, role=proposal.role, box=within(proposal.box), why=proposal.why
            )
