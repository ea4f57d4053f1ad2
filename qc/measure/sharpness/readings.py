"""From pieces to readings: values with ± and bounds, or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from qc.frame import Frame
from qc.measure.sharpness.direction import Direction, blur_direction
from qc.measure.sharpness.map import BlurMap, best_blur, sharp_plane, sharp_share
from qc.measure.sharpness.pieces import EDGE, SOFT, TEXTURE, UNCLEAR, Pieces
from qc.measure.sharpness.population import Population, clean_edges, crowded, sharpest
from qc.measure.sharpness.scale import BOTTOM, TOP, XTRANS_BOTTOM
from qc.orientation import angle_to_upright, points_to_upright
from qc.reading import Bound, Finding, Reading, Reason, Unit
from qc.sheet.zones import Zone

ONE_WAY = 0.8
"""Mean of exp(2i · direction) of soft ridges from which they all run one way, as a shadow's rim does."""

MANY = 6.0
"""Length of soft ridges, in diagonals of the place, from which they are blurred detail and not a shadow's rim."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """A zone, or the frame when `zone` is None, with what was read there.

    Attributes
    ----------
    zone : Zone or None
        Which zone.
    pieces, edges : Pieces
        All of it, and what counts.
    found : Population or None
        Its blur.
    axes : Direction or None
        Its blur by direction.
    """

    zone: Zone | None
    pieces: Pieces
    edges: Pieces
    found: Population | None
    axes: Direction | None

    @property
    def name(self) -> str | None:
        """Name of the zone, None for the frame."""
        return None if self.zone is None else self.zone.name


def place(zone: Zone | None, pieces: Pieces) -> Place:
    """Find the blur of a place and its direction."""
    edges = clean_edges(pieces)
    found = sharpest(edges)
    if found is not None and crowded(pieces, found):
        found = None
    axes = blur_direction(edges) if found is not None else None
    return Place(zone=zone, pieces=pieces, edges=edges, found=found, axes=axes)


def of_place(frame: Frame, at: Place) -> Iterator[Reading]:
    """Return the readings that a zone and the frame both have."""
    reason = why_none(at.pieces, at.edges)
    if at.found is not None:
        yield from _blurs(at.name, at.found, bottom(frame))
    elif _softness(frame, at) > MANY:
        yield from _soft(at.name, reason)
    else:
        for quantity, unit in _BLURS:
            yield Reading(name=quantity, unit=unit, zone=at.name, reason=reason)
    if at.axes is not None:
        yield from _axes(frame, at.name, at.axes)
        return
    if at.found is not None:
        reason = Reason("few_directions", "edges of at least four directions, well apart and alike, are needed")
    for quantity, unit in _AXES:
        yield Reading(name=quantity, unit=unit, zone=at.name, reason=reason)


_BLURS = (
    ("sharpness.blur", Unit.PIXELS),
    ("sharpness.blur_spread", Unit.PIXELS),
    ("sharpness.mtf50", Unit.CYCLES),
)
_AXES = (
    ("sharpness.blur_major", Unit.PIXELS),
    ("sharpness.blur_minor", Unit.PIXELS),
    ("sharpness.blur_angle", Unit.DEGREES),
)


def _blurs(name: str | None, found: Population, least: float) -> Iterator[Reading]:
    value, bound = bounded(found.blur, least)
    error = found.error * found.blur
    if bound == "at most":
        value = max(value, found.blur + error)
    of_mtf = abs(mtf50(value + error) - mtf50(max(value - error, 0.0)))
    yield _number("blur", Unit.PIXELS, name, value, 2 * error, bound)
    yield _number("blur_spread", Unit.PIXELS, name, found.spread * found.blur, None, None)
    yield _number("mtf50", Unit.CYCLES, name, mtf50(value), of_mtf, _turned(bound))


def _soft(name: str | None, reason: Reason) -> Iterator[Reading]:
    yield _number("blur", Unit.PIXELS, name, TOP, None, "at least")
    yield Reading(name="sharpness.blur_spread", unit=Unit.PIXELS, zone=name, reason=reason)
    yield _number("mtf50", Unit.CYCLES, name, mtf50(TOP), None, "at most")


def _axes(frame: Frame, name: str | None, axes: Direction) -> Iterator[Reading]:
    for quantity, value, error in (
        ("blur_major", axes.major, axes.major_error),
        ("blur_minor", axes.minor, axes.minor_error),
    ):
        held, bound = bounded(value, bottom(frame))
        yield _number(quantity, Unit.PIXELS, name, held, 2 * error, bound)
    if axes.directional:
        angle = angle_to_upright(axes.angle, frame.orientation)
        yield _number("blur_angle", Unit.DEGREES, name, angle, 2 * axes.angle_error, None)
        return
    reason = Reason(
        "round", f"{axes.major:.2f} px against {axes.minor:.2f} px is no direction, or not for certain"
    )
    yield Reading(name="sharpness.blur_angle", unit=Unit.DEGREES, zone=name, reason=reason)


def _number(
    quantity: str, unit: Unit, zone: str | None, value: float, plus_minus: float | None, bound: Bound | None
) -> Reading:
    return Reading(
        name=f"sharpness.{quantity}",
        unit=unit,
        zone=zone,
        value=value,
        plus_minus=None if bound else plus_minus,
        bound=bound,
    )


def _turned(bound: Bound | None) -> Bound | None:
    """Return the bound of a quantity that falls where blur grows."""
    if bound is None:
        return None
    return "at most" if bound == "at least" else "at least"


def of_frame(frame: Frame, at: Place, tiles: BlurMap) -> Iterator[Reading]:
    """Return the readings that only the whole frame has."""
    best = best_blur(tiles)
    reason = why_none(at.pieces, at.edges)
    if best is None:
        yield Reading(name="sharpness.best_blur", unit=Unit.PIXELS, reason=reason)
        yield Reading(name="sharpness.sharp_area", unit=Unit.PERCENT_OF_DETAIL, reason=reason)
    else:
        value, bound = bounded(best[0], bottom(frame))
        error = None if bound else 2 * best[0] * float(np.hypot(best[1], 0.02))
        yield Reading(name="sharpness.best_blur", unit=Unit.PIXELS, value=value, bound=bound, plus_minus=error)
        yield Reading(name="sharpness.sharp_area", unit=Unit.PERCENT_OF_DETAIL, value=sharp_share(tiles, best[0]))
    plane = sharp_plane(tiles, frame.height, frame.width)
    names = (("plane_x", Unit.FRACTION), ("plane_y", Unit.FRACTION), ("plane_slope", Unit.PIXELS_PER_FRAME))
    if plane is None:
        count = int(np.isfinite(tiles.blur).sum())
        few = Reason("few_tiles", f"{count} of {tiles.blur.size} places of the frame have edges")
        for quantity, unit in names:
            yield Reading(name=f"sharpness.{quantity}", unit=unit, reason=few)
        return
    x, y = points_to_upright(np.array([[plane.x, plane.y]]), frame.orientation)[0]
    for (quantity, unit), number in zip(names, (x, y, plane.slope), strict=True):
        error = 2 * plane.slope_error if quantity == "plane_slope" else None
        yield Reading(name=f"sharpness.{quantity}", unit=unit, value=float(number), plus_minus=error)


def shake(frame: Frame, at: Place) -> Iterator[Finding]:
    """Return the finding that blur has a direction, if it has."""
    axes = at.axes
    if axes is None or not axes.directional:
        return
    angle = angle_to_upright(axes.angle, frame.orientation)
    yield Finding(
        code="shake",
        text=f"blur runs along {angle:.0f}°: {axes.major:.1f} px against {axes.minor:.1f} px",
        zone=at.name,
        data={"major": round(axes.major, 3), "minor": round(axes.minor, 3), "angle": round(angle, 1)},
    )


def bottom(frame: Frame) -> float:
    """Return the smallest blur that the frame's green can show, px."""
    return XTRANS_BOTTOM if frame.cfa is not None and max(frame.cfa.shape) > 2 else BOTTOM


def bounded(blur: float, least: float) -> tuple[float, Bound | None]:
    """Return a blur with its bound: what the lattice cannot tell is given as the end of what it can."""
    if blur < least:
        return least, "at most"
    if blur > TOP:
        return TOP, "at least"
    return blur, None


def why_none(pieces: Pieces, edges: Pieces) -> Reason:
    """Say why a place has no blur."""
    length = [float(pieces.length[pieces.kind == kind].sum()) for kind in (EDGE, SOFT, TEXTURE, UNCLEAR)]
    if sum(length) < 1.0:
        return Reason("no_detail", "no ridge of the gradient stands clear of the noise")
    if edges.length.sum() > length[TEXTURE]:
        return Reason("few_edges", f"{edges.length.sum():.0f} px of edges are too few, or too unlike, for a blur")
    most = int(np.argmax(length))
    if most == SOFT:
        return Reason("soft_only", f"{length[SOFT]:.0f} px of ridges, all softer than {TOP:g} px can be told")
    if most == UNCLEAR:
        return Reason("too_noisy", f"{length[UNCLEAR]:.0f} px of ridges are too weak against the noise")
    return Reason("texture", f"{length[TEXTURE]:.0f} px of ridges are no isolated edges")


def _softness(frame: Frame, at: Place) -> float:
    """Return the length of soft ridges in diagonals of the place.

    0 unless they are most of what is there and run more than one way.
    """
    ridges = at.pieces.take(at.pieces.kind == SOFT)
    soft = float(ridges.length.sum())
    one_way = float(np.abs(ridges.length @ np.exp(2j * ridges.direction)))
    if soft < 0.5 * at.pieces.length.sum() or one_way > ONE_WAY * soft:
        return 0.0
    shape = (frame.height, frame.width)
    window = (slice(0, shape[0]), slice(0, shape[1]))
    rows, columns = window if at.zone is None else at.zone.window(shape, frame.orientation)
    return soft / max(math.hypot(rows.stop - rows.start, columns.stop - columns.start), 1.0)


def mtf50(sigma: float) -> float:
    """Return the frequency at which a Gaussian blur and a pixel aperture leave half the contrast.

    Parameters
    ----------
    sigma : float
        px.

    Returns
    -------
    float
        Cycles/px: exp(−2 π² σ² f²) · sin(πf)/(πf) = ½; at most 0.5, where sampling ends.
    """
    low, high = 0.0, 0.5
    for _ in range(50):
        middle = (low + high) / 2
        left = math.exp(-2 * (math.pi * sigma * middle) ** 2) * float(np.sinc(middle))
        low, high = (middle, high) if left > 0.5 else (low, middle)
    return low if high < 0.5 else 0.5
