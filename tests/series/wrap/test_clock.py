"""A clock that runs against the counter is told, and frames without a time."""

from __future__ import annotations

from qc.day import Day
from qc.log.rows import Logged
from qc.reading import Level
from qc.series.wrap.clock import clock
from tests.log.made import content
from tests.series.wrap.days import day, logged


def at(number: int, time: str | None) -> Logged:
    return logged(number, taken=None if time is None else f"2026-11-25T{time}")


def told(one: Day) -> list[str]:
    return [found.text for found in clock(one)]


def test_a_frame_with_the_next_number_and_an_earlier_time_is_told_with_both_frames() -> None:
    (found,) = clock(day([at(1, "10:00:00"), at(2, "10:01:00"), at(3, "09:02:50"), at(4, "09:03:00")]))
    assert (found.code, found.level) == ("clock_backwards", Level.WARN)
    assert found.contents == (content(2), content(3))
    assert found.text == ("the clock runs backwards: SB_0003 has a time 58 min 10 s before that of SB_0002")
    assert found.data == {"places": [["SB_0002", "SB_0003"]], "body": "Rehearsal Studio R-1"}


def test_several_places_of_one_body_are_told_once() -> None:
    frames = [at(1, "10:00:00"), at(2, "09:00:00"), at(3, "08:00:00"), at(4, "07:59:57")]
    assert told(day(frames)) == [
        "the clock runs backwards: SB_0002 has a time 1 h before that of SB_0001, and at 2 other places"
    ]


def test_times_that_go_on_or_stand_still_are_in_order() -> None:
    frames = [at(1, "10:00:00"), at(2, "10:00:00"), at(3, "10:00:01.9"), at(4, "10:00:00"), at(5, "11:00:00")]
    assert told(day(frames)) == []


def test_over_a_rollover_the_clock_goes_on() -> None:
    assert told(day([at(9999, "10:00:00"), at(1, "10:00:09"), at(2, "10:00:19")])) == []


def test_times_with_and_without_an_offset_are_not_compared() -> None:
    assert told(day([at(1, "10:00:00"), at(2, "08:00:10+00:00")])) == []
    assert told(day([at(1, "10:00:00+02:00"), at(2, "08:00:10+00:00")])) == []
    assert len(told(day([at(1, "10:00:00+02:00"), at(2, "07:00:10+00:00")]))) == 1


def test_frames_without_a_time_are_told_together() -> None:
    (found,) = clock(day([at(1, None), at(2, "10:00:00")]))
    assert (found.code, found.level, found.contents) == ("no_time", Level.NOTE, (content(1),))
    assert found.text == "SB_0001.dng has no recorded time: it stands where it arrived"
    assert told(day([at(1, None), at(2, None), at(3, "25:61:00")])) == [
        "SB_0001.dng and 2 other frames have no recorded time: they stand where they arrived"
    ]


def test_of_a_file_that_is_not_whole_no_time_is_asked() -> None:
    assert told(day([logged(1, taken=None, state="truncated"), logged(2)])) == []
