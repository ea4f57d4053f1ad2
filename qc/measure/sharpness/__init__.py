"""Sharpness: blur in pixels, independent of contrast and exposure, per zone and over the frame.

The blur is the σ of the Gaussian that gives the same ratio of edge gradients before and after a known re-blur
(Zhuo & Sim, Pattern Recognition 44(9), 1852–1858, 2011), with pixel aperture, lattice and filters taken off. Only
ridges that are isolated steps and stand clear of the noise count: a weave is not an edge, and has no value rather
than a wrong one. A finished picture has no absolute blur: its tone curve and sharpening are not known.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure.sharpness.green import green_index
from qc.measure.sharpness.map import BlurMap, blur_map
from qc.measure.sharpness.pieces import Pieces
from qc.measure.sharpness.reader import Reader
from qc.measure.sharpness.readings import Place, of_frame, of_place, place, shake
from qc.measure.sharpness.spec import FINDINGS, READINGS, REASONS, SUSPECT
from qc.reading import Measured, Rank, Reading, Reason, Spec, TileMap, Unit
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone, with_role

SMALLEST = 64
"""Fewest px along the short side of a frame."""


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """Measure the sharpness of one frame; see `READINGS` for what each number is."""
    del brief  # nothing of a set changes how sharp it is
    places = with_role(zones, Role.SHARP, Role.PROTECT)
    reason = refusal(frame)
    if reason is not None:
        return Measured(readings=tuple(_missing(places, reason)))
    pieces = Reader(frame).pieces(places)
    whole = place(None, pieces)
    tiles = blur_map(whole.edges, frame.height, frame.width)
    readings = [*of_place(frame, whole), *of_frame(frame, whole, tiles)]
    within = [place(zone, pieces.take(_inside(zone, frame, pieces))) for zone in places]
    for here in within:
        readings += of_place(frame, here)
    findings = [finding for here in (whole, *within) for finding in shake(frame, here)]
    maps = (_map(tiles), *_direction_map(frame, (whole, *within), tiles.blur.shape))
    return Measured(readings=tuple(readings), findings=tuple(findings), maps=maps)


def of_zone(reader: Reader, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
    """Return the readings of one zone, as `measure` gives them.

    Parameters
    ----------
    reader : Reader
        Of the frame, mosaic or linear; keeps what other zones need too.
    zone : Zone
        Of a role that sharpness is measured in.
    zones : sequence of Zone
        All zones, this one among them: which places of a large frame are read depends on them.
    """
    frame = reader.frame
    if (reason := refusal(frame)) is not None:
        return tuple(r for r in _missing((zone,), reason) if r.zone is not None)
    pieces = reader.pieces(with_role(zones, Role.SHARP, Role.PROTECT))
    return tuple(of_place(frame, place(zone, pieces.take(_inside(zone, frame, pieces)))))


def _inside(zone: Zone, frame: Frame, pieces: Pieces) -> NDArray[np.bool_]:
    shape = (max(1, frame.height // 4), max(1, frame.width // 4))
    rows = np.clip((pieces.y // 4).astype(np.intp), 0, shape[0] - 1)
    columns = np.clip((pieces.x // 4).astype(np.intp), 0, shape[1] - 1)
    return np.asarray(zone.mask(shape, frame.orientation)[rows, columns])


def refusal(frame: Frame) -> Reason | None:
    """Return why nothing can be said of a frame's sharpness; None where something can."""
    if min(frame.height, frame.width) < SMALLEST:
        return Reason("too_small", f"{frame.width} × {frame.height} px; at least {SMALLEST} px a side are needed")
    if green_index(frame) is None:
        return Reason("wrong_kind", f"colours {frame.colours} hold no green at half of the photosites or more")
    if abs(frame.pixel_aspect - 1.0) > 0.01:
        return Reason("wrong_kind", f"photosites are not square: width over height is {frame.pixel_aspect:.3g}")
    return None


def _missing(zones: Sequence[Zone], reason: Reason) -> Iterator[Reading]:
    for spec in READINGS:
        yield Reading(name=spec.name, unit=spec.unit, reason=reason)
    for zone in zones:
        for spec in READINGS:
            if spec.per_zone:
                yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=reason)


def _map(tiles: BlurMap) -> TileMap:
    return TileMap(
        name="sharpness.blur", unit=Unit.PIXELS, values=tiles.blur.astype(np.float32), drawing="tiles", low=0.5
    )


def _direction_map(frame: Frame, places: Sequence[Place], shape: tuple[int, ...]) -> Iterator[TileMap]:
    """Yield the direction of the blur over the places that have one; nothing where no blur has a direction."""
    values = np.full(shape, np.nan, dtype=np.float32)
    angles = np.full(shape, np.nan, dtype=np.float32)
    for here in places:
        if here.axes is None or not here.axes.directional:
            continue
        rows, columns = (
            np.clip((where / side * count).astype(np.intp), 0, count - 1)
            for where, side, count in zip(
                (here.edges.y, here.edges.x), (frame.height, frame.width), shape, strict=True
            )
        )
        values[rows, columns] = here.axes.major
        angles[rows, columns] = here.axes.angle
    if np.isfinite(values).any():
        yield TileMap(
            name="sharpness.blur_major", unit=Unit.PIXELS, values=values, angles=angles, drawing="arrows", low=0.0
        )


SPEC = Spec(
    name="sharpness",
    version=1,
    measure=measure,
    readings=READINGS,
    findings=FINDINGS,
    reasons=REASONS,
    suspect=SUSPECT,
    kinds=frozenset({"mosaic", "linear"}),
    rank=Rank.FOCUS,
    drawing="tiles",
)
