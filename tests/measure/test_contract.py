"""What every measurement promises, whatever the frame; one that joins the registry is covered without an edit."""

from __future__ import annotations

import json
import math
import string
from collections.abc import Iterator, Sequence
from functools import cache, lru_cache
from importlib import import_module

import numpy as np
import pytest

from qc.frame import Frame
from qc.measure import NAMES
from qc.reading import COMMON_REASONS, Measured, Reading, Reason, Spec
from qc.sheet.brief import Brief
from qc.sheet.zones import Role
from tests.measure.contract_cases import CASES, DARKER, ZONES

ROLES = {zone.name: zone.role for zone in ZONES}
PARTS = ("% of cells", "% of frame", "% of photosites", "% of detailed area", "fraction of frame")
measurement = pytest.mark.parametrize("name", NAMES)
case = pytest.mark.parametrize("case", CASES)


def spec_of(name: str) -> Spec:
    spec: Spec = import_module(f"qc.measure.{name}").SPEC
    return spec


@lru_cache(maxsize=4)
def frames_of(case: str) -> tuple[Frame, Frame]:
    return CASES[case].frame(), CASES[case].frame(DARKER)


def run(spec: Spec, frames: Sequence[Frame]) -> Measured:
    companions = frames[1:] if spec.companions else ()
    return spec(frames[0], zones=ZONES, brief=Brief(), companions=companions)


@cache
def measured(name: str, case: str) -> Measured:
    return run(spec_of(name), frames_of(case))


def reasons_of(result: Measured) -> Iterator[tuple[Reading, Reason]]:
    for reading in result.readings:
        for reason in (reading.reason, reading.doubt):
            if reason is not None:
                yield reading, reason


@case
@measurement
def test_every_reading_is_there_once_and_as_declared(name: str, case: str) -> None:
    spec, result, frame = spec_of(name), measured(name, case), frames_of(case)[0]
    declared = {r.name: r for r in spec.readings}
    places = [(r.name, r.zone) for r in result.readings]
    assert len(places) == len(set(places))
    for reading in result.readings:
        assert reading.name in declared
        assert reading.unit == declared[reading.name].unit
        if reading.zone is None:
            assert declared[reading.name].per_frame, reading.name
        else:
            assert ROLES[reading.zone] in declared[reading.name].per_zone, (reading.name, reading.zone)
    wanted: set[tuple[str, str | None]] = {(r.name, None) for r in spec.readings if r.per_frame}
    if frame.kind in spec.kinds:
        wanted |= {(r.name, z.name) for r in spec.readings for z in ZONES if z.role in r.per_zone}
    assert wanted <= set(places)


@case
@measurement
def test_every_number_is_a_number(name: str, case: str) -> None:
    for reading in measured(name, case).readings:
        for number in (reading.value, reading.plus_minus):
            assert number is None or (isinstance(number, float) and math.isfinite(number)), reading
        if reading.plus_minus is not None:
            assert reading.value is not None
            assert reading.plus_minus >= 0
            assert reading.doubt is None
        if reading.value is None:
            assert reading.bound is None
        elif reading.unit in PARTS[:-1]:
            assert 0 <= reading.value <= 100 + 1e-9, reading


@case
@measurement
def test_every_word_is_declared(name: str, case: str) -> None:
    spec, result = spec_of(name), measured(name, case)
    for reading, reason in reasons_of(result):
        assert reason.code in {**COMMON_REASONS, **spec.reasons}, (reading.name, reason)
        assert reason.text
    for finding in result.findings:
        assert finding.code in spec.findings
        assert finding.text
        assert finding.zone is None or finding.zone in ROLES
        json.dumps(dict(finding.data), allow_nan=False)


@case
@measurement
def test_every_place_lies_in_the_picture(name: str, case: str) -> None:
    result, frame = measured(name, case), frames_of(case)[0]
    for region in result.regions:
        left, top, width, height = region.box
        assert min(left, top, width, height) >= -1e-9
        assert max(left + width, top + height) <= 1 + 1e-9
        assert 0 <= region.area <= 100
        assert set(region.colours) <= set(frame.colours)
        assert region.zone is None or region.zone in ROLES
        outline = np.array(region.outline).reshape(-1, 2)
        assert np.all((outline >= -1e-9) & (outline <= 1 + 1e-9))
        assert len(outline) == 0 or len(outline) >= 3
    for tile_map in result.maps:
        declared = {r.name: r.unit for r in spec_of(name).readings}
        assert declared[tile_map.name] == tile_map.unit
        assert tile_map.values.dtype == np.float32
        assert tile_map.values.ndim == 2
        assert not np.isinf(tile_map.values).any()
        assert tile_map.angles is None or tile_map.angles.shape == tile_map.values.shape


@case
@measurement
def test_measuring_again_gives_the_same_and_leaves_the_frame_alone(name: str, case: str) -> None:
    spec, first = spec_of(name), measured(name, case)
    frames = CASES[case].frame(), CASES[case].frame(DARKER)
    kept = [[None if a is None else a.copy() for a in arrays(frame)] for frame in frames]
    again = run(spec, frames)
    assert again.readings == first.readings
    assert again.findings == first.findings
    assert again.regions == first.regions
    assert len(again.maps) == len(first.maps)
    for one, other in zip(again.maps, first.maps, strict=True):
        np.testing.assert_array_equal(one.values, other.values)
    for frame, before in zip(frames, kept, strict=True):
        for array, copy in zip(arrays(frame), before, strict=True):
            if array is not None:
                np.testing.assert_array_equal(array, copy)


def arrays(frame: Frame) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.generic]] | None, ...]:
    return frame.mosaic, frame.pixels, frame.cells, frame.clip


@measurement
def test_a_frame_without_zones_has_no_zone_readings(name: str) -> None:
    spec, frames = spec_of(name), frames_of("RGGB, scene")
    companions = frames[1:] if spec.companions else ()
    result = spec(frames[0], zones=(), brief=Brief(), companions=companions)
    assert {r.zone for r in result.readings} <= {None}
    assert {r.name for r in result.readings} == {r.name for r in spec.readings if r.per_frame}


@measurement
@pytest.mark.parametrize("orientation", [2, 3, 4, 5, 6, 7, 8])
def test_regions_turn_with_the_picture(name: str, orientation: int) -> None:
    from qc.orientation import box_to_sensor

    plain = run(spec_of(name), frames_of("RGGB, scene")).regions
    turned = run(spec_of(name), frames_of(f"orientation {orientation}")).regions
    assert len(plain) == len(turned)
    ours = sorted(tuple(np.round(r.box, 9)) for r in plain)
    theirs = sorted(tuple(np.round(box_to_sensor(r.box, orientation), 9)) for r in turned)
    np.testing.assert_allclose(np.array(ours), np.array(theirs), atol=1e-8)


@measurement
def test_the_catalogue_explains_every_reading(name: str) -> None:
    spec = spec_of(name)
    assert spec.name == name
    assert spec.version >= 1
    assert spec.readings
    assert len({r.name for r in spec.readings}) == len(spec.readings)
    for reading in spec.readings:
        assert reading.name.count(".") == 1
        fields = [field for _, field, _, _ in string.Formatter().parse(reading.phrase) if field is not None]
        assert "value" in fields, reading.name
        assert set(fields) <= {"value", "zone", "stops"}, reading.name
        assert "." not in reading.phrase.replace("{value}", "").split(" ")[0], "a catalogue name is not spoken"
        for text in (reading.meaning, reading.low_end, reading.high_end, reading.method, reading.source):
            assert text.strip() == text
            assert len(text) >= 5, reading.name
        assert reading.meaning.endswith("."), reading.name
        assert reading.comparable_when, reading.name
        assert "." not in reading.spoken_name
        assert "_" not in reading.spoken_name
        assert reading.per_frame or reading.per_zone, reading.name
    for code, text in {**spec.findings, **spec.reasons}.items():
        assert code.isidentifier()
        assert code == code.lower()
        assert text
    assert not set(spec.reasons) & set(COMMON_REASONS)


@measurement
def test_default_limits_are_in_order_and_have_a_source(name: str) -> None:
    for reading in spec_of(name).readings:
        for table in (reading.limits, reading.frame_limits):
            if not table:
                continue
            assert set(table) <= {"loose", "series", "strict"}, reading.name
            assert len(reading.limits_source) >= 10, reading.name
            sign = -1.0 if reading.worse == "low" else 1.0
            for preset in table.values():
                steps = [sign * v for v in (preset.note, preset.warn, preset.halt) if v is not None]
                assert steps, reading.name
                assert steps == sorted(steps), reading.name
            for severity in ("note", "warn", "halt"):
                across = [getattr(table[p], severity) for p in ("strict", "series", "loose") if p in table]
                given = [sign * v for v in across if v is not None]
                assert given == sorted(given), (reading.name, severity)
        if reading.limits:
            assert set(reading.limit_roles) <= set(reading.per_zone), reading.name
            assert reading.limit_roles or reading.per_frame, reading.name
        if reading.frame_limits:
            assert reading.per_frame, reading.name
            assert reading.limit_roles, "a reading judged in the frame alone keeps its limits in `limits`"


def test_no_two_measurements_share_a_reading() -> None:
    names = [reading.name for name in NAMES for reading in spec_of(name).readings]
    assert len(names) == len(set(names))


def test_zones_of_every_role_are_tried() -> None:
    assert set(ROLES.values()) == set(Role)
