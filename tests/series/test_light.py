from __future__ import annotations

import numpy as np
import pytest

from qc.reading import Level
from qc.series.shift import shift_of
from tests.series.days import SHAPE, Light, dark, folded, frame, levels, limited, scene, with_camera, words

LIT = [frame(n) for n in range(1, 6)]


def stops(change: float | Light) -> Light:
    """The set with its light changed by so many stops."""
    return (scene() * np.exp2(change)).astype(np.float32)


@pytest.mark.parametrize(
    ("change", "level", "text"),
    [
        (-0.42, Level.WARN, "light −0.4 stop against the last frames"),
        (0.36, Level.WARN, "light +0.36 stop against the last frames"),
        (-0.2, Level.NOTE, "light −0.20 stop against the last frames"),
        (1.8, Level.WARN, "light +1.8 stops against the last frames"),
    ],
)
def test_a_sudden_change_of_level_is_told_in_stops(change: float, level: Level, text: str) -> None:
    *_, last = folded(*LIT, frame(6, stops(change)))
    assert [(c.text, c.level) for c in last.causes] == [(text, level)]
    assert last.data["light_changed"] == {"stops": pytest.approx(change, abs=1e-3), "shape": "whole"}


def test_a_change_within_what_flash_heads_do_is_not_told() -> None:
    assert words(*LIT, frame(6, stops(0.14)), frame(7, stops(-0.14)))[-2:] == [[], []]


def test_a_lasting_change_is_the_norm_after_three_frames() -> None:
    day = [*LIT, *(frame(n, stops(-0.5)) for n in range(6, 10)), frame(10)]
    assert levels(*day)[5:] == [Level.WARN, Level.WARN, Level.WARN, Level.UNJUDGED, Level.WARN]
    assert [s.repeats for s in folded(*day)[5:8]] == [1, 2, 3]
    assert words(*day)[-1] == ["light +0.5 stop against the last frames"]


def test_one_odd_frame_does_not_become_the_norm() -> None:
    assert levels(*LIT, frame(6, stops(-0.5)), frame(7), frame(8))[-2:] == [Level.UNJUDGED] * 2


def test_nothing_is_told_before_three_frames_make_a_norm() -> None:
    assert words(frame(1), frame(2, stops(-1)), frame(3)) == [[], [], []]


def test_another_product_on_the_set_is_no_change_of_light() -> None:
    day = [*LIT, *(frame(n, scene(n)) for n in range(6, 20))]
    assert words(*day) == [[]] * len(day)


def test_another_product_does_not_hide_that_the_light_fell() -> None:
    *_, last = folded(*LIT, frame(6, scene(9) * np.float32(2.0**-0.5)))
    assert [c.text for c in last.causes] == ["light −0.5 stop against the last frames"]


def test_of_another_scene_nothing_is_claimed_and_it_is_the_norm_after_three_frames() -> None:
    rng = np.random.default_rng(4)
    other = rng.uniform(0.02, 0.8, SHAPE).astype(np.float32)
    day = [*LIT, *(frame(n, other) for n in (6, 7, 8)), frame(9, other * np.float32(0.7))]
    assert words(*day)[5:] == [[], [], [], ["light −0.5 stop against the last frames"]]


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_light_lost_on_one_side_names_the_side(side: str) -> None:
    rows, columns = (np.linspace(-1, 1, n, dtype=np.float32) for n in SHAPE)
    slope = {
        "left": columns[None, :],
        "right": -columns[None, :],
        "top": rows[:, None],
        "bottom": -rows[:, None],
    }[side]
    *_, last = folded(*LIT, frame(6, stops(np.broadcast_to(0.3 * (slope - 1), SHAPE))))
    assert [c.text for c in last.causes] == [f"{side} −0.5 stop against the last frames"]


def test_a_head_that_lights_some_places_more_than_others_is_told_as_one_change() -> None:
    rng = np.random.default_rng(3)
    found = shift_of(scene(), stops(-rng.uniform(0.2, 1.6, SHAPE).astype(np.float32)))
    assert found is not None
    assert found.shape == "whole"
    assert found.stops == pytest.approx(-0.9, abs=0.1)


def test_clipped_tiles_do_not_hide_a_change() -> None:
    burnt, fallen = scene(), stops(-0.5)
    for light in (burnt, fallen):
        light[:, :6] = np.nan
    *_, last = folded(*(frame(n, burnt) for n in range(1, 5)), frame(5, fallen))
    assert [c.text for c in last.causes] == ["light −0.5 stop against the last frames"]


def test_where_too_little_of_the_frame_has_light_to_compare_nothing_is_claimed() -> None:
    lit, swapped = np.full(SHAPE, np.nan, np.float32), np.full(SHAPE, np.nan, np.float32)
    lit[4:8, 5:11], swapped[4:8, 5:11] = 0.2, 0.4  # a lighter bottle before a burnt sweep looks like more light
    assert words(*(frame(n, lit) for n in range(1, 5)), frame(5, swapped))[-1] == []


def test_only_frames_of_the_same_settings_and_body_are_compared() -> None:
    wide, other = with_camera(aperture=8.0), with_camera(serial="R-2")
    day = [*LIT, frame(6, stops(1), settings=wide), frame(7, stops(-1), settings=other), frame(8, stops(-0.5))]
    assert words(*day)[5:] == [
        ["aperture f/11 to f/8"],
        [],
        ["aperture f/8 to f/11", "light −0.5 stop against the last frames"],
    ]


def test_a_dark_frame_is_no_neighbour() -> None:
    assert words(*LIT, dark(6), dark(7), dark(8), frame(9))[-1] == []


def test_a_change_of_light_comes_after_the_captures_own_causes_of_its_level() -> None:
    *_, last = folded(*LIT, limited(6, 12.0, light=stops(-0.5)))
    assert [c.reading for c in last.causes] == ["tint.shift", "light_changed"]


def test_continuous_light_may_change_by_half_a_stop() -> None:
    lit = [frame(n, flash=False) for n in range(1, 5)]
    assert words(*lit, frame(5, 2.0**-0.45, flash=False))[-1] == []
    assert words(*lit, frame(5, 2.0**-1.2, flash=False))[-1] == ["light −1.2 stops against the last frames"]
