"""A zone that is drawn reads what the whole way reads in it once it stands in a sheet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from qc.decode import open_frame
from qc.measure import specs
from qc.measure.sharpness.windows import WHOLE
from qc.pages.drawing.readings import ZoneReadings
from qc.pipeline import measure_capture
from qc.rehearse.dng import write_dng
from qc.rehearse.studio import Studio
from qc.sheet.brief import Brief
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role, Zone
from tests.measure.contract_cases import CASES, ZONES

LARGE = (1600, 2400)


SOME = tuple(z for z in ZONES if z.name.endswith((" inside", " triangle", " over the edge", "chart", "lightness")))
CLIPPED = ("RGGB, clipped", "X-Trans, clipped", "rendered, clipped")
FRAMES = [name for name in CASES if name.endswith(", scene") or name in CLIPPED or "orientation" in name]


@pytest.mark.parametrize("case", FRAMES)
def test_every_zone_of_every_kind_of_frame_reads_as_in_a_sheet(case: str) -> None:
    frame = CASES[case].frame()
    readings = ZoneReadings(frame, Brief())
    measured = [spec(frame, zones=SOME, brief=Brief()) for spec in specs() if not spec.companions]
    for zone in SOME:
        told = [reading for m in measured for reading in m.readings if reading.zone == zone.name]
        assert list(readings.all(zone, SOME)) == told, zone.name
        assert told, zone.name


@pytest.fixture(scope="module", params=[1, 6])
def large(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A capture that sharpness reads in windows, turned."""
    path = tmp_path_factory.mktemp("large") / "SB_0001.dng"
    mosaic = Studio(seed=3, size=LARGE).frame().mosaic
    assert mosaic is not None
    assert mosaic.size > WHOLE
    return write_dng(path, mosaic, cfa="RGGB", black=512, white=16383, orientation=request.param)


POLYGON = ((0.3, 0.25), (0.72, 0.3), (0.66, 0.81), (0.34, 0.74))


def test_a_large_turned_capture_reads_alike_zone_after_zone(large: Path) -> None:
    """What is kept from one zone to the next changes nothing, whichever came before."""
    zones = tuple(zone for role in Role for zone in drawn(role))
    readings = ZoneReadings(open_frame(large), Brief())
    result = measure_capture(large, Sheet(zones=zones))
    for zone in zones:
        told = [reading for reading in result.readings if reading.zone == zone.name]
        assert list(readings.all(zone, zones)) == told
        assert told
    for zone in drawn(Role.PROTECT):  # alone, so that other windows are read
        told = [reading for reading in measure_capture(large, Sheet(zones=(zone,))).readings if reading.zone]
        assert list(readings.all(zone, (zone,))) == told


def drawn(role: Role) -> tuple[Zone, ...]:
    return (
        Zone.from_box(f"{role} box", role, (0.4, 0.45, 0.2, 0.2), budget=1.0 if role is Role.ALLOW else None),
        Zone(name=f"{role} polygon", role=role, points=POLYGON),
        Zone.from_box(f"{role} whole", role, (0.0, 0.0, 1.0, 1.0)),
    )


def test_values_are_read_and_not_only_reasons(large: Path) -> None:
    readings = ZoneReadings(open_frame(large), Brief())
    valued = set()
    for left in (0.2, 0.35, 0.5):
        for top in (0.2, 0.35, 0.5):
            zone = Zone.from_box("drawn", Role.PROTECT, (left, top, 0.25, 0.25))
            valued |= {reading.name for reading in readings.all(zone, (zone,)) if reading.value is not None}
    assert {"sharpness.blur", "exposure.level", "highlights.clipped_area"} <= valued


def test_blur_is_quick_once_its_windows_were_read(large: Path) -> None:
    readings = ZoneReadings(open_frame(large), Brief())
    zone = Zone.from_box("drawn", Role.SHARP, (0.3, 0.3, 0.3, 0.3))
    moved = Zone.from_box("drawn", Role.SHARP, (0.6, 0.1, 0.3, 0.3))
    assert not readings.quick_blur((zone,))
    readings.by("sharpness", zone, (zone,))
    assert readings.quick_blur((zone,))
    assert readings.quick_blur((replace(zone, name="renamed"),))
    assert not readings.quick_blur((moved,))
    assert readings.quick_cast(zone, (zone,))


def test_a_finished_picture_says_why_it_has_no_blur() -> None:
    readings = ZoneReadings(CASES["rendered, scene"].frame(), Brief())
    zone = Zone.from_box("drawn", Role.SHARP, (0.3, 0.3, 0.3, 0.3))
    assert readings.quick_blur((zone,))
    blur = next(r for r in readings.by("sharpness", zone, (zone,)) if r.name == "sharpness.blur")
    assert (blur.zone, blur.value) == ("drawn", None)
    assert blur.reason is not None
    assert "rendered" in blur.reason.text
