from __future__ import annotations

from typing import Any

import pytest

from qc.series.entry import Entry, Purpose
from qc.series.pairs import pairs
from tests.series.days import dark, frame, with_camera


def test_a_dark_frame_goes_with_the_nearest_lit_one_before_it() -> None:
    assert pairs([frame(1), frame(2), dark(3), dark(4), frame(5)]) == {"c3": "c2", "c4": "c2"}


def test_a_lit_frame_that_comes_later_takes_over_only_when_it_is_nearer() -> None:
    day = [frame(1), frame(2), dark(3)]
    assert pairs(day) == pairs([*day, frame(4), frame(5)]) == {"c3": "c2"}
    changed = [frame(1), frame(2, settings=with_camera(iso=200)), dark(3)]
    assert pairs(changed) == {"c3": "c1"}
    assert pairs([*changed, frame(4)]) == {"c3": "c4"}


def test_a_dark_frame_may_come_before_its_lit_one() -> None:
    assert pairs([dark(1), frame(2), frame(3)]) == {"c1": "c2"}


@pytest.mark.parametrize(
    ("settings", "fits"),
    [
        ({"shutter_s": 1 / 60}, True),  # one stop and a rounded mark
        ({"shutter_s": 1 / 30}, False),
        ({"iso": 200}, False),
        ({"aperture": 8.0}, False),
        ({"aperture": 11.314}, True),
        ({"focal_mm": 120}, False),
        ({"serial": "R-2"}, False),
        ({"serial": None, "lens": None}, True),
    ],
)
def test_settings_must_be_those_that_the_ambient_test_can_use(settings: dict[str, Any], fits: bool) -> None:
    assert pairs([frame(1), dark(2, settings=with_camera(**settings))]) == ({"c2": "c1"} if fits else {})


@pytest.mark.parametrize(
    "other",
    [
        frame(2, purpose=Purpose.PATCH),
        frame(2, purpose=Purpose.CLEAN_PLATE),
        frame(2, purpose=Purpose.LEAVE_OUT),
        frame(2, state="truncated"),
        frame(2, kind="rendered"),
        frame(2, size=(300, 200)),
        frame(2, purpose=Purpose.DARK),
    ],
)
def test_a_frame_of_another_scene_kind_or_size_is_no_lit_one(other: Entry) -> None:
    assert pairs([frame(1), other, dark(3)])["c3"] == "c1"


def test_a_dark_frame_without_a_lit_one_has_no_pair() -> None:
    assert pairs([dark(1), dark(2)]) == {}
