"""Cast: whether what should be neutral is neutral, read from a patch that the set sheet names.

The patch's mean light is balanced, taken through the camera matrix to CIELAB under D50, scaled to the lightness of
its reference and compared with it. Exposure therefore does not change a cast. What a card cannot tell, because it
is clipped, mirrors the light, is unevenly lit or too dark, is refused with the reason.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from qc.frame import Counts, Frame
from qc.measure._clipped import at_cells, clipped
from qc.measure.cast.map import backdrop_map
from qc.measure.cast.patch import Patch, cut_patch, refusal
from qc.measure.cast.specs import FINDINGS, READINGS, REASONS
from qc.measure.cast.values import Way, numbers, plus_minus, reference_of, way_of
from qc.reading import Finding, Measured, Rank, Reading, Reason, Spec
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone, with_role
from qc.words import spoken_number

WORST_ERROR = 1.0
"""± of a* or b* from which a patch is too dark to judge: half of the tightest default limit."""

DARKEST = 0.002
"""Light of the darkest colour under which a patch is too dark when the noise is not known: 9 stops under white."""

BRIGHTEST_UNSURE = 0.5
"""Light up to which a patch is taken for unclipped when saturation is not known; it is never looked for under half
of the tagged level."""


def measure(frame: Frame, *, zones: Sequence[Zone], brief: Brief) -> Measured:
    """Measure the cast of every patch zone, and map it over the backdrops; see `READINGS`."""
    patches, backdrops = with_role(zones, Role.PATCH), with_role(zones, Role.BACKDROP)
    if not patches and not backdrops:
        return Measured()
    if 0 in frame.cells.shape:
        reason = Reason("too_small", f"{frame.width} × {frame.height} px hold no whole cell")
        return Measured(readings=tuple(r for zone in patches for r in _missing(zone, reason)))
    burnt = burnt_cells(frame)
    readings: list[Reading] = []
    findings: list[Finding] = []
    for zone in patches:
        found, said = of_patch(frame, zone, brief, burnt)
        readings += found
        findings += said
    tile_map = backdrop_map(frame, backdrops, burnt)
    return Measured(
        readings=tuple(readings), findings=tuple(findings), maps=() if tile_map is None else (tile_map,)
    )


def burnt_cells(frame: Frame) -> Counts:
    """Return which cells of a frame hold a clipped photosite, as `of_patch` needs it."""
    return at_cells(frame, clipped(frame).anywhere)


def of_patch(frame: Frame, zone: Zone, brief: Brief, burnt: Counts) -> tuple[list[Reading], list[Finding]]:
    """Return the readings of one patch and what was found there, as `measure` gives them.

    Parameters
    ----------
    frame : Frame
        The capture, of one cell or more.
    zone : Zone
        Of the role ``patch``.
    brief : Brief
        For the white of the flash.
    burnt : ndarray
        From `burnt_cells`.
    """
    patch = cut_patch(frame, zone, burnt)
    if isinstance(patch, Reason):
        return list(_missing(zone, patch)), []
    reference = reference_of(zone)
    refused = _refused(frame, patch) or (reference if isinstance(reference, Reason) else None)
    of_patch = list(_patch_readings(frame, zone, patch))
    if refused is not None or isinstance(reference, Reason):
        reason = refused or reference
        assert isinstance(reason, Reason)
        return [*_missing(zone, reason, only="cast."), *of_patch], []
    way = way_of(frame, reference, brief.flash_white)
    readings = list(_cast_readings(frame, zone, patch, way))
    measured = any(reading.value is not None for reading in readings)
    return [*readings, *of_patch], [_what_against(frame, zone, way)] if measured else []


def _refused(frame: Frame, patch: Patch) -> Reason | None:
    """Why the patch cannot be a reference; what only its ± can tell is found later."""
    if frame.colours == "L":
        return Reason("wrong_kind", "a monochrome sensor sees no colour")
    if (reason := refusal(patch)) is not None:
        return reason
    darkest, brightest = float(patch.means.min()), float(patch.means.max())
    if any(s.level is None for s in frame.saturation) and brightest > BRIGHTEST_UNSURE:
        return Reason("saturation_unknown", "the patch is bright and saturation cannot be told from this frame")
    if darkest <= (DARKEST if frame.variance_of_photosite(0.0) is None else 0.0):
        return Reason("too_dark", f"the patch's darkest colour is at {spoken_number(100 * darkest, 2)} % of white")
    return None


def _missing(zone: Zone, reason: Reason, only: str = "") -> Iterator[Reading]:
    for spec in READINGS:
        if spec.name.startswith(only):
            yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=reason)


def _patch_readings(frame: Frame, zone: Zone, patch: Patch) -> Iterator[Reading]:
    uneven = SPEC.reading("patch.unevenness")
    if patch.unevenness is None:
        reason = (
            Reason("too_small", "the patch is too small to divide")
            if patch.means.max(initial=0.0) > 0
            else Reason("too_dark", "the patch is no brighter than black")
        )
        yield Reading(name=uneven.name, unit=uneven.unit, zone=zone.name, reason=reason)
    elif patch.too_dark:
        reason = Reason("too_dark", f"noise alone makes {patch.doubt:.0f} %")
        yield Reading(name=uneven.name, unit=uneven.unit, zone=zone.name, reason=reason)
    else:
        yield Reading(name=uneven.name, unit=uneven.unit, zone=zone.name, value=patch.unevenness)
    spec = SPEC.reading("patch.clipped")
    if any(s.level is None for s in frame.saturation):
        unknown = Reason("saturation_unknown", "the level at which the sensor saturates cannot be told")
        yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=unknown)
    else:
        yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, value=patch.clipped)


def _cast_readings(frame: Frame, zone: Zone, patch: Patch, way: Way) -> Iterator[Reading]:
    values = numbers(way, patch.means)
    errors, with_noise = plus_minus(frame, way, patch.means, patch.cells, values)
    worst = max((errors.get(name, 0.0) for name in ("delta_a", "delta_b")), default=0.0)
    dark = None
    if not worst <= WORST_ERROR:
        dark = Reason("too_dark", "noise and black leave a* or b* uncertain by more than 1 unit")
    doubt = None if with_noise else Reason("no_noise_model", "the noise of the sensor is not known")
    for spec in READINGS:
        if not spec.name.startswith("cast."):
            continue
        value = values[spec.name.removeprefix("cast.")]
        if dark is not None and not isinstance(value, Reason):
            value = dark
        if isinstance(value, Reason):
            yield Reading(name=spec.name, unit=spec.unit, zone=zone.name, reason=value)
            continue
        error = errors[spec.name.removeprefix("cast.")]
        if not np.isfinite(error):
            yield Reading(
                name=spec.name,
                unit=spec.unit,
                zone=zone.name,
                reason=Reason("too_dark", "the number does not stand clear of noise and black"),
            )
            continue
        yield Reading(
            name=spec.name,
            unit=spec.unit,
            zone=zone.name,
            value=value,
            plus_minus=error if with_noise else None,
            doubt=doubt,
        )


def _what_against(frame: Frame, zone: Zone, way: Way) -> Finding:
    lightness, a, b = (float(v) for v in way.reference)
    name = zone.reference or "neutral"
    x, y = way.white_xy
    return Finding(
        code="patch_reference",
        zone=zone.name,
        text=f"{zone.name} is compared with {name} at L* {lightness:.1f} under D50; warm and cool are told from a"
        f" white of x {x:.4f}, y {y:.4f}",
        data={
            "reference": name,
            "lab": [lightness, a, b],
            "white": "D50",
            "warm_cool_white": [x, y],
            "matrix": frame.colour.source,
            "rendered": frame.kind == "rendered",
        },
    )


SPEC = Spec(
    name="cast",
    version=1,
    measure=measure,
    readings=READINGS,
    findings=FINDINGS,
    reasons=REASONS,
    rank=Rank.COLOUR,
    drawing="tiles",
)
