"""What the ambient test says of its frames, of other shutter times, and what it advises."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from qc.frame import Camera
from qc.measure.ambient import arrange
from qc.measure.ambient.advice import Wanted, advice, advised
from qc.sheet.brief import Brief
from tests.measure.ambient_run import ZONES, advice_on, get, run, said, value
from tests.measure.ambient_scene import CAMERA, TUNGSTEN, Set, shoot

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


def test_the_sync_time_itself_is_among_the_times_predicted() -> None:
    for sync in (1 / 100, 1 / 200):
        measured = run(*Set(stops=5.0).frames(), brief=Brief(sync_limit_s=sync))
        data = said(measured, "prediction")[0].data
        assert min(data["shutter_s"]) == pytest.approx(sync)
        assert min(data["shutter_s"]) == data["shutter_s"][-1]
    exact = said(run(*Set(stops=5.0).frames(), brief=Brief(sync_limit_s=1 / 60)), "prediction")[0].data
    assert all(abs(time - 1 / 60) > 0.001 for time in exact["shutter_s"])


def test_advice_comes_in_order_and_ends_with_the_caution() -> None:
    (found,) = advice_on(run(*Set(stops=5.0).frames()), sync=1 / 125)
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
    (found,) = advice_on(run(lit, dark, brief=Brief(sync_limit_s=limit)), lit=lit, sync=limit)
    assert not any("shutter" in step for step in found.data["steps"])


def test_a_clean_set_gets_no_advice() -> None:
    assert not advice_on(run(*Set(stops=8.0).frames()))


@pytest.mark.parametrize("stops", [2.13, 3.77, -1.0, 0.96])
@pytest.mark.parametrize("aim", [6.0, 6.6, 4.3])
def test_the_numbers_of_an_advice_add_up_as_they_are_said(stops: float, aim: float) -> None:
    found = advice(stops, "over the frame", CAMERA, 1 / 125, wanted=Wanted(aim, "sheet"))
    under, wanted, short = (found.data[key] for key in ("stops_under", "wanted_stops", "short_by_stops"))
    assert round(under + short, 1) == wanted
    assert f"{wanted:.1f} stops under are wanted (sheet): {short:.1f} short" in found.text
    assert f"{abs(under):.1f} stop" in found.text
    assert ("brighter than the flash" in found.text) == (under < 0)
    assert "-" not in found.text


def test_advice_goes_by_the_sets_own_limit_and_only_where_it_has_one() -> None:
    measured = run(*Set(stops=5.0).frames(), zones=ZONES)
    asked: list[dict[tuple[str, str | None], Wanted]] = [
        {("ambient.stops_under", "blue pot"): Wanted(7.0, "sheet")},
        {("ambient.stops_under", None): Wanted(4.3, "preset loose")},
    ]
    (strict,) = advised(measured.readings, [], CAMERA, None, asked[0])
    assert (strict.data["wanted_stops"], "in blue pot" in strict.text) == (7.0, True)
    assert not advised(measured.readings, [], CAMERA, None, asked[1])


# a head that fired in the dark frame


def test_a_head_that_lights_one_side_is_not_taken_for_the_room() -> None:
    flash, ambient = Set(stops=7.0).layers()
    head = np.zeros((1, *flash.shape[1:]))
    head[:, :, -90:] = 0.5
    measured = run(shoot(flash + ambient, 1), shoot(flash * head + ambient, 2))
    (found,) = said(measured, "dark_like_flash")
    assert found.text.startswith("looks like a flash: a head may have fired")
    assert "right" in found.data["place"]
    assert found.data["percent"] == pytest.approx(15, abs=4)
    assert not {"ambient_source", "worst_place", "ambient_mirrored", "prediction"} & {
        f.code for f in measured.findings
    }
    assert not advice_on(measured)


def test_a_place_that_only_the_other_head_lights_is_no_room_light_either() -> None:
    # on that side the dark frame is as bright as the lit one, so that no tile there is usable
    flash, ambient = Set(stops=7.0).layers()
    head = np.zeros((1, *flash.shape[1:]))
    head[:, :, :100] = 1.0
    assert said(run(shoot(flash + ambient, 1), shoot(flash * head + ambient, 2)), "dark_like_flash")


@pytest.mark.parametrize("stops", [1.0, 1.8, 3.0])
def test_a_bright_room_of_another_colour_is_a_room(stops: float) -> None:
    assert not said(run(*Set(stops=8.0, lamp_stops=stops).frames()), "dark_like_flash")


def test_a_lamp_where_no_flash_reaches_is_a_lamp() -> None:
    flash, ambient = Set(stops=8.0, lamp_stops=1.0).layers()
    flash[:, :, :120] = 0.0
    assert not said(run(shoot(flash + ambient, 1), shoot(ambient, 2)), "dark_like_flash")


@pytest.mark.parametrize("stops", [2.5, 4.0, 7.0])
def test_room_light_of_the_flash_own_colour_is_suspected_only_when_bright(stops: float) -> None:
    assert not said(run(*Set(stops=stops).frames()), "dark_like_flash")


# several lit frames


def test_how_the_flash_repeats_is_a_reading_with_a_limit() -> None:
    flash, ambient = Set(stops=6.0).layers()
    lit, dark, second = shoot(flash + ambient, 1), shoot(ambient, 2), shoot(flash * 0.95 + ambient, 3)
    assert value(run(lit, dark, second), "flash_spread") == pytest.approx(-np.log2(0.95), abs=0.005)
    alone = get(run(lit, dark), "flash_spread").reason
    assert alone is not None
    assert alone.code == "one_lit"
