from __future__ import annotations

from typing import Any

import pytest

from qc.reading import Level
from qc.series.entry import Purpose
from qc.series.levels import severity
from tests.series.days import dark, folded, frame, levels, with_camera, words


@pytest.mark.parametrize(
    ("settings", "text"),
    [
        ({"aperture": 8.0}, "aperture f/11 to f/8"),
        ({"iso": 200}, "ISO 100 to 200"),
        ({"shutter_s": 1 / 160}, "shutter 1/125 s to 1/160 s"),
        ({"focal_mm": 120}, "focal length 90 mm to 120 mm"),
        ({"lens": "50 mm"}, "lens 90 mm to 50 mm"),
        ({"aperture": 8.0, "iso": 200}, "ISO 100 to 200, aperture f/11 to f/8"),
    ],
)
def test_a_changed_setting_is_a_warn_without_a_sheet_and_says_what_changed(
    settings: dict[str, Any], text: str
) -> None:
    first, second = folded(frame(1), frame(2, settings=with_camera(**settings)))
    assert first.causes == ()
    (cause,) = second.causes
    assert (cause.text, cause.level, cause.reading, cause.origin) == (text, "warn", "settings_changed", "series")
    assert second.data["settings_changed"]["since"] == "SB_0001.dng"


def test_the_same_change_is_told_once_and_going_back_is_a_change_too() -> None:
    wide = with_camera(aperture=8.0)
    day = [frame(1), frame(2, settings=wide), frame(3, settings=wide), frame(4)]
    assert words(*day) == [[], ["aperture f/11 to f/8"], [], ["aperture f/8 to f/11"]]


def test_two_changes_in_a_row_are_two_not_one_that_lasts() -> None:
    day = [frame(1), frame(2, settings=with_camera(iso=200)), frame(3, settings=with_camera(iso=400))]
    assert [standing.repeats for standing in folded(*day)] == [0, 1, 1]


@pytest.mark.parametrize("settings", [{"aperture": 11.314}, {"aperture": None}, {"lens": None, "iso": None}])
def test_a_rounded_mark_and_what_is_not_recorded_are_no_change(settings: dict[str, Any]) -> None:
    assert words(frame(1), frame(2, settings=with_camera(**settings))) == [[], []]


@pytest.mark.parametrize(
    "between",
    [{"purpose": Purpose.LEAVE_OUT}, {"state": "truncated"}, {"kind": "rendered"}],
)
def test_a_frame_left_out_not_whole_or_of_another_kind_is_no_neighbour(between: dict[str, Any]) -> None:
    odd = frame(2, settings=with_camera(aperture=8.0), **between)
    assert [
        cause for one in folded(frame(1), odd, frame(3)) for cause in one.causes if severity(cause.level)
    ] == []


def test_another_body_is_no_neighbour() -> None:
    other = with_camera(serial="R-2", aperture=8.0)
    assert words(frame(1), frame(2, settings=other), frame(3), frame(4, settings=other)) == [[]] * 4


def test_a_dark_frame_is_a_neighbour_for_its_settings() -> None:
    shorter = with_camera(shutter_s=1 / 160)
    declared = dark(2, settings=shorter, purpose=Purpose.DARK)
    assert words(frame(1), declared, frame(3, settings=shorter))[1:] == [["shutter 1/125 s to 1/160 s"], []]


def test_an_answered_change_is_a_note_and_an_accepted_one_does_not_count() -> None:
    change, wide = frozenset({("settings_changed", None)}), with_camera(iso=200)
    _, answered = folded(frame(1), frame(2, settings=wide, answered=change))
    assert (answered.level, [c.text for c in answered.causes]) == (Level.NOTE, ["seen: ISO 100 to 200"])
    assert levels(frame(1), frame(2, settings=wide, accepted=change))[1] == Level.UNJUDGED


def test_a_change_goes_before_every_other_cause_of_its_level() -> None:
    missed = dark(2, settings=with_camera(aperture=8.0))
    assert words(frame(1), missed)[1] == ["aperture f/11 to f/8", "no flash in this frame"]
