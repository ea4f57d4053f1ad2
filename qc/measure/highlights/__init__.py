"""Highlights: how much of the picture is at saturation, where, and how far the rest stays under it.

A cell is the block of `Frame.clip` that holds every colour once: 2 × 2 photosites of a mosaic, one pixel of other
files. Clipping was decided per photosite when the frame was made; nothing here looks at a level again. A specular
glint may be empty and a diffuse highlight may not (common practice): area, region, edge and zone are told apart so
that a person can.

No reading has a ±. `Saturation.width` says how soft a level is, but a recount with the level moved by it would
find the photosites of the plateau itself, which are clipped, not those in doubt; and the doubt of the level, 0.004
stop for a plateau 0.5 % wide, is the smaller part of that of a percentile. Neither would be a standard error.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.frame import Counts, Frame
from qc.measure._clipped import Clipped, clipped, photosites_by_colour
from qc.measure.highlights.headroom import Brightness, brightness, headroom, light_at_saturation
from qc.measure.highlights.places import places
from qc.measure.highlights.regions import MOST, Regions, regions
from qc.measure.highlights.specs import FINDINGS, NAMES, READINGS, REASONS
from qc.measure.highlights.zone_cells import ZoneCells
from qc.reading import Bound, Finding, Measured, Rank, Reading, Reason, Spec
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """Measure the highlights of one frame; see `READINGS` for what each number is."""
    del brief  # nothing of a set changes what is clipped
    if 0 in frame.clip.shape or 0 in frame.cells.shape:
        reason = Reason("too_small", f"{frame.width} × {frame.height} px hold no whole cell")
        return Measured(readings=tuple(_all_missing(zones, reason)))
    state = _State(Reader(frame), tuple(zones))
    readings = [*_of_frame(state)]
    for cells in state.zone_cells:
        readings += _of_zone(state, cells)
    found = state.regions
    return Measured(readings=tuple(readings), findings=tuple(_findings(state, found)), regions=found.listed)


def _all_missing(zones: Sequence[Zone], reason: Reason) -> Iterator[Reading]:
    for spec in READINGS:
        if spec.per_frame:
            yield Reading(name=spec.name, unit=spec.unit, reason=reason)
        for zone in zones:
            if zone.role in spec.per_zone:
                yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=reason)


def of_zone(reader: Reader, zone: Zone, zones: Sequence[Zone]) -> tuple[Reading, ...]:
    """Return the readings of one zone, as `measure` gives them.

    Parameters
    ----------
    reader : Reader
        Of a frame of one cell or more; keeps what other zones need too.
    zone : Zone
        Which.
    zones : sequence of Zone
        All zones, this one among them: what is unintended depends on them.
    """
    cells = ZoneCells.of(zone, reader.shape, reader.frame.orientation)
    return tuple(_of_zone(_State(reader, tuple(zones)), cells))


class Reader:
    """What of a frame does not hang on zones, each part made when first asked for.

    Parameters
    ----------
    frame : Frame
        The capture.
    """

    def __init__(self, frame: Frame) -> None:
        self.frame = frame
        self.shape = frame.clip.shape[1], frame.clip.shape[2]
        self.unknown = "".join(s.colour for s in frame.saturation if s.level is None)
        """Letters of the colours whose saturation is not known."""

    @cached_property
    def found(self) -> Clipped:
        """Its clipped cells."""
        return clipped(self.frame)

    @cached_property
    def bright(self) -> Brightness | None:
        """How bright every cell is; None where saturation is not known."""
        levels = light_at_saturation(self.frame)
        if not np.all(np.isfinite(levels)) or np.any(levels <= 0):
            return None
        return brightness(self.frame, self.found, levels)


@dataclass(frozen=True)
class _State:
    """What the readings of one frame with its zones share, each part made when first asked for."""

    reader: Reader
    zones: tuple[Zone, ...]

    @property
    def frame(self) -> Frame:
        return self.reader.frame

    @property
    def found(self) -> Clipped:
        return self.reader.found

    @property
    def shape(self) -> tuple[int, int]:
        return self.reader.shape

    @property
    def unknown(self) -> str:
        return self.reader.unknown

    @property
    def bright(self) -> Brightness | None:
        return self.reader.bright

    @cached_property
    def zone_cells(self) -> tuple[ZoneCells, ...]:
        return tuple(ZoneCells.of(zone, self.shape, self.frame.orientation) for zone in self.zones)

    @cached_property
    def unintended(self) -> Counts:
        """Clipped cells outside allow and backdrop zones, protect zones overruling both; 255 or 0."""
        if self.found.none:
            return self.found.anywhere
        exempt = [c for c in self.zone_cells if c.zone.role in (Role.ALLOW, Role.BACKDROP)]
        if not exempt:
            return self.found.anywhere
        left = self.found.anywhere.copy()
        for cells in exempt:
            left[cells.window][cells.inside] = 0
        for cells in self.zone_cells:
            if cells.zone.role is Role.PROTECT:
                left[cells.window][cells.inside] = self.found.anywhere[cells.window][cells.inside]
        return left

    @cached_property
    def regions(self) -> Regions:
        return regions(self.frame, self.found, self.bright, self.zone_cells)

    def unsure(self, *, every: bool) -> Reason | None:
        """Why clipping cannot be counted: no level known, or for `every` colour one level missing."""
        if self.unknown and (every or len(self.unknown) == len(self.frame.colours)):
            return Reason("saturation_unknown", f"the saturation of {_words(self.unknown)} cannot be told")
        return None

    @property
    def bound(self) -> Bound | None:
        return "at least" if self.unknown else None


def _words(letters: str) -> str:
    return " and ".join(NAMES.get(letter, letter) for letter in letters)


def _reading(name: str, value: float | Reason, zone: str | None = None, *, bound: Bound | None = None) -> Reading:
    unit = SPEC.reading(name).unit
    if isinstance(value, Reason):
        return Reading(name=name, unit=unit, zone=zone, reason=value)
    return Reading(name=name, unit=unit, zone=zone, value=float(value), bound=bound)


def _of_frame(state: _State) -> Iterator[Reading]:
    found, total = state.found, state.shape[0] * state.shape[1]
    any_unknown, one_unknown = state.unsure(every=False), state.unsure(every=True)

    def percent(cells: int) -> float:
        return 100.0 * cells / total

    anywhere, everywhere, unintended = (
        0 if found.none else cv2.countNonZero(mask)
        for mask in (found.anywhere, found.everywhere, state.unintended)
    )
    largest = any_unknown or state.regions.largest
    for name, value in (
        ("highlights.clipped_area", any_unknown or percent(anywhere)),
        ("highlights.burnt_area", one_unknown or percent(everywhere)),
        ("highlights.unintended_area", any_unknown or percent(unintended)),
    ):
        yield _reading(name, value, bound=None if name.endswith("burnt_area") else state.bound)
    held = photosites_by_colour(state.frame)
    for letter in "RGB":
        yield _reading(f"highlights.clipped_{NAMES[letter]}", _of_colour(state, letter, held))
    yield _reading("highlights.largest_region", largest, bound=state.bound)
    everything = slice(0, state.frame.cells.shape[1]), slice(0, state.frame.cells.shape[2])
    yield _reading("highlights.headroom", _headroom(state, everything, None))


def _of_colour(state: _State, letter: str, held: NDArray[np.intp]) -> float | Reason:
    frame = state.frame
    if letter not in frame.colours:
        return Reason("no_such_colour", f"the file has the colours {frame.colours}")
    if letter in state.unknown:
        return Reason("saturation_unknown", f"the saturation of {NAMES[letter]} cannot be told")
    index = frame.colours.index(letter)
    if held[index] == 0:
        return Reason("too_small", f"no whole cell holds {NAMES[letter]}")
    return 100.0 * state.found.photosites[index] / int(held[index])


def _headroom(state: _State, where: tuple[slice, slice], inside: NDArray[np.bool_] | None) -> float | Reason:
    if state.unknown:
        return Reason("saturation_unknown", f"the saturation of {_words(state.unknown)} cannot be told")
    if state.bright is None:
        return Reason("saturation_unknown", "saturation lies at or under black")
    return headroom(state.bright, where, inside)


def _of_zone(state: _State, cells: ZoneCells) -> Iterator[Reading]:
    frame, zone = state.frame, cells.zone
    asked = [spec.name for spec in READINGS if zone.role in spec.per_zone]
    size = int(np.count_nonzero(cells.inside))
    if size == 0:
        reason = Reason("outside_frame", f"the zone {zone.name} holds no cell of the frame")
        yield from (_reading(name, reason, zone.name) for name in asked)
        return
    for name in asked:
        if name == "highlights.headroom":
            plane = frame.cells.shape[1], frame.cells.shape[2]
            at_cells = ZoneCells.of(zone, plane, frame.orientation)
            yield _reading(name, _headroom(state, at_cells.window, at_cells.inside), zone.name)
        else:
            yield _area_in_zone(state, cells, name, size)


def _area_in_zone(state: _State, cells: ZoneCells, name: str, size: int) -> Reading:
    found, zone = state.found, cells.zone.name
    every = name == "highlights.burnt_area"
    if (unsure := state.unsure(every=every)) is not None:
        return _reading(name, unsure, zone)
    bound = None if every else state.bound
    if found.none:
        return _reading(name, 0.0, zone, bound=bound)
    plane = found.everywhere if every else found.anywhere
    if name == "highlights.unintended_area":
        plane = state.unintended
    mask = (plane[cells.window] > 0) & cells.inside
    if name == "highlights.intended_area":
        mask &= state.unintended[cells.window] == 0
        return _reading(
            name, 100.0 * int(np.count_nonzero(mask)) / (state.shape[0] * state.shape[1]), zone, bound=bound
        )
    if name == "highlights.largest_region":
        largest = int(places(mask.view(np.uint8) * np.uint8(255)).areas.max(initial=0))
        return _reading(name, 100.0 * largest / (state.shape[0] * state.shape[1]), zone, bound=bound)
    return _reading(name, 100.0 * int(np.count_nonzero(mask)) / size, zone, bound=bound)


def _findings(state: _State, found: Regions) -> Iterator[Finding]:
    frame = state.frame
    if frame.kind == "rendered":
        yield Finding(
            code="top_code",
            text="clipping is counted at the top code of a finished picture; the sensor may have held more",
        )
    if found.rest_count:
        yield Finding(
            code="more_regions",
            text=f"{found.rest_count} more clipped places, together {found.rest_area:.3f} % of the frame",
            data={"listed": MOST, "count": found.rest_count, "area": found.rest_area},
        )


SPEC = Spec(
    name="highlights",
    version=3,
    measure=measure,
    readings=READINGS,
    findings=FINDINGS,
    reasons=REASONS,
    rank=Rank.PROTECTED,
    first=True,
    drawing="outlines",
)
