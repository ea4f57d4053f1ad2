"""More than 3 stops under everywhere is a misfire: common practice, no published source."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from qc.reading import Level
from qc.result import Cause, Verdict
from qc.series.entry import Entry, Purpose
from qc.series.run import Day
from tests.series.days import dark, folded, frame, levels, scene, with_camera, words

LIT = [frame(n) for n in range(1, 5)]
FIGURES = {"ambient_text": "5.1 stops under the flash of SB_0004.dng", "ambient_lit": "c4"}


def test_a_frame_without_flash_is_a_warn_and_takes_the_place_of_nearly_black() -> None:
    *_, last = folded(*LIT, dark(5))
    assert [(c.text, c.level, c.reading) for c in last.causes] == [("no flash in this frame", "warn", "no_flash")]


def test_nearly_black_is_no_flash_in_the_first_frame_too() -> None:
    assert words(dark(1)) == [["no flash in this frame"]]


def test_more_than_three_stops_under_everywhere_is_no_flash_and_less_is_not() -> None:
    assert words(*LIT, frame(5, 2.0**-3.1))[-1] == ["no flash in this frame"]
    assert words(*LIT, frame(5, 2.0**-2.9))[-1] == ["light −2.9 stops against the last frames"]


def test_a_lamp_that_stands_in_the_picture_does_not_make_it_lit() -> None:
    light = scene() / np.float32(16)
    light[0, :4] = 0.5  # 4 of 176 tiles
    assert words(*LIT, frame(5, light))[-1] == ["no flash in this frame"]


def test_a_dark_thing_over_half_of_the_picture_is_no_misfire() -> None:
    light = scene()
    light[:, :9] = np.random.default_rng(2).uniform(0.0, 0.01, light[:, :9].shape)
    assert words(*LIT, frame(5, light))[-1] == []


def test_only_frames_of_the_same_settings_are_compared() -> None:
    stopped_down = frame(5, 2.0**-4, settings=with_camera(aperture=45.0))
    assert words(*LIT, stopped_down)[-1] == ["aperture f/11 to f/45"]


def test_it_says_its_ambient_figures_when_they_are_there() -> None:
    text = "no flash in this frame; ambient 5.1 stops under the flash of SB_0004.dng"
    assert words(*LIT, dark(5, **FIGURES))[-1] == [text]


def test_two_in_a_row_in_a_running_series_are_a_halt_that_names_both() -> None:
    assert levels(*LIT, dark(5), dark(6))[-2:] == [Level.WARN, Level.HALT]
    assert words(*LIT, dark(5), dark(6))[-1] == ["no flash in 2 frames in a row: SB_0005.dng and SB_0006.dng"]


def test_three_in_a_row_name_the_first_and_the_last() -> None:
    assert words(*LIT, dark(5), dark(6), dark(7))[-1] == [
        "no flash in 3 frames in a row: SB_0005.dng to SB_0007.dng"
    ]


@pytest.mark.parametrize(
    ("between", "level"),
    [
        (frame(6), Level.WARN),
        (dark(6, purpose=Purpose.DARK), Level.WARN),
        (dark(6, answered=frozenset({("no_flash", None)})), Level.WARN),
        (frame(6, state="truncated"), Level.HALT),
        (dark(6, purpose=Purpose.LEAVE_OUT), Level.HALT),
        (frame(6, settings=with_camera(serial="R-2")), Level.HALT),
    ],
)
def test_what_breaks_a_row_of_misfires_and_what_does_not(between: Entry, level: Level) -> None:
    assert levels(*LIT, dark(5), between, dark(7))[-1] == level


def test_two_in_a_row_before_a_series_runs_are_warns() -> None:
    assert levels(*LIT[:2], dark(5), dark(6))[-2:] == [Level.WARN, Level.WARN]


def test_two_in_a_row_with_settings_of_their_own_are_warns() -> None:
    slow = with_camera(shutter_s=1 / 30)
    assert levels(*LIT, dark(5, settings=slow), dark(6, settings=slow))[-2:] == [Level.WARN, Level.WARN]


@pytest.mark.parametrize("code", ["no_flash", "nearly_black"])
def test_an_answered_misfire_is_a_note_and_no_row_has_it(code: str) -> None:
    answered = dark(5, answered=frozenset({(code, None)}))
    *_, last, after = folded(*LIT, answered, dark(6))
    assert (last.level, [c.text for c in last.causes]) == (Level.NOTE, ["seen: no flash in this frame"])
    assert last.answered == (("no_flash", None),)
    assert (last.repeats, last.first_name) == (1, "SB_0005.dng")
    assert after.causes[0].text == "no flash in this frame"


@pytest.mark.parametrize("code", ["no_flash", "nearly_black"])
def test_an_answered_misfire_among_others_is_counted_with_none_of_them(code: str) -> None:
    found = folded(*LIT, dark(5), dark(6, answered=frozenset({(code, None)})), dark(7))[-3:]
    assert [(s.level, s.repeats) for s in found[:2]] == [(Level.WARN, 1), (Level.NOTE, 1)]
    assert found[2].level is Level.WARN


def test_an_answered_misfire_says_its_ambient_figures() -> None:
    *_, last = folded(*LIT, dark(5, answered=frozenset({("no_flash", None)}), **FIGURES))
    text = "seen: no flash in this frame; ambient 5.1 stops under the flash of SB_0004.dng"
    assert [c.text for c in last.causes] == [text]


def test_declared_dark_it_is_the_ambient_test_without_alarm() -> None:
    *_, last = folded(*LIT, dark(5, purpose=Purpose.DARK, ambient=Verdict(level=Level.CLEAR), **FIGURES))
    assert last.level == Level.CLEAR
    assert [c.text for c in last.causes] == ["ambient 5.1 stops under the flash of SB_0004.dng"]


def test_declared_dark_without_a_test_yet_there_is_nothing_to_judge() -> None:
    *_, last = folded(*LIT, dark(5, purpose=Purpose.DARK))
    assert (last.level, last.causes) == (Level.UNJUDGED, ())


def test_of_a_declared_dark_frame_the_limits_of_the_ambient_test_count() -> None:
    name, text = "ambient.stops_under", "5.1 stops under"
    under = Cause(reading=name, zone=None, level=Level.WARN, limit=6.6, origin="sheet", text=text)
    verdict = Verdict(level=Level.WARN, causes=(under,))
    tested: dict[str, Any] = {"purpose": Purpose.DARK, "ambient": verdict, **FIGURES}
    *_, last = folded(*LIT, dark(5, **tested))
    assert last.level == Level.WARN
    assert [c.text for c in last.causes] == ["5.1 stops under", "ambient 5.1 stops under the flash of SB_0004.dng"]
    place = frozenset({("ambient.stops_under", None)})
    *_, last = folded(*LIT, dark(5, accepted=place, **tested))
    assert last.level == Level.CLEAR
    *_, last = folded(*LIT, dark(5, answered=place, **tested))
    assert (last.level, last.causes[0].text) == (Level.NOTE, "seen: 5.1 stops under")


def test_a_frame_without_a_picture_of_its_light_is_judged_by_the_pipelines_finding_alone() -> None:
    assert levels(*LIT, frame(5, light=np.zeros((1, 1), np.float32)))[-1] == Level.UNJUDGED


UNREAD = Cause(
    reading="blur.width", zone="label", level=Level.WARN, limit=None, origin="sheet", text="label: not read"
)


def test_what_cannot_be_read_in_a_frame_without_flash_is_no_fault_beside_the_misfire() -> None:
    missed = frame(5, 2.0**-4, verdict=Verdict(level=Level.WARN, causes=(UNREAD,)))
    *_, last = folded(*LIT, missed)
    assert [(c.reading, c.level) for c in last.causes] == [("no_flash", "warn"), ("blur.width", "unmeasured")]


def test_an_answered_misfire_under_a_sheet_is_a_note_and_what_could_not_be_read_stays_said() -> None:
    verdict = Verdict(level=Level.WARN, causes=(*dark(5).verdict.causes, UNREAD))
    *_, last = folded(*LIT, dark(5, verdict=verdict, answered=frozenset({("no_flash", None)})))
    assert last.level == Level.NOTE
    assert [(c.reading, c.level) for c in last.causes] == [("no_flash", "note"), ("blur.width", "unmeasured")]


def test_a_frame_that_the_series_finds_dark_counts_as_dark_for_the_ambient_test() -> None:
    day = Day(())
    for entry in (*LIT, frame(5, 2.0**-4)):
        day.put(entry)
    assert [day.is_dark(entry.content) for entry in day.entries] == [False] * 4 + [True]
    assert day.pairs() == {"c5": "c4"}


def test_no_frame_of_a_set_with_continuous_light_lacks_its_flash() -> None:
    told = folded(*(frame(n, flash=False) for n in range(1, 5)), dark(5, flash=False), dark(6, flash=False))
    assert [cause.reading for standing in told for cause in standing.causes if cause.reading == "no_flash"] == []
