"""How far the room lies under the flash, on sets whose light layers are known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from qc.errors import UsageError
from qc.frame import Black, Noise
from qc.measure.ambient import SPEC
from qc.rehearse.sensor import Sensor
from qc.sheet.zones import Zone
from tests.measure.ambient_run import BLACK_POT, BLUE_POT, CARD, ZONES, get, run, said, value
from tests.measure.ambient_scene import SENSOR, TUNGSTEN, WINDOW, Set, shoot

# the arithmetic


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("stops", [3.0, 4.0, 5.0, 6.0, 7.0])
def test_stops_under_is_within_a_tenth_beside_a_black_pot_a_clipped_card_and_a_lamp(
    stops: float, known: bool
) -> None:
    scene = Set(stops=stops + 1.5, lamp_stops=stops - 0.5, room=WINDOW)
    measured = run(*scene.frames(known=known), zones=ZONES)
    assert value(measured, "stops_under") == pytest.approx(scene.truth(), abs=0.1)
    assert value(measured, "to_flash") == pytest.approx(100 * 2 ** -scene.truth(), rel=0.07)
    sweep = scene.truth(slice(0, 32))
    assert value(measured, "stops_under", "sweep") == pytest.approx(sweep, abs=0.1)


@pytest.mark.parametrize("known", [True, False])
@pytest.mark.parametrize("stops", [3.0, 5.0, 7.0])
def test_under_even_light_the_truth_lies_within_the_plus_minus(stops: float, known: bool) -> None:
    measured = run(*Set(stops=stops).frames(known=known), zones=(BLUE_POT, BLACK_POT))
    for zone in (None, "blue pot", "black pot"):
        reading = get(measured, "stops_under", zone)
        if reading.bound is None:
            assert reading.plus_minus is not None
            assert abs(value(measured, "stops_under", zone) - stops) <= reading.plus_minus
    worst = get(measured, "worst_stops_under")
    assert worst.plus_minus is not None
    assert value(measured, "worst_stops_under") == pytest.approx(stops, abs=max(0.05, worst.plus_minus))


def test_the_worst_place_is_the_half_that_a_lamp_lights() -> None:
    scene = Set(stops=7.0, lamp_stops=5.0)
    measured = run(*scene.frames())
    in_lamp = -np.log2(2.0**-7 + 2.0**-5)
    assert value(measured, "worst_stops_under") == pytest.approx(in_lamp, abs=0.1)
    assert value(measured, "stops_under") > value(measured, "worst_stops_under") + 0.4


@pytest.mark.parametrize("stops", [4.0, 6.0])
def test_doubling_the_shutter_time_raises_ambient_by_a_stop_and_leaves_the_flash(stops: float) -> None:
    scene = Set(stops=stops)
    once, twice = scene.frames(), scene.frames(5, shutter=2.0)
    first, second = run(*once), run(*twice)
    assert value(second, "stops_under") == pytest.approx(value(first, "stops_under") - 1.0, abs=0.02)
    flash = [lit.cells.astype(float).mean() - dark.cells.astype(float).mean() for lit, dark in (once, twice)]
    clipped_alike = flash[1] / flash[0]
    assert clipped_alike == pytest.approx(1.0, abs=0.02)


def test_halving_all_light_leaves_stops_under() -> None:
    full, half = (run(*Set(stops=5.0, room=WINDOW, exposure=e, flash=0.35).frames()) for e in (1.0, 0.5))
    assert value(half, "stops_under") == pytest.approx(value(full, "stops_under"), abs=0.02)
    assert value(half, "colour_shift") == pytest.approx(value(full, "colour_shift"), abs=0.1)


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("cfa", ["RGGB", "GBRG"])
def test_phase_and_orientation_do_not_change_the_frame(orientation: int, cfa: str) -> None:
    measured = run(*Set(stops=5.0, room=TUNGSTEN).frames(cfa=cfa, orientation=orientation))
    assert value(measured, "stops_under") == pytest.approx(5.0, abs=0.03)
    assert value(measured, "temperature") == pytest.approx(2856, abs=30)


# the floor and black


@pytest.mark.parametrize("stops", [12.0, 14.0, 40.0])
def test_at_the_floor_the_answer_is_at_least(stops: float) -> None:
    measured = run(*Set(stops=stops).frames(), zones=(BLACK_POT,))
    reading = get(measured, "stops_under")
    assert reading.bound == "at least"
    assert 8.0 < value(measured, "stops_under") <= stops
    assert get(measured, "to_flash").bound == "at most"
    assert get(measured, "colour_shift").bound == "at most"
    assert get(measured, "temperature").reason is not None


@pytest.mark.parametrize("stops", [4.0, 6.0, 8.0, 10.0])
def test_black_3_dn_off_the_tag_changes_nothing_where_masked_pixels_show_it(stops: float) -> None:
    right = run(*Set(stops=stops).frames())
    sensor = replace(SENSOR, black=SENSOR.black + 3)
    shown = Black(levels=((sensor.black,) * 2,) * 2, source="masked pixels", uncertainty=0.1)
    moved = run(*Set(stops=stops).frames(sensor=sensor, black=shown))
    one, other = get(right, "stops_under"), get(moved, "stops_under")
    assert one.plus_minus is not None
    assert other.plus_minus is not None
    assert other.plus_minus < one.plus_minus
    assert abs(value(moved, "stops_under") - stops) <= other.plus_minus
    assert abs(value(moved, "stops_under") - value(right, "stops_under")) <= one.plus_minus


def test_where_only_one_frame_has_masked_pixels_the_tag_serves_both_and_is_doubted() -> None:
    lit, dark = Set(stops=5.0).frames()
    off = replace(lit, black=Black(levels=((515.0,) * 2,) * 2, source="masked pixels", uncertainty=0.1))
    cells = lit.cells - np.float32(3.0 / lit.scale)
    measured, plain = run(replace(off, cells=cells), dark), run(lit, dark)
    assert said(measured, "black_sources_differ")
    assert value(measured, "stops_under") == pytest.approx(value(plain, "stops_under"), abs=0.01)
    assert (get(measured, "stops_under").plus_minus or 0) > 3 * (get(plain, "stops_under").plus_minus or 9)


def test_a_dark_frame_below_black_widens_the_plus_minus() -> None:
    black = Black(levels=((SENSOR.black + 4,) * 2,) * 2, source="tag", uncertainty=0.5)
    reflectance = np.full((3, 400, 600), 0.5)
    reflectance[:, :200] = 0.0
    measured = run(*Set(stops=8.0, reflectance=reflectance).frames(black=black))
    assert said(measured, "below_black")
    reading = get(measured, "stops_under")
    assert reading.bound == "at least" or (reading.plus_minus or 0) > 0.3


def test_a_noise_model_unknown_to_a_linear_file_gives_no_plus_minus() -> None:
    lit, dark = (replace(f, kind="linear", noise=Noise()) for f in Set(stops=5.0).frames())
    reading = get(run(lit, dark), "stops_under")
    assert reading.plus_minus is None
    assert reading.doubt is not None
    assert reading.doubt.code == "no_noise_model"


# zones, kinds and refusals


def test_zones_that_cannot_be_read_say_why() -> None:
    outside = Zone.from_box("outside", "sharp", (1.2, 0.1, 0.2, 0.2))
    speck = Zone.from_box("speck", "sharp", (0.5, 0.5, 0.004, 0.004))
    moving = Zone.from_box("steam", "moving", (0.1, 0.1, 0.2, 0.2))
    measured = run(*Set(stops=5.0).frames(), zones=(CARD, outside, speck, moving))
    codes = {zone: get(measured, "stops_under", zone).reason for zone in ("card", "outside", "speck")}
    assert {zone: reason.code for zone, reason in codes.items() if reason} == {
        "card": "clipped",
        "outside": "outside_frame",
        "speck": "too_small",
    }
    assert not [r for r in measured.readings if r.zone == "steam"]


def test_a_polygon_zone_reads_only_what_it_holds() -> None:
    scene = Set(stops=7.0, lamp_stops=4.0)
    left = Zone(name="left", role=BLUE_POT.role, points=((0.0, 0.8), (0.45, 0.85), (0.45, 1.0), (0.0, 1.0)))
    measured = run(*scene.frames(), zones=(left,))
    assert value(measured, "stops_under", "left") == pytest.approx(-np.log2(2**-7 + 2**-4), abs=0.03)


def test_a_rendered_file_is_refused() -> None:
    lit, dark = (replace(f, kind="rendered") for f in Set().frames())
    assert {r.reason.code for r in run(lit, dark).readings if r.reason} == {"wrong_kind"}


def test_a_monochrome_sensor_reads_stops_and_no_colour() -> None:
    flash, ambient = Set(stops=5.0).layers()
    frames = []
    for i, light in enumerate((flash + ambient, ambient)):
        frame = shoot(np.repeat(light[1:2], 3, axis=0), i, sensor=Sensor())
        frames.append(replace(frame, colours="L", cells=frame.cells[1:2].copy(), clip=frame.clip[1:2].copy()))
    frames = [replace(f, cfa=None, kind="linear", mosaic=None) for f in frames]
    measured = run(*frames)
    assert value(measured, "stops_under") == pytest.approx(5.0, abs=0.03)
    assert get(measured, "temperature").value is None


def test_maps_hold_what_the_readings_say() -> None:
    measured = run(*Set(stops=7.0, lamp_stops=5.0).frames())
    maps = {m.name: m.values for m in measured.maps}
    stops = maps["ambient.stops_under"]
    columns = stops.shape[1]
    assert float(np.nanmedian(stops[:, : columns // 3])) == pytest.approx(4.68, abs=0.1)
    assert float(np.nanmedian(stops[:, -columns // 3 :])) == pytest.approx(7.0, abs=0.2)
    shift = maps["ambient.colour_shift"]
    assert np.nanmedian(shift[:, : columns // 3]) > 2 * np.nanmedian(shift[:, -columns // 3 :])


def test_no_frame_is_changed_and_the_answer_is_the_same_twice() -> None:
    lit, dark = Set(stops=5.0).frames()
    before = lit.cells.copy(), dark.cells.copy()
    first, second = run(lit, dark, zones=ZONES), run(lit, dark, zones=ZONES)
    assert first.readings == second.readings
    assert first.findings == second.findings
    assert np.array_equal(before[0], lit.cells)
    assert np.array_equal(before[1], dark.cells)


def test_a_measurement_without_a_dark_frame_is_a_wrong_call() -> None:
    with pytest.raises(UsageError, match="dark frame"):
        run(Set().frames()[0])


def test_every_code_that_is_used_is_declared() -> None:
    scene = Set(stops=5.0, lamp_stops=4.0, mirrored=0.05)
    lit, dark = scene.frames()
    measured = run(lit, dark, dark, lit, zones=ZONES)
    assert {f.code for f in measured.findings} <= set(SPEC.findings)
    assert {r.name for r in measured.readings} == {r.name for r in SPEC.readings}
