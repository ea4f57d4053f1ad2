"""Highlights: how much of the picture is at saturation, where, and how far the rest stays under it.

A cell is the block of `Frame.clip` that holds every colour once: 2 × 2 photosites of a mosaic, one pixel of other
files. Clipping was decided per photosite when the frame was made; nothing here looks at a level again. A specular
glint may be empty and a diffuse highlight may not (common practice): area, region, edge and zone are told apart so
that a person can.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from qc.frame import Frame
from qc.measure._clip_regions import MOST, Regions, largest_in, regions
from qc.measure._clipped import Clipped, clipped, photosites_by_colour
from qc.measure._headroom import Brightness, brightness, headroom, light_at_saturation
from qc.measure._highlight_specs import FINDINGS, NAMES, READINGS, REASONS
from qc.reading import Bound, Finding, Measured, Reading, Reason, Spec
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone, union_mask, with_role


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """Measure the highlights of one frame; see `READINGS` for what each number is."""
    del brief  # nothing of a set changes what is clipped
    if 0 in frame.clip.shape or 0 in frame.cells.shape:
        reason = Reason("too_small", f"{frame.width} × {frame.height} px hold no whole cell")
        return Measured(readings=tuple(_all_missing(zones, reason)))
    state = _State(frame, tuple(zones))
    readings = [*_of_frame(state)]
    for zone in zones:
        readings += _of_zone(state, zone)
    found = state.regions
    return Measured(
        readings=tuple(readings), findings=tuple(_findings(state, readings, found)), regions=found.listed
    )


def _all_missing(zones: Sequence[Zone], reason: Reason) -> Iterator[Reading]:
    for spec in READINGS:
        if spec.per_frame:
            yield Reading(name=spec.name, unit=spec.unit, reason=reason)
        for zone in zones:
            if zone.role in spec.per_zone:
                yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=reason)


@dataclass(frozen=True)
class _State:
    """What the readings of one frame share, each part made when first asked for."""

    frame: Frame
    zones: tuple[Zone, ...]

    @cached_property
    def found(self) -> Clipped:
        return clipped(self.frame)

    @cached_property
    def shape(self) -> tuple[int, int]:
        return self.frame.clip.shape[1], self.frame.clip.shape[2]

    @cached_property
    def unknown(self) -> str:
        """Letters of the colours whose saturation is not known."""
        return "".join(s.colour for s in self.frame.saturation if s.level is None)

    @cached_property
    def bright(self) -> Brightness | None:
        levels = light_at_saturation(self.frame)
        if not np.all(np.isfinite(levels)) or np.any(levels <= 0):
            return None
        return brightness(self.frame, self.found, levels)

    @cached_property
    def exempt(self) -> NDArray[np.bool_] | None:
        """Cells where clipping is intended; None when there are none."""
        intended = with_role(self.zones, Role.ALLOW, Role.BACKDROP)
        if not intended or self.found.none:
            return None
        mask = union_mask(intended, self.shape, self.frame.orientation)
        for zone in with_role(self.zones, Role.PROTECT):
            window = zone.window(self.shape, self.frame.orientation)
            mask[window] &= ~zone.mask_in_window(self.shape, self.frame.orientation)
        return mask

    @cached_property
    def regions(self) -> Regions:
        return regions(self.frame, self.found, self.bright, self.zones)

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

    clear = found.none
    anywhere = 0 if clear else int(np.count_nonzero(found.anywhere))
    everywhere = 0 if clear else int(np.count_nonzero(found.everywhere))
    unintended = anywhere
    if state.exempt is not None:
        unintended -= int(np.count_nonzero(found.anywhere[state.exempt]))
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


def _of_zone(state: _State, zone: Zone) -> Iterator[Reading]:
    frame, found = state.frame, state.found
    asked = [spec.name for spec in READINGS if zone.role in spec.per_zone]
    if not asked:
        return
    rows, columns = zone.window(state.shape, frame.orientation)
    inside = zone.mask_in_window(state.shape, frame.orientation)
    cells = int(inside.sum())
    if cells == 0:
        reason = Reason("outside_frame", f"the zone {zone.name} holds no cell of the frame")
        yield from (_reading(name, reason, zone.name) for name in asked)
        return
    anywhere = found.anywhere[rows, columns]
    clipped_cells = 0 if found.none else int(np.count_nonzero(anywhere[inside]))
    largest = largest_in(anywhere, inside) if clipped_cells else 0
    burnt = 0 if found.none else int(np.count_nonzero(found.everywhere[rows, columns][inside]))
    unintended = clipped_cells
    if state.exempt is not None and clipped_cells:
        unintended = int(np.count_nonzero(anywhere[inside & ~state.exempt[rows, columns]]))
    any_unknown, one_unknown = state.unsure(every=False), state.unsure(every=True)
    whole = state.shape[0] * state.shape[1]
    values: dict[str, float | Reason] = {
        "highlights.clipped_area": any_unknown or 100.0 * clipped_cells / cells,
        "highlights.burnt_area": one_unknown or 100.0 * burnt / cells,
        "highlights.unintended_area": any_unknown or 100.0 * unintended / cells,
        "highlights.largest_region": any_unknown or 100.0 * largest / whole,
    }
    for name in asked:
        if name == "highlights.headroom":
            plane = frame.cells.shape[1], frame.cells.shape[2]
            window, mask = zone.window(plane, frame.orientation), zone.mask_in_window(plane, frame.orientation)
            yield _reading(name, _headroom(state, window, mask), zone.name)
        else:
            bound = None if name.endswith("burnt_area") else state.bound
            yield _reading(name, values[name], zone.name, bound=bound)


def _findings(state: _State, readings: Sequence[Reading], found: Regions) -> Iterator[Finding]:
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
    burnt = {r.zone: r.value for r in readings if r.name == "highlights.burnt_area" and r.value is not None}
    for zone in with_role(state.zones, Role.ALLOW):
        if zone.budget is None or zone.name not in burnt:
            continue
        area = _burnt_of_frame(state, zone)
        if area > zone.budget:
            yield Finding(
                code="allow_exceeded",
                zone=zone.name,
                text=f"{zone.name} is burnt over {area:.2f} % of the frame, {zone.budget:g} % is allowed",
                data={"area": area, "budget": zone.budget},
            )


def _burnt_of_frame(state: _State, zone: Zone) -> float:
    """Burnt cells of an allowed zone that no zone protects, % of frame."""
    if state.exempt is None:
        return 0.0
    window = zone.window(state.shape, state.frame.orientation)
    inside = zone.mask_in_window(state.shape, state.frame.orientation) & state.exempt[window]
    burnt = int(np.count_nonzero(state.found.everywhere[window][inside]))
    return 100.0 * burnt / (state.shape[0] * state.shape[1])


SPEC = Spec(
    name="highlights",
    version=1,
    measure=measure,
    readings=READINGS,
    findings=FINDINGS,
    reasons=REASONS,
    rank=40,
    drawing="outlines",
)
