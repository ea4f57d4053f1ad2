"""The colour of the room, where it falls, and what gloss mirrors of it."""

from __future__ import annotations

import pytest

from qc.frame import Colour
from tests.measure.ambient_run import BLUE_POT, SWEEP, advice_on, get, run, said, value
from tests.measure.ambient_scene import D55, TUNGSTEN, WINDOW, Set, shoot

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
    assert field in advice_on(run(lit, dark))[0].text
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
