"""The ambient test on sets whose light layers are known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from qc.errors import UsageError
from qc.frame import Black, Camera, Colour, Frame, Noise
from qc.measure.ambient import SPEC, arrange
from qc.reading import Finding, Measured, Reading
from qc.rehearse.sensor import Sensor
from qc.sheet.brief import Brief
from qc.sheet.zones import Zone
from tests.measure.ambient_scene import CAMERA, D55, SENSOR, TUNGSTEN, WINDOW, Set, shoot

SWEEP = Zone.from_box("sweep", "backdrop", (0.0, 0.0, 1.0, 0.08))
BLUE_POT = Zone.from_box("blue pot", "protect", (0.72, 0.35, 0.12, 0.4))
BLACK_POT = Zone.from_box("black pot", "sharp", (0.45, 0.35, 0.1, 0.4))
CARD = Zone.from_box("card", "patch", (0.35, 0.12, 0.13, 0.08))
ZONES = (SWEEP, BLUE_POT, BLACK_POT, CARD)


def run(lit: Frame, *companions: Frame, zones: Sequence[Zone] = (), brief: Brief | None = None) -> Measured:
    return SPEC(lit, zones=zones, brief=brief or Brief(), companions=companions)


def get(measured: Measured, name: str, zone: str | None = None) -> Reading:
    found = [r for r in measured.readings if r.name == f"ambient.{name}" and r.zone == zone]
    assert len(found) == 1
    return found[0]


def value(measured: Measured, name: str, zone: str | None = None) -> float:
    reading = get(measured, name, zone)
    assert reading.value is not None, reading.reason
    return reading.value


def said(measured: Measured, code: str) -> list[Finding]:
    return [finding for finding in measured.findings if finding.code == code]


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


# colour


@pytest.mark.parametrize(("xy", "kelvin"), [(TUNGSTEN, 2856), (WINDOW, 6504), (D55, 5503)])
def test_the_temperature_of_the_room_is_found(xy: tuple[float, float], kelvin: float) -> None:
    measured = run(*Set(stops=5.0, room=xy).frames(), zones=(SWEEP,))
    for zone in (None, "sweep"):
        reading = get(measured, "temperature", zone)
        assert reading.plus_minus is not None
        assert abs(value(measured, "temperature", zone) - kelvin) <= max(2 * reading.plus_minus, 5.0)
    duv = 0.0 if xy == TUNGSTEN else 0.0032
    assert value(measured, "tint") == pytest.approx(duv, abs=0.002)


def test_no_temperature_and_no_word_where_the_colour_is_noise() -> None:
    measured = run(*Set(stops=11.5, room=TUNGSTEN).frames())
    reason = get(measured, "temperature").reason
    assert reason is not None
    assert reason.code in ("at_floor", "colour_uncertain")
    assert all(f.data["colour"] is None for f in said(measured, "ambient_source"))


@pytest.mark.parametrize(
    ("side", "orientation", "seen"),
    [
        ("left", 1, "left"),
        ("right", 1, "right"),
        ("top", 1, "top"),
        ("bottom", 1, "bottom"),
        ("top left", 1, "top left"),
        ("left", 6, "top"),
        ("top", 6, "right"),
        ("left", 3, "right"),
        ("top", 8, "left"),
    ],
)
def test_the_half_that_a_lamp_lights_is_named_with_its_colour(side: str, orientation: int, seen: str) -> None:
    scene = Set(stops=7.0, room=WINDOW, lamp_stops=5.0, lamp_side=side)
    first, *_ = said(run(*scene.frames(orientation=orientation)), "ambient_source")
    assert (first.data["place"], first.data["colour"]) == (seen, "warm")
    assert "warm" in first.text


@pytest.mark.parametrize(
    ("xy", "word"),
    [
        (TUNGSTEN, "warm"),
        ((0.29, 0.30), "cool"),
        ((0.35, 0.45), "green"),
        ((0.36, 0.29), "magenta"),
        (D55, "neutral"),
    ],
)
def test_each_colour_has_its_word(xy: tuple[float, float], word: str) -> None:
    first, *_ = said(run(*Set(stops=5.0, room=xy).frames()), "ambient_source")
    assert first.data["place"] == "the whole frame"
    assert first.data["colour"] == word


@pytest.mark.parametrize(("orientation", "field"), [(1, "bottom right"), (6, "bottom left"), (3, "top left")])
def test_the_worst_place_is_named(orientation: int, field: str) -> None:
    flash, ambient = Set(stops=7.0).layers()
    ambient[:, 300:, 450:] *= 8.0
    lit, dark = (shoot(x, i, orientation=orientation) for i, x in enumerate((flash + ambient, ambient)))
    found = said(run(lit, dark), "worst_place")[0]
    assert found.data["place"] == field
    assert found.data["stops_under"] == pytest.approx(4.0, abs=0.1)
    assert field in said(run(lit, dark), "advice")[0].text
    assert not said(run(*Set(stops=7.0).frames()), "worst_place")


def test_a_few_glints_do_not_speak_for_the_colour_of_the_room() -> None:
    scene = Set(stops=12.0, mirrored=0.0)
    flash, ambient = scene.layers()
    ambient[:, 200:216, 440:456] += 0.02
    reason = get(run(shoot(flash + ambient, 1), shoot(ambient, 2)), "temperature").reason
    assert reason is not None
    assert reason.code == "at_floor"


def test_a_zone_that_gets_a_lamp_for_itself_is_named() -> None:
    scene = Set(stops=7.0, mirrored=0.01)
    lit, dark = scene.frames()
    measured = run(lit, dark, zones=(BLUE_POT,))
    assert [f.zone for f in said(measured, "ambient_source") if f.zone] == ["blue pot"]


def test_without_a_matrix_there_are_words_and_no_numbers() -> None:
    measured = run(*Set(stops=5.0, room=TUNGSTEN).frames(colour=Colour()))
    for name in ("temperature", "tint", "colour_shift"):
        reason = get(measured, name).reason
        assert reason is not None
        assert reason.code == "no_colour_matrix"
    assert said(measured, "ambient_source")[0].data["colour"] == "warm"


# mirrored things


def test_a_screen_mirrored_in_a_glaze_is_found_with_its_place_and_colour() -> None:
    measured = run(*Set(stops=7.0, mirrored=0.031).frames(), zones=(BLUE_POT,))
    assert value(measured, "structure") == pytest.approx(3.1, abs=0.2)
    region = measured.regions[0]
    assert region.zone == "blue pot"
    assert region.box == pytest.approx((440 / 600, 200 / 400, 40 / 600, 40 / 400), abs=0.015)
    found = said(measured, "ambient_mirrored")[0]
    assert (found.zone, found.data["colour"]) == ("blue pot", "cool")


@pytest.mark.parametrize("side", ["left", "top", "top left"])
def test_a_lamp_on_one_half_is_no_mirrored_thing(side: str) -> None:
    measured = run(*Set(stops=5.0, lamp_stops=3.5, lamp_side=side).frames())
    assert not measured.regions
    assert value(measured, "structure") < 0.3


# what the frames themselves say


@pytest.mark.parametrize("stops", [3.0, 5.0, 7.0])
def test_a_good_pair_is_not_suspected(stops: float) -> None:
    measured = run(*Set(stops=stops, room=TUNGSTEN).frames())
    codes = {f.code for f in measured.findings}
    assert not codes & {"flash_in_dark", "no_flash_in_lit", "dark_like_flash", "settings_differ"}


@pytest.mark.parametrize("power", [1.0, 0.97, 1.02])
def test_flash_that_fired_in_the_dark_frame_is_found(power: float) -> None:
    flash, ambient = Set(stops=6.0).layers()
    lit, dark = shoot(flash + ambient, 1), shoot(flash * power + ambient, 2)
    measured = run(lit, dark)
    assert said(measured, "flash_in_dark")
    assert not said(measured, "no_flash_in_lit")
    reason = get(measured, "stops_under").reason
    assert reason is not None
    assert reason.code == "flash_in_dark"


@pytest.mark.parametrize("stops", [4.0, 6.0, 14.0])
def test_flash_that_did_not_fire_in_the_lit_frame_is_found(stops: float) -> None:
    _, ambient = Set(stops=stops).layers()
    measured = run(shoot(ambient, 1), shoot(ambient, 2))
    assert said(measured, "no_flash_in_lit")
    assert not said(measured, "flash_in_dark")
    assert all(r.value is None for r in measured.readings)


def test_one_of_two_heads_in_the_dark_frame_is_suspected_by_its_colour() -> None:
    flash, ambient = Set(stops=7.0).layers()
    measured = run(shoot(flash + ambient, 1), shoot(flash * 0.35 + ambient, 2))
    assert said(measured, "dark_like_flash")


def test_one_dark_frame_is_said_and_two_give_their_spread() -> None:
    scene = Set(stops=5.0)
    lit, dark = scene.frames()
    flicker = shoot(scene.layers()[1] * 1.2, 9)
    alone, both = run(lit, dark), run(lit, dark, flicker)
    assert said(alone, "single_dark")
    assert not said(both, "single_dark")
    assert said(both, "dark_spread")[0].data["stops"] == pytest.approx(np.log2(1.2), abs=0.02)
    reading = get(both, "stops_under")
    assert (reading.plus_minus or 0) >= np.log2(1.2) / 2
    assert value(both, "stops_under") == pytest.approx(5 - np.log2(1.1), abs=0.03)


def test_a_second_lit_frame_tells_how_well_the_flash_repeats() -> None:
    flash, ambient = Set(stops=6.0).layers()
    lit, dark, second = shoot(flash + ambient, 1), shoot(ambient, 2), shoot(flash * 0.95 + ambient, 3)
    found = said(run(lit, dark, second), "flash_repeatability")
    assert found[0].data["each"][1] == pytest.approx(np.log2(0.95), abs=0.005)
    assert not said(run(lit, dark), "flash_repeatability")


def test_a_dark_frame_of_half_the_time_is_scaled_and_said() -> None:
    scene = Set(stops=5.0)
    lit, _ = scene.frames()
    dark = shoot(scene.layers(0.5)[1], 7, camera=replace(CAMERA, shutter_s=1 / 125))
    measured = run(lit, dark)
    assert said(measured, "scaled_shutter")[0].data["stops"] == pytest.approx(1.0)
    assert value(measured, "stops_under") == pytest.approx(5.0, abs=0.03)
    assert (get(measured, "stops_under").plus_minus or 0) > 0.05


@pytest.mark.parametrize(("field", "other"), [("iso", 200.0), ("aperture", 8.0), ("shutter_s", 1 / 250)])
def test_settings_that_cannot_be_scaled_are_refused_and_named(field: str, other: float) -> None:
    lit, dark = Set(stops=5.0).frames()
    dark = replace(dark, camera=_with(field, other))
    readings = run(lit, dark).readings
    assert {r.reason.code for r in readings if r.reason} == {"settings_differ"}
    found = [f for f in arrange([lit, dark]).findings if f.code == "settings_differ"]
    assert list(found[0].data["settings"]) == [field]


def test_continuous_light_has_no_ambient_test() -> None:
    measured = run(*Set().frames(), brief=Brief(light="continuous"), zones=ZONES)
    assert {r.reason.code for r in measured.readings if r.reason} == {"continuous_light"}


def _with(field: str, other: float) -> Camera:
    fields: dict[str, Any] = {field: other}
    return replace(CAMERA, **fields)


# prediction and advice


def test_ambient_light_is_predicted_to_follow_the_shutter_and_stop_at_the_sync_limit() -> None:
    measured = run(*Set(stops=5.0).frames(), brief=Brief(sync_limit_s=1 / 125))
    data = said(measured, "prediction")[0].data
    now = value(measured, "stops_under")
    for time, stops in zip(data["shutter_s"], data["stops_under"], strict=True):
        assert stops == pytest.approx(now - np.log2(time * 60), abs=0.01)
        assert time >= 0.93 / 125


def test_advice_comes_in_order_and_ends_with_the_caution() -> None:
    found = said(run(*Set(stops=5.0).frames(), brief=Brief(sync_limit_s=1 / 125)), "advice")[0]
    first, second, third = found.data["steps"]
    assert "switch off the source" in first
    assert "smaller aperture" in second
    assert "depth of field" in second
    assert "shoot both frames again" in third
    assert "1/125 s" in third
    assert found.text.endswith("local rules say.")
    assert "ISO" not in found.text


@pytest.mark.parametrize(("limit", "shutter"), [(None, 1 / 60), (1 / 60, 1 / 60), (1 / 125, None)])
def test_a_shorter_shutter_is_never_advised_beyond_a_stated_sync_limit(
    limit: float | None, shutter: float | None
) -> None:
    lit, dark = (replace(f, camera=replace(CAMERA, shutter_s=shutter)) for f in Set(stops=5.0).frames())
    found = said(run(lit, dark, brief=Brief(sync_limit_s=limit)), "advice")[0]
    assert not any("shutter" in step for step in found.data["steps"])


def test_a_clean_set_gets_no_advice() -> None:
    assert not said(run(*Set(stops=8.0).frames()), "advice")


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
    camera = Camera()
    assert camera.iso is None
    scene = Set(stops=5.0, lamp_stops=4.0, mirrored=0.05)
    lit, dark = scene.frames()
    measured = run(lit, dark, dark, lit, zones=ZONES)
    assert {f.code for f in measured.findings} <= set(SPEC.findings)
    assert {r.name for r in measured.readings} == {r.name for r in SPEC.readings}
