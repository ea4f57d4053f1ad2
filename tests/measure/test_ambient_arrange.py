"""Which frames are lit and which dark, in any order, and which cannot be compared."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest

from qc.errors import UsageError
from qc.frame import Camera, Frame
from qc.measure.ambient import arrange
from qc.settings import shutter_scaling
from tests.measure.ambient_scene import CAMERA, Set, shoot


def flat(level: float, seed: int = 1, camera: Camera = CAMERA, size: tuple[int, int] = (64, 96)) -> Frame:
    return shoot(np.full((3, *size), level), seed, camera=camera)


LIT, LIT2, DARK, DARK2 = flat(0.4), flat(0.38, 2), flat(0.004, 3), flat(0.0035, 4)


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_frames_are_told_apart_in_any_order(order: tuple[int, ...]) -> None:
    frames = [(LIT, LIT2, DARK, DARK2)[i] for i in order]
    found = arrange(frames)
    assert {order[i] for i in found.lit} == {0, 1}
    assert {order[i] for i in found.dark} == {2, 3}
    assert set(found.companions) == {*found.dark, *found.lit[1:]}
    assert [f.code for f in found.findings] == ["lit_chosen"]


LIT3 = flat(0.1, 5)  # a head missed


@pytest.mark.parametrize("order", list(permutations(range(4))))
def test_the_lit_frame_of_the_middle_level_is_measured_in_any_order(order: tuple[int, ...]) -> None:
    frames = [(LIT, LIT2, LIT3, DARK)[i] for i in order]
    found = arrange(frames, names=[f"SB_{i}.dng" for i in order])
    assert order[found.lit[0]] == 1
    assert found.findings[0].text == "SB_1.dng, the middle one of 3 lit frames, is measured"


def test_of_two_lit_frames_the_darker_is_measured_and_said() -> None:
    for frames in ([LIT, LIT2, DARK], [LIT2, DARK, LIT]):
        found = arrange(frames)
        assert frames[found.lit[0]] is LIT2
        assert "the darker of two lit frames" in found.findings[0].text


def test_a_lit_frame_that_no_dark_one_fits_is_not_chosen() -> None:
    wide = replace(LIT3, camera=replace(CAMERA, aperture=5.6))
    assert arrange([wide, LIT, DARK]).lit[0] == 1


def test_a_pair_of_a_real_set_is_told_apart_at_one_stop_and_at_twelve() -> None:
    for stops in (1.0, 12.0):
        lit, dark = Set(stops=stops).frames()
        assert (arrange([dark, lit]).lit, arrange([dark, lit]).dark) == ((1,), (0,))


def test_a_named_dark_frame_that_the_flash_lit_is_left_out_and_said() -> None:
    found = arrange([LIT, DARK, LIT2], dark=[1, 2], names=("a", "b", "c"))
    assert (found.lit, found.dark, found.companions) == ((0,), (1, 2), (1,))
    assert [f.code for f in found.findings] == ["flash_in_dark"]
    assert found.findings[0].text.startswith("c ")


def test_a_lit_frame_without_flash_is_left_out_and_not_measured() -> None:
    found = arrange([DARK2, DARK, LIT], dark=[1])
    assert (found.lit[0], found.companions) == (2, (1,))
    assert [f.code for f in found.findings] == ["no_flash_in_lit"]


def test_a_pair_without_difference_keeps_its_roles_for_the_measurement_to_judge() -> None:
    found = arrange([LIT, LIT2], dark=[1])
    assert (found.lit, found.dark, found.companions) == ((0,), (1,), (1,))


@pytest.mark.parametrize(
    ("other", "why"),
    [
        (flat(0.004, camera=replace(CAMERA, model="Own 2")), "different camera bodies"),
        (flat(0.004, camera=replace(CAMERA, serial="7")), ""),
        (flat(0.004, size=(64, 64)), "pixels"),
        (replace(DARK, kind="linear"), "linear file"),
        (replace(DARK, orientation=6), "turned"),
        (shoot(np.full((3, 64, 96), 0.004), 1, cfa="BGGR"), "mosaics differ"),
    ],
)
def test_frames_that_cannot_be_compared_are_refused_with_the_cause(other: Frame, why: str) -> None:
    if not why:  # a serial number that only one frame records is no difference
        assert arrange([LIT, other]).dark == (1,)
        return
    with pytest.raises(UsageError, match=why) as error:
        arrange([LIT, other], names=("SB_1.dng", "SB_2.dng"))
    assert "SB_1.dng and SB_2.dng" in str(error.value)


@pytest.mark.parametrize(("count", "dark"), [(1, []), (0, []), (2, [0, 1]), (2, [5])])
def test_wrong_calls_are_refused(count: int, dark: list[int]) -> None:
    with pytest.raises(UsageError):
        arrange([LIT, DARK][:count], dark=dark)


def test_settings_that_differ_are_named() -> None:
    found = arrange([LIT, replace(DARK, camera=replace(CAMERA, iso=200.0, shutter_s=1 / 125))])
    assert "ISO 100 and 200" in found.findings[0].text
    assert found.findings[0].data["settings"]["iso"] == [100.0, 200.0]


@pytest.mark.parametrize(
    ("lit", "dark", "stops"),
    [
        (1 / 60, 1 / 125, 1.0),
        (1 / 125, 1 / 60, -1.0),
        (1 / 160, 1 / 200, 1 / 3),
        (0.5, 0.5, 0.0),
        (1 / 90, 1 / 125, 0.5),
    ],
)
def test_recorded_marks_stand_for_steps_of_the_shutter(lit: float, dark: float, stops: float) -> None:
    # REFERENCE D2: 1/60 stands for 1/64 s, 1/125 for 1/128 s
    frames = [replace(LIT, camera=replace(CAMERA, shutter_s=time)) for time in (lit, dark)]
    found, doubt = shutter_scaling(frames[0].camera, frames[1].camera)
    assert found == pytest.approx(stops)
    assert doubt < 0.1
