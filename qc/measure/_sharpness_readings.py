"""From pieces to readings: values with ± and bounds, or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from qc.frame import Frame
from qc.measure._sharpness_direction import Direction, blur_direction
from qc.measure._sharpness_map import BlurMap, best_blur, sharp_plane, sharp_share
from qc.measure._sharpness_pieces import EDGE, SOFT, TEXTURE, UNCLEAR, Pieces
from qc.measure._sharpness_population import Population, clean_edges, sharpest
from qc.measure._sharpness_scale import BOTTOM, TOP
from qc.orientation import angle_to_upright, points_to_upright
from qc.reading import Bound, Finding, Reading, Reason, Unit
from qc.sheet.zones import Zone

MANY = 6.0
"""Length of soft ridges, in diagonals of the place, from which they are blurred detail and not a shadow's rim."""


def of_place(frame: Frame, zone: Zone | None, pieces: Pieces) -> Iterator[Reading]:
    """Return the readings of a zone, or of the frame when `zone` is None."""
    name = None if zone is None else zone.name
    edges = clean_edges(pieces)
    found = sharpest(edges)
    reason = None if found is not None else why_none(pieces, edges)
    many = found is None and _softness(frame, zone, pieces) > MANY
    yield from _blurs(name, found, reason, many)
    axes = blur_direction(edges) if found is not None else None
    yield from _axes(frame, name, axes, reason)


def _blurs(name: str | None, found: Population | None, reason: Reason | None, many: bool) -> Iterator[Reading]:
    if found is not None:
        value, bound = bounded(found.blur)
        error = None if bound else 2 * found.error * found.blur
        spread, spread_reason = found.spread * found.blur, None
    else:
        value, bound, error = (TOP, "at least", None) if many else (None, None, None)
        spread, spread_reason = None, reason
    yield Reading(
        name="sharpness.blur",
        unit=Unit.PIXELS,
        zone=name,
        value=value,
        plus_minus=error,
        bound=bound,
        reason=None if value is not None else reason,
    )
    yield Reading(name="sharpness.blur_spread", unit=Unit.PIXELS, zone=name, value=spread, reason=spread_reason)
    turned: Bound | None = {"at least": "at most", "at most": "at least"}.get(bound or "")  # type: ignore[assignment]  # the table holds bounds only
    half = None if error is None or value is None else abs(mtf50(value + error / 2) - mtf50(value - error / 2))
    yield Reading(
        name="sharpness.mtf50",
        unit=Unit.CYCLES,
        zone=name,
        value=None if value is None else mtf50(value),
        plus_minus=half,
        bound=turned,
        reason=None if value is not None else reason,
    )


def _axes(frame: Frame, name: str | None, axes: Direction | None, reason: Reason | None) -> Iterator[Reading]:
    if axes is None:
        why = reason or Reason("few_directions", "edges of at least three directions, well apart, are needed")
        for quantity, unit in (
            ("blur_major", Unit.PIXELS),
            ("blur_minor", Unit.PIXELS),
            ("blur_angle", Unit.DEGREES),
        ):
            yield Reading(name=f"sharpness.{quantity}", unit=unit, zone=name, reason=why)
        return
    for quantity, value, error in (
        ("blur_major", axes.major, axes.major_error),
        ("blur_minor", axes.minor, axes.minor_error),
    ):
        held, bound = bounded(value)
        yield Reading(
            name=f"sharpness.{quantity}",
            unit=Unit.PIXELS,
            zone=name,
            value=held,
            bound=bound,
            plus_minus=None if bound else 2 * error,
        )
    round_ = Reason("round", f"{axes.major:.2f} px against {axes.minor:.2f} px is no direction")
    yield Reading(
        name="sharpness.blur_angle",
        unit=Unit.DEGREES,
        zone=name,
        value=angle_to_upright(axes.angle, frame.orientation) if axes.directional else None,
        plus_minus=2 * axes.angle_error if axes.directional else None,
        reason=None if axes.directional else round_,
    )


def of_frame(frame: Frame, pieces: Pieces, tiles: BlurMap) -> Iterator[Reading]:
    """Return the readings that only the whole frame has."""
    edges = clean_edges(pieces)
    best = best_blur(tiles)
    reason = why_none(pieces, edges)
    if best is None:
        yield Reading(name="sharpness.best_blur", unit=Unit.PIXELS, reason=reason)
        yield Reading(name="sharpness.sharp_area", unit=Unit.PERCENT_OF_DETAIL, reason=reason)
    else:
        value, bound = bounded(best[0])
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


def shake(frame: Frame, zone: Zone | None, edges: Pieces) -> Iterator[Finding]:
    """Return the finding that blur has a direction, if it has."""
    axes = blur_direction(edges) if sharpest(edges) is not None else None
    if axes is None or not axes.directional:
        return
    angle = angle_to_upright(axes.angle, frame.orientation)
    yield Finding(
        code="shake",
        text=f"blur runs along {angle:.0f}°: {axes.major:.1f} px against {axes.minor:.1f} px",
        zone=None if zone is None else zone.name,
        data={"major": round(axes.major, 3), "minor": round(axes.minor, 3), "angle": round(angle, 1)},
    )


def bounded(blur: float) -> tuple[float, Bound | None]:
    """Return a blur with its bound: what the lattice cannot tell is given as the end of what it can."""
    if blur < BOTTOM:
        return BOTTOM, "at most"
    if blur > TOP:
        return TOP, "at least"
    return blur, None


def why_none(pieces: Pieces, edges: Pieces) -> Reason:
    """Say why a place has no blur."""
    length = [float(pieces.length[pieces.kind == kind].sum()) for kind in (EDGE, SOFT, TEXTURE, UNCLEAR)]
    if sum(length) < 1.0:
        return Reason("no_detail", "no ridge of the gradient stands clear of the noise")
    if len(edges):
        return Reason("few_edges", f"{edges.length.sum():.0f} px of edges are too few, or too unlike, for a blur")
    most = int(np.argmax(length))
    if most == SOFT:
        return Reason("soft_only", f"{length[SOFT]:.0f} px of ridges, all softer than {TOP:g} px can be told")
    if most == UNCLEAR:
        return Reason("too_noisy", f"{length[UNCLEAR]:.0f} px of ridges are too weak against the noise")
    return Reason("texture", f"{length[TEXTURE]:.0f} px of ridges are no isolated edges")


def _softness(frame: Frame, zone: Zone | None, pieces: Pieces) -> float:
    """Return the length of soft ridges in diagonals of the place, 0 unless they are most of what is there."""
    soft = float(pieces.length[pieces.kind == SOFT].sum())
    if soft < 0.5 * pieces.length.sum():
        return 0.0
    shape = (frame.height, frame.width)
    rows, columns = (slice(0, n) for n in shape) if zone is None else zone.window(shape, frame.orientation)
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
