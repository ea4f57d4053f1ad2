"""Highlights: areas, regions, zones, headroom; on simulated sensors whose truth is known, and on real captures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic, frame_from_rendered, open_frame
from qc.frame import Cfa, Frame, Saturation
from qc.judge import judge
from qc.measure.highlights import SPEC
from qc.reading import Measured
from qc.rehearse.sensor import Sensor
from qc.result import FileFacts
from qc.sheet.brief import Brief
from qc.sheet.limits import resolve
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone
from tests.measure.contract_cases import MONO, X_TRANS

SHAPE = (400, 600)
LOW = 512 + 0.93 * (16383 - 512)
"""Saturation 7 % under the tagged white level, DN."""

Light = NDArray[np.float64]


def shoot(light: Light, sensor: Sensor | None = None, cfa: Cfa = BAYER["RGGB"], orientation: int = 1) -> Frame:
    mosaic = (sensor or Sensor()).expose(light, cfa, np.random.default_rng(5))
    return frame_from_mosaic(mosaic, cfa=cfa, black=512.0, white=16383.0, orientation=orientation)


def measure(frame: Frame, zones: Sequence[Zone] = ()) -> Measured:
    return SPEC(frame, zones=zones, brief=Brief())


def value(result: Measured, name: str, zone: str | None = None) -> float:
    (reading,) = [r for r in result.readings if r.name == f"highlights.{name}" and r.zone == zone]
    assert reading.value is not None, reading.reason
    return reading.value


def reason(result: Measured, name: str, zone: str | None = None) -> str:
    (reading,) = [r for r in result.readings if r.name == f"highlights.{name}" and r.zone == zone]
    assert reading.reason is not None
    return reading.reason.code


def bottles() -> Light:
    """A sweep, a bottle with a hot rim that rolls off, a burnt face, a red lamp mirrored in the glaze."""
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    grey = 0.2 + 0.3 * x / SHAPE[1]
    grey = np.maximum(grey, 1.6 * np.exp(-(((x - 150) / 12.0) ** 2)) * (y > 60) * (y < 340))
    grey = np.where((np.abs(x - 420) < 45) & (np.abs(y - 200) < 60), 2.0, grey)
    light = np.repeat(grey[np.newaxis], 3, axis=0)
    light[0] = np.maximum(light[0], 1.4 * np.exp(-((np.hypot(x - 300, y - 80) / 25.0) ** 2)))
    return light


def truth(light: Light, sensor: Sensor, cfa: Cfa) -> tuple[float, float]:
    """Clipped and burnt cells of noise-free light, %."""
    index = np.tile(cfa.array(), (SHAPE[0] // 2, SHAPE[1] // 2))
    over = sensor.clipped(np.take_along_axis(light, index[np.newaxis], axis=0)[0], cfa)
    blocks = over.reshape(SHAPE[0] // 2, 2, SHAPE[1] // 2, 2).transpose(0, 2, 1, 3).reshape(-1, 4)
    order = cfa.array().reshape(-1)
    every = np.all([blocks[:, order == c].any(axis=1) for c in range(3)], axis=0)
    return 100 * float(blocks.any(axis=1).mean()), 100 * float(every.mean())


@pytest.mark.parametrize("phase", BAYER)
@pytest.mark.parametrize(
    "sensor", [Sensor(saturation=LOW), Sensor(saturation=LOW, plateau=0.005), Sensor()], ids=["low", "soft", "tag"]
)
def test_areas_are_within_a_twentieth_of_a_percent(sensor: Sensor, phase: str) -> None:
    # photon noise alone carries photosites just under saturation over it and back: the hot rim is steep enough
    clipped, burnt = truth(bottles(), sensor, BAYER[phase])
    result = measure(shoot(bottles(), sensor, BAYER[phase]))
    assert value(result, "clipped_area") == pytest.approx(clipped, abs=0.05)
    assert value(result, "burnt_area") == pytest.approx(burnt, abs=0.05)
    assert clipped > burnt + 0.5


@pytest.mark.parametrize("saturation", [None, LOW])
def test_a_burnt_patch_of_40_px_is_found_whole(saturation: float | None) -> None:
    light = np.full((3, *SHAPE), 0.4)
    light[:, 100:140, 200:240] = 2.0
    result = measure(shoot(light, Sensor(saturation=saturation)))
    assert value(result, "burnt_area") == pytest.approx(100 * 400 / 60_000)
    (region,) = result.regions
    assert region.what == "burnt"
    assert region.colours == "RGB"
    assert region.box == pytest.approx((200 / 600, 100 / 400, 40 / 600, 40 / 400))


@pytest.mark.parametrize(
    ("brightest", "sensor"),
    [
        (0.45, Sensor(hot=40)),
        (0.99, Sensor(gain=0.02)),
        (0.92, Sensor(saturation=LOW, gain=0.02)),
    ],
    ids=["40 hot photosites", "gradient to 0.99", "gradient to 0.99 of a low saturation"],
)
def test_hot_photosites_and_a_bright_gradient_are_no_highlight(brightest: float, sensor: Sensor) -> None:
    light = np.broadcast_to(np.linspace(0.05, brightest, SHAPE[1]), (3, *SHAPE)).copy()
    result = measure(shoot(light, sensor))
    for name in ("clipped_area", "burnt_area", "unintended_area", "largest_region"):
        assert value(result, name) == 0
    assert not result.regions


def with_clip(cells: dict[tuple[int, int, int], int]) -> Frame:
    frame = shoot(np.full((3, *SHAPE), 0.3))
    clip = np.zeros_like(frame.clip)
    for place, count in cells.items():
        clip[place] = count
    return replace(frame, clip=clip)


def test_one_clipped_green_of_two_counts() -> None:
    result = measure(with_clip({(1, 20, 30): 1}))
    assert value(result, "clipped_area") == pytest.approx(100 / 60_000)
    assert value(result, "clipped_green") == pytest.approx(100 / 120_000)
    assert value(result, "burnt_area") == 0
    assert result.regions[0].colours == "G"


def test_burnt_needs_every_colour() -> None:
    assert value(measure(with_clip({(0, 5, 5): 1, (1, 5, 5): 2})), "burnt_area") == 0
    assert value(measure(with_clip({(0, 5, 5): 1, (1, 5, 5): 1, (2, 5, 5): 1})), "burnt_area") > 0


def test_places_that_touch_at_a_corner_are_one() -> None:
    result = measure(with_clip({(1, 20, 30): 1, (1, 21, 31): 1, (1, 60, 60): 1}))
    assert [round(r.area * 600) for r in result.regions] == [2, 1]
    assert value(result, "largest_region") == pytest.approx(100 * 2 / 60_000)


PLACES = {(c, y, x): 1 for c in range(3) for y in range(10, 20) for x in range(10, 30)}
"""Clipped cells: a tenth by a tenth of the frame, at its top left."""

HERE = (20 / 600, 20 / 400, 40 / 600, 20 / 400)


@pytest.mark.parametrize(
    ("roles", "unintended"),
    [
        ((), 200),
        (("allow",), 0),
        (("backdrop",), 0),
        (("sharp",), 200),
        (("protect", "allow"), 200),
        (("backdrop", "allow", "protect"), 200),
    ],
)
def test_protect_goes_before_allow_and_backdrop(roles: tuple[str, ...], unintended: int) -> None:
    result = measure(with_clip(PLACES), [Zone.from_box(r, r, HERE) for r in roles])
    assert value(result, "unintended_area") == pytest.approx(100 * unintended / 60_000)
    assert value(result, "clipped_area") == pytest.approx(100 * 200 / 60_000)


def test_zones_have_their_own_area() -> None:
    half = Zone.from_box("label", "protect", (20 / 600, 20 / 400, 80 / 600, 20 / 400))
    result = measure(with_clip(PLACES), [half])
    for name in ("clipped_area", "burnt_area", "unintended_area"):
        assert value(result, name, "label") == pytest.approx(50.0)
    assert value(result, "largest_region", "label") == pytest.approx(100 * 200 / 60_000)
    assert result.regions[0].zone == "label"


@pytest.mark.parametrize(("budget", "level"), [(0.2, "warn"), (0.4, "clear"), (None, "unjudged")])
def test_the_budget_of_an_allowed_zone_is_its_limit(budget: float | None, level: str) -> None:
    zones = (Zone.from_box("rim", "allow", (0, 0, 1, 1), budget=budget),)
    result = measure(with_clip(PLACES), zones)
    assert value(result, "intended_area", "rim") == pytest.approx(100 * 200 / 60_000)
    limits = resolve([SPEC], Sheet(zones=zones))
    file = FileFacts(path="SB_0001.dng", name="SB_0001.dng")
    verdict = judge(file, result.readings, result.findings, specs=[SPEC], zones=zones, limits=limits)
    assert verdict.level == level
    if verdict.causes:
        assert verdict.causes[0].text == "rim burnt 0.33 % of the picture"
        assert verdict.causes[0].origin == "sheet, zone rim, budget"


def test_the_budget_counts_what_is_burnt_in_any_colour() -> None:
    # as `unintended_area` does outside: a rim that is clipped in red alone is neither missed nor counted twice
    only_red = {(0, y, x): 1 for y in range(10, 20) for x in range(10, 30)}
    zone = Zone.from_box("rim", "allow", (0, 0, 1, 1), budget=0.2)
    assert value(measure(with_clip(only_red), [zone]), "intended_area", "rim") == pytest.approx(100 * 200 / 60_000)


def test_a_protected_place_is_listed_before_a_larger_backdrop() -> None:
    cells = {(1, y, x): 1 for y in range(100, 190) for x in range(100, 290)} | {(1, 15, 15): 1}
    zones = [
        Zone.from_box("sweep", "backdrop", (0, 0.4, 1, 0.6)),
        Zone.from_box("label", "protect", (0, 0, 0.3, 0.3)),
    ]
    result = measure(with_clip(cells), zones)
    assert [r.zone for r in result.regions] == ["label", "sweep"]


def test_what_is_not_listed_is_summed() -> None:
    cells = {(1, 2 * y, 2 * x): 1 for y in range(5, 15) for x in range(5, 11)}
    result = measure(with_clip(cells))
    assert len(result.regions) == 40
    (more,) = [f for f in result.findings if f.code == "more_regions"]
    assert more.data["count"] == 20
    assert more.data["area"] == pytest.approx(100 * 20 / 60_000)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
def test_an_outline_runs_within_half_a_cell_of_the_truth(orientation: int) -> None:
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    light = np.where(np.hypot(x - 400.5, y - 150.5) < 80, 2.0, 0.3) * np.ones((3, 1, 1))
    frame = shoot(light, orientation=orientation)
    (region,) = measure(frame).regions
    width, height = frame.upright_size
    centre = {1: (401, 151), 3: (199, 249), 6: (249, 401), 8: (151, 199)}[orientation]
    radius = np.hypot(*(np.array(region.outline) * (width, height) - centre).T)
    assert np.abs(radius - 80).max() < 2.5
    assert region.area == pytest.approx(100 * np.pi * 80**2 / 240_000, rel=0.02)


@pytest.mark.parametrize("width", [4.0, 10.0, 24.0])
def test_an_edge_reads_its_width_from_ninety_percent(width: float) -> None:
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    distance = np.hypot(x - 300, y - 200) - 60
    grey = np.where(distance < 0, 2.0, np.maximum(1 - 0.1 * distance / width, 0.3))
    (region, *_) = measure(shoot(np.repeat(grey[np.newaxis], 3, axis=0))).regions
    assert region.edge == pytest.approx(width, abs=max(1.5, 0.15 * width))


def test_a_hard_edge_reads_under_two_photosites() -> None:
    light = np.full((3, *SHAPE), 0.3)
    light[:, 100:160, 200:280] = 2.0
    (region,) = measure(shoot(light)).regions
    assert region.edge is not None
    assert region.edge < 2


@pytest.mark.parametrize("level", [0.125, 0.5, 0.9])
@pytest.mark.parametrize("glints", [False, True])
def test_headroom_is_that_of_the_brightest_surface(level: float, glints: bool) -> None:
    light = np.full((3, *SHAPE), 0.05)
    light[1, 100:200, 300:500] = level
    if glints:
        light[:, 300:312, 100:112] = 3.0
        light[:, 20:21, 20:560:20] = 0.98
    assert value(measure(shoot(light)), "headroom") == pytest.approx(-np.log2(level), abs=0.03)


def test_headroom_counts_from_the_saturation_of_each_colour() -> None:
    light = np.full((3, *SHAPE), 0.05)
    light[2, 100:200, 300:500] = 0.4
    frame = shoot(light)
    blue_low = tuple(
        replace(s, level=512 + 0.5 * (16383 - 512)) if s.colour == "B" else s for s in frame.saturation
    )
    assert value(measure(replace(frame, saturation=blue_low)), "headroom") == pytest.approx(
        np.log2(0.5 / 0.4), abs=0.02
    )


def test_headroom_of_a_zone_is_its_own() -> None:
    light = np.full((3, *SHAPE), 0.05)
    light[:, :200] = 0.5
    label = Zone.from_box("label", "protect", (0.1, 0.6, 0.3, 0.3))
    result = measure(shoot(light), [label])
    assert value(result, "headroom", "label") == pytest.approx(-np.log2(0.05), abs=0.1)
    assert value(result, "headroom") == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize(("level", "code"), [(3.0, "clipped"), (0.0, "too_dark")])
def test_headroom_of_no_picture_has_a_reason(level: float, code: str) -> None:
    mosaic = Sensor().expose(np.full((3, *SHAPE), level), BAYER["RGGB"], None)
    assert reason(measure(frame_from_mosaic(mosaic, black=512.0, white=16383.0)), "headroom") == code


def test_unknown_saturation_is_a_reason_and_not_zero() -> None:
    frame = with_clip({})
    unknown = tuple(Saturation(colour=s.colour, level=None, source="unknown") for s in frame.saturation)
    result = measure(replace(frame, saturation=unknown), [Zone.from_box("label", "protect", HERE)])
    assert {r.reason.code for r in result.readings if r.reason is not None} == {"saturation_unknown"}
    assert all(r.value is None for r in result.readings)


def test_one_unknown_colour_leaves_a_lower_bound() -> None:
    frame = with_clip(PLACES)
    partly = (frame.saturation[0], frame.saturation[1], Saturation(colour="B", level=None, source="unknown"))
    result = measure(replace(frame, saturation=partly))
    (area,) = [r for r in result.readings if r.name == "highlights.clipped_area"]
    assert area.bound == "at least"
    assert reason(result, "burnt_area") == "saturation_unknown"
    assert reason(result, "clipped_blue") == "saturation_unknown"
    assert value(result, "clipped_red") > 0


def test_a_mosaic_of_six_by_six_counts_blocks_of_two() -> None:
    light = np.full((3, 360, 480), 0.3)
    light[:, 120:180, 120:240] = 2.0
    result = measure(shoot(light, cfa=X_TRANS))
    assert value(result, "clipped_area") == pytest.approx(100 * 60 * 120 / (360 * 480))
    assert value(result, "burnt_area") == pytest.approx(100 * 60 * 120 / (360 * 480), abs=0.15)
    for name in ("clipped_red", "clipped_green", "clipped_blue"):
        assert value(result, name) == pytest.approx(100 * 60 * 120 / (360 * 480), abs=0.1)


def test_green_alone_burns_nothing_in_a_six_by_six_mosaic() -> None:
    light = np.full((3, 360, 480), 0.3)
    light[1, 120:180, 120:240] = 2.0
    result = measure(shoot(light, cfa=X_TRANS))
    assert value(result, "clipped_area") > 3
    assert value(result, "burnt_area") == 0


def test_a_monochrome_sensor_has_no_red_to_clip() -> None:
    light = np.full((1, *SHAPE), 0.3)
    light[:, 100:140, 200:240] = 2.0
    result = measure(shoot(light, cfa=MONO))
    assert reason(result, "clipped_red") == "no_such_colour"
    assert value(result, "burnt_area") == value(result, "clipped_area") == pytest.approx(100 * 400 / 60_000)


def test_a_finished_picture_counts_pixels_at_the_top_code_and_says_so() -> None:
    light = np.full((100, 150, 3), 0.3)
    light[10:20, 10:40, 1] = 1.0
    result = measure(frame_from_rendered(light))
    assert value(result, "clipped_area") == pytest.approx(100 * 300 / 15_000)
    assert "top_code" in {f.code for f in result.findings}


def test_more_light_never_clips_less() -> None:
    areas = [value(measure(shoot(bottles() * f)), "clipped_area") for f in (0.4, 0.7, 1.0, 1.5, 4.0)]
    assert areas == sorted(areas)


@pytest.mark.captures
def test_real_a_flash_jpeg_has_its_counted_pixels_at_255(captures: Path) -> None:
    # 12.87 % of pixels with a channel at 255, counted on the decoded codes
    result = measure(open_frame(captures / "jpg_flash_g2.jpg"))
    assert value(result, "clipped_area") == pytest.approx(12.87, abs=0.01)


@pytest.mark.captures
def test_real_clipped_areas_are_the_counted_ones(captures: Path) -> None:
    # 1.07 % of photosites and 2.22 % of 2×2 cells at 1023, counted on the decoded mosaic
    frame = open_frame(captures / "ps_s40_0119.crw")
    assert value(measure(frame), "clipped_area") == pytest.approx(2.22, abs=0.05)
    assert 100 * int(frame.clip.sum(dtype=np.int64)) / (frame.width * frame.height) == pytest.approx(
        1.07, abs=0.03
    )


@pytest.mark.captures
def test_real_two_hot_photosites_are_no_highlight(captures: Path) -> None:
    result = measure(open_frame(captures / "ps_s40_0117.crw"))
    assert value(result, "clipped_area") == 0
    assert not result.regions
