"""Mean light in stops under saturation: known light comes back, and what cannot be known says so.

A stop is a factor of two of exposure (APEX, Exif 2.32 annex C, from memory): known light gives its logarithm, and
real exposures of one chart differ by what their recorded times say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import MosaicHint, frame_from_linear, frame_from_mosaic, frame_from_rendered, open_frame
from qc.frame import Black, Frame, Noise, Saturation
from qc.measure.exposure import SPEC, of_zone
from qc.reading import Reading
from qc.rehearse.sensor import Sensor
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone
from tests.measure.contract_cases import LAYOUTS

Light = NDArray[np.float64]

SHAPE = (120, 180)
NOISE = Noise(gain=0.4, read_noise=2.5, source="given")
LEFT = Zone.from_box("left", Role.SHARP, (0.0, 0.0, 0.5, 1.0))
RIGHT = Zone.from_box("right", Role.ALLOW, (0.5, 0.0, 0.5, 1.0))
WHERE = ("left", "right")


def shoot(
    light: Light | float, layout: str = "RGGB", sensor: Sensor | None = None, seed: int | None = 1, turn: int = 1
) -> Frame:
    cfa, sensor = LAYOUTS[layout], sensor or Sensor()
    seen = np.broadcast_to(np.asarray(light, dtype=np.float64), (len(cfa.colours), *SHAPE))
    rng = None if seed is None else np.random.default_rng(seed)
    mosaic = sensor.expose(seen, cfa, rng)
    frame = frame_from_mosaic(mosaic, cfa=cfa, black=sensor.black, white=sensor.white, orientation=turn)
    return replace(frame, noise=NOISE)


def halves(left: float, right: float) -> Light:
    light = np.full((1, *SHAPE), left)
    light[..., SHAPE[1] // 2 :] = right
    return light


def readings(frame: Frame, zones: Sequence[Zone] = ()) -> dict[str | None, Reading]:
    return {reading.zone: reading for reading in SPEC(frame, zones=zones, brief=Brief()).readings}


def level(frame: Frame, zone: Zone | None = None) -> Reading:
    return readings(frame, [zone] if zone else [])[zone.name if zone else None]


def value(reading: Reading) -> float:
    assert reading.value is not None, reading.reason
    return reading.value


def why(reading: Reading) -> str:
    assert reading.reason is not None
    return reading.reason.code


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("stops", [1, 3, 6])
def test_even_light_reads_how_far_it_lies_under_saturation(layout: str, stops: int) -> None:
    found = level(shoot(2.0**-stops, layout))
    assert found.bound is None
    assert found.plus_minus is not None
    assert abs(value(found) - stops) <= found.plus_minus


@pytest.mark.parametrize("factor", [0.5, 2.0, 4.0])
def test_a_stop_more_light_is_a_stop_less_to_saturation(factor: float) -> None:
    light = np.linspace(0.02, 0.2, SHAPE[1])[np.newaxis, np.newaxis] * np.array([0.6, 1.0, 0.7])[:, None, None]
    plain, changed = (value(level(shoot(light * f))) for f in (1.0, factor))
    assert plain - changed == pytest.approx(math.log2(factor), abs=0.002)


def test_the_colour_nearest_to_its_own_saturation_decides() -> None:
    light = np.array([0.25, 0.5, 0.1])[:, None, None]
    assert value(level(shoot(light))) == pytest.approx(1.0, abs=0.005)
    # red saturates at 5/16 of the scale: 0.25 of light lies nearer to that than green to its own
    frame = shoot(light)
    low = Saturation(colour="R", level=512 + 15871 * 5 / 16, source="given")
    frame = replace(frame, saturation=(low, *frame.saturation[1:]))
    assert value(level(frame)) == pytest.approx(math.log2(5 / 4), abs=0.005)


def test_a_low_saturation_counts_and_not_the_tag() -> None:
    frame = shoot(halves(0.1875, 0.5))
    low = tuple(replace(s, level=512.0 + 0.75 * 15871) for s in frame.saturation)
    found = level(replace(frame, saturation=low), LEFT)
    assert value(found) == pytest.approx(2.0, abs=0.01)
    assert found.bound is None


def test_a_zone_is_read_by_itself() -> None:
    found = readings(shoot(halves(1 / 16, 1 / 4)), [LEFT, RIGHT])
    assert value(found["left"]) == pytest.approx(4.0, abs=0.01)
    assert value(found["right"]) == pytest.approx(2.0, abs=0.01)
    assert value(found[None]) == pytest.approx(-math.log2((1 / 16 + 1 / 4) / 2), abs=0.01)


@pytest.mark.parametrize("layout", [*LAYOUTS, "linear"])
def test_a_place_that_is_half_clipped_lies_at_most_so_far_under(layout: str) -> None:
    light = halves(1 / 8, 3.0)
    if layout == "linear":
        counts = np.clip(np.broadcast_to(light, (3, *SHAPE)) * 15871 + 512, 0, 16383)
        frame = frame_from_linear(np.moveaxis(counts, 0, -1).astype(np.uint16), black=512.0, white=16383.0)
    else:
        frame = shoot(light, layout)
    found = readings(frame, [LEFT, RIGHT])
    assert found[None].bound == "at most"
    assert value(found[None]) == pytest.approx(-math.log2((1 / 8 + 1) / 2), abs=0.01)
    assert [found[name].bound for name in ("left", "right")] == [None, "at most"]
    assert value(found["left"]) == pytest.approx(3.0, abs=0.01)
    assert value(found["right"]) == pytest.approx(0.0, abs=1e-3)


def test_a_soft_plateau_never_reads_above_saturation() -> None:
    frame = shoot(halves(0.4, 3.0))
    lower_end = tuple(replace(s, level=s.level - 80, width=160.0) for s in frame.saturation if s.level)
    found = level(replace(frame, saturation=lower_end), RIGHT)
    assert (found.bound, value(found)) == ("at most", 0.0)


def test_one_clipped_photosite_anywhere_in_the_place_makes_it_a_bound() -> None:
    frame = shoot(0.2)
    clip = np.zeros_like(frame.clip)
    clip[2, 10, 20] = 1
    found = readings(replace(frame, clip=clip), [LEFT, RIGHT])
    assert [found[name].bound for name in (None, "left", "right")] == ["at most", "at most", None]


def test_one_zone_alone_reads_what_it_reads_among_all() -> None:
    frame = shoot(halves(1 / 16, 3.0))
    assert [of_zone(frame, zone) for zone in (LEFT, RIGHT)] == [readings(frame, [LEFT, RIGHT])[n] for n in WHERE]


def test_a_polygon_sees_what_lies_in_it_alone() -> None:
    light = np.full((1, *SHAPE), 0.5)
    y, x = np.mgrid[0 : SHAPE[0], 0 : SHAPE[1]]
    light[0][y / SHAPE[0] > x / SHAPE[1] + 0.02] = 3.0
    corner = Zone(name="corner", role=Role.PROTECT, points=((0.02, 0.0), (1.0, 0.0), (1.0, 0.98)))
    found = level(shoot(light), corner)
    assert value(found) == pytest.approx(1.0, abs=0.01)
    assert found.bound is None


@pytest.mark.parametrize("layout", ["RGGB", "X-Trans"])
@pytest.mark.parametrize("turn", range(1, 9))
def test_a_zone_turns_with_the_picture(turn: int, layout: str) -> None:
    from qc.orientation import points_to_upright

    light = np.full((1, *SHAPE), 0.125)
    light[:, 12:48, 24:84] = 0.5  # whole cells of either mosaic
    corners = np.array([[24, 12], [84, 12], [84, 48], [24, 48]]) / (SHAPE[1], SHAPE[0])
    upright = tuple((float(x), float(y)) for x, y in points_to_upright(corners, turn))
    found = level(shoot(light, layout, turn=turn), Zone(name="card", role=Role.PATCH, points=upright))
    assert value(found) == pytest.approx(1.0, abs=0.01)


def test_plus_minus_is_two_standard_errors_of_many_frames() -> None:
    small = Zone.from_box("small", Role.WITNESS, (0.4, 0.4, 0.05, 0.05))
    found = [level(shoot(0.004, seed=seed), small) for seed in range(200)]
    spread = float(np.std([value(reading) for reading in found], ddof=1))
    frame = replace(shoot(0.004), black=Black(levels=((512.0,),), source="given", uncertainty=0.0))
    stated = level(frame, small).plus_minus
    assert stated is not None
    # of 200 frames a standard deviation is known to 5 %
    assert stated == pytest.approx(2 * spread, rel=0.2)


def test_black_that_is_not_known_well_widens_plus_minus() -> None:
    frame = shoot(0.01, seed=None)
    sure, unsure = (
        level(replace(frame, black=replace(frame.black, uncertainty=error))).plus_minus for error in (0.0, 8.0)
    )
    assert sure is not None
    assert unsure == pytest.approx(-math.log2(1 - 2 * 8 / (0.01 * 15871)), abs=2 * sure)


@pytest.mark.parametrize("noise", [NOISE, Noise()])
@pytest.mark.parametrize("light", [0.0, -0.001, 0.00005])
def test_what_does_not_stand_clear_of_noise_and_black_has_no_level(light: float, noise: Noise) -> None:
    found = level(replace(shoot(light), noise=noise))
    assert why(found) == "too_dark"


def test_without_a_noise_model_there_is_a_number_and_no_plus_minus() -> None:
    found = level(replace(shoot(0.125), noise=Noise()))
    assert value(found) == pytest.approx(3.0, abs=0.01)
    assert found.plus_minus is None
    assert found.doubt is not None
    assert found.doubt.code == "no_noise_model"


def test_unknown_saturation_is_a_reason() -> None:
    frame = shoot(0.3)
    unknown = Saturation(colour="B", level=None, source="unknown")
    found = readings(replace(frame, saturation=(*frame.saturation[:2], unknown)), [LEFT])
    assert [why(reading) for reading in found.values()] == ["saturation_unknown"] * 2


def test_saturation_at_black_is_a_reason() -> None:
    frame = shoot(0.3)
    low = tuple(replace(s, level=512.0) for s in frame.saturation)
    assert why(level(replace(frame, saturation=low))) == "saturation_unknown"


def test_a_finished_picture_is_read_against_its_top_code() -> None:
    light = np.full((*SHAPE, 3), 0.25)
    found = level(frame_from_rendered(light))
    assert value(found) == pytest.approx(2.0, abs=1e-4)
    assert found.doubt is not None
    assert "top code" in found.doubt.text


def test_places_without_a_cell_say_so() -> None:
    outside = Zone.from_box("outside", Role.PROTECT, (1.5, 0.0, 0.2, 0.2))
    found = readings(shoot(0.3), [outside])
    assert why(found["outside"]) == "outside_frame"
    tiny = frame_from_mosaic(np.full((1, 5), 900, np.uint16), black=512.0, white=16383.0)
    assert [why(reading) for reading in readings(tiny, [LEFT]).values()] == ["too_small"] * 2


def test_every_role_has_a_level_and_none_a_limit() -> None:
    (spec,) = SPEC.readings
    assert set(spec.per_zone) == set(Role)
    assert spec.worse is None
    assert not spec.limits


TIMES = (25, 50, 100, 250)
PLACES = (
    Zone.from_box("a patch of the chart", Role.PATCH, (0.52, 0.32, 0.06, 0.06)),
    Zone.from_box("a darker one", Role.PATCH, (0.72, 0.62, 0.06, 0.06)),
)


@pytest.mark.captures
@pytest.mark.parametrize("zone", PLACES, ids=lambda zone: zone.name)
@pytest.mark.parametrize(("short", "long"), list(combinations(TIMES, 2)))
def test_a_real_exposure_series_reads_the_ratio_of_its_times(
    captures: Path, short: int, long: int, zone: Zone
) -> None:
    # exposure times stand in the file names of the data set (MANIFEST of the captures); no phase of the mosaic
    # is known, but under light of 550 nm one position sees nearly all of it and decides by any. Both patches stay
    # under half of saturation: at 0.9 of it this sensor reads 0.07 stop too little light
    hint = MosaicHint(cfa="GRBG", black=0.0, white=255.0)
    frames = [open_frame(captures / f"mv_chart_550nm_{ms}ms.tif", mosaic=hint) for ms in (short, long)]
    one, other = (level(frame, zone) for frame in frames)
    assert (one.bound, other.bound) == (None, None)
    assert value(one) - value(other) == pytest.approx(math.log2(long / short), abs=0.05)


@pytest.mark.captures
def test_a_real_capture_with_the_flash_lies_nearer_to_clipping_than_without(captures: Path) -> None:
    flash, room = (level(open_frame(captures / f"jpg_{name}_g2.jpg")) for name in ("flash", "ambient"))
    assert value(flash) < value(room)
