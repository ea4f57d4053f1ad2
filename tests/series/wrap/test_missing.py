"""What is missing in a counter is told, and nothing else is."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.day import Day
from qc.frame import Camera
from qc.log.rows import Logged
from qc.reading import Level
from qc.series.wrap.missing import Gap, gaps, missing
from tests.series.days import with_camera
from tests.series.wrap.days import day, event, logged

OTHER = with_camera(serial="R-2")
UNRECORDED = Camera()


def counted(*numbers: int, **changes: Any) -> list[Logged]:
    """Frames with these numbers in the order taken."""
    return [logged(place, f"SB_{number:04}.dng", **changes) for place, number in enumerate(numbers, start=1)]


def told(one: Day) -> list[tuple[str, str]]:
    return [(found.code, found.text) for found in missing(one)]


def texts(one: Day) -> list[str]:
    return [found.text for found in missing(one)]


def test_numbers_between_two_captures_are_missing_and_told_as_a_range() -> None:
    (found,) = missing(day(counted(11, 12, 16, 17)))
    assert (found.code, found.level) == ("numbers_missing", Level.WARN)
    assert found.text == "SB_0013 to SB_0015 missing: 3 frames"
    assert found.data == {
        "first": "SB_0013",
        "last": "SB_0015",
        "count": 3,
        "why": None,
        "body": "Rehearsal Studio R-1",
    }
    names = [day(counted(11, 12, 16, 17)).capture(content) for content in found.contents]
    assert [one.entry.name for one in names if one is not None] == ["SB_0012.dng", "SB_0016.dng"]


def test_one_and_two_missing_frames_are_told_by_their_names() -> None:
    assert texts(day(counted(1, 2, 4, 5, 8, 9, 10))) == [
        "SB_0003 missing: 1 frame",
        "SB_0006 and SB_0007 missing: 2 frames",
    ]


def test_nothing_is_missing_in_a_full_sequence_nor_before_its_first_or_after_its_last_frame() -> None:
    assert texts(day(counted(13, 14, 15))) == []
    assert texts(day(counted(13))) == []
    assert texts(day([])) == []


def test_after_9999_comes_0001() -> None:
    assert texts(day(counted(9998, 9999, 1, 2))) == []
    assert texts(day(counted(9996, 9997, 9999, 2, 3))) == ["SB_9998 missing: 1 frame", "SB_0001 missing: 1 frame"]
    assert texts(day(counted(9997, 9998, 3, 4))) == ["SB_9999 to SB_0002 missing: 3 frames"]


def test_a_counter_that_has_a_number_0_rolls_over_to_it() -> None:
    assert texts(day(counted(9998, 0, 1, 2))) == ["SB_9999 missing: 1 frame"]


def test_a_counter_that_grows_longer_does_not_roll_over() -> None:
    names = [logged(place, f"SB_{number}.dng") for place, number in enumerate((998, 999, 1001, 1002))]
    assert texts(day(names)) == ["SB_1000 missing: 1 frame"]


def test_what_an_event_says_of_a_number_explains_it() -> None:
    events = [event("vanished", "SB_0014.dng"), event("worker_lost", "SB_0018.dng")]
    found = list(missing(day(counted(12, 13, 16, 17, 19), events=events)))
    assert [(one.level, one.text) for one in found] == [
        (Level.NOTE, "SB_0014 went away before it was measured"),
        (Level.WARN, "SB_0015 missing: 1 frame"),
        (Level.NOTE, "SB_0018 could not be measured: a worker was lost over it"),
    ]
    assert [one.code for one in found] == ["numbers_explained", "numbers_missing", "numbers_explained"]


def test_an_event_of_a_name_of_another_sequence_explains_nothing() -> None:
    assert texts(day(counted(1, 2, 4, 5), events=[event("vanished", "BK_0003.dng")])) == [
        "SB_0003 missing: 1 frame"
    ]


def test_a_number_whose_capture_was_replaced_says_so() -> None:
    gone = logged(50, "SB_0003.dng")
    assert texts(day(counted(1, 2, 4, 5), replaced=[gone])) == ["SB_0003 was replaced by another capture"]


def test_files_that_are_not_whole_and_captures_left_out_are_there() -> None:
    frames = [*counted(1, 2), logged(3, state="truncated", settings=UNRECORDED), *[logged(n) for n in (4, 5)]]
    assert texts(day(frames, SB_0002={"purpose": "leave-out"})) == []


def test_a_second_name_of_a_capture_is_there_too() -> None:
    twice = logged(2, paths=("SB_0002.dng", "SB_0003.dng"), held=("SB_0002.dng", "SB_0003.dng"))
    assert texts(day([logged(1), twice, logged(4)])) == []


def test_a_second_file_of_a_number_stands_for_it_and_makes_no_sequence() -> None:
    frames = counted(1, 2, 4, 5)
    assert texts(day([*frames, logged(60, "SB_0003 (1).dng"), logged(61, "SB_0007-2.dng")])) == [
        "SB_0006 missing: 1 frame"
    ]


def test_second_files_alone_make_no_claim() -> None:
    names = [f"SB_{number:04} (1).dng" for number in (1, 2, 4, 9, 30, 9000)]
    assert texts(day([logged(place, name) for place, name in enumerate(names)])) == []


def test_a_file_that_only_stands_for_its_number_is_no_jump_and_has_no_time() -> None:
    late = logged(50, "SB_9000.JPG", settings=UNRECORDED)
    early = logged(60, "SB_0003.JPG", settings=UNRECORDED, taken="2026-11-25T08:00:00")
    assert texts(day([*counted(1, 2, 5), late, early])) == ["SB_0004 missing: 1 frame"]


def test_names_without_a_counter_make_no_claim() -> None:
    names = ["front-1.dng", "front-4.dng", "label.dng", "20261125.dng", "20261128.dng"]
    assert texts(day([logged(place, name) for place, name in enumerate(names)])) == []


def test_two_bodies_in_one_folder_count_apart_and_are_named() -> None:
    frames = [
        *counted(1, 2, 4, 5),
        *(logged(50 + n, f"SB_{n:04}.dng", settings=OTHER, folder="b/") for n in (3, 4, 7, 8)),
    ]
    assert texts(day(frames)) == [
        "SB_0003 missing: 1 frame (Rehearsal Studio R-1)",
        "SB_0005 and SB_0006 missing: 2 frames (Rehearsal Studio R-2)",
    ]


def test_a_file_without_a_serial_number_is_of_the_one_body_of_its_model() -> None:
    frames = counted(1, 2, 4, 5)
    assert texts(day([*frames, logged(30, "SB_0003.JPG", settings=with_camera(serial=None))])) == []


def test_a_file_that_two_bodies_of_its_model_may_have_taken_stands_for_its_number_in_both() -> None:
    others = [logged(50 + n, f"SB_{n:04}.dng", settings=OTHER, folder="b/") for n in (2, 4)]
    finished = logged(30, "SB_0003.JPG", settings=with_camera(serial=None))
    assert texts(day([*counted(1, 2, 4, 5), *others, finished])) == []


def test_a_body_without_a_serial_number_counts_by_make_and_model() -> None:
    assert texts(day(counted(1, 2, 4, settings=with_camera(serial=None)))) == ["SB_0003 missing: 1 frame"]


def test_files_that_record_no_body_are_a_sequence_too() -> None:
    assert texts(day(counted(1, 2, 4, settings=UNRECORDED))) == ["SB_0003 missing: 1 frame"]


def test_a_body_that_goes_on_counting_under_another_name_misses_nothing() -> None:
    names = ["SB_0001", "SB_0002", "BK_0003", "BK_0004", "SB_0005", "SB_0007"]
    frames = [logged(place, f"{name}.dng") for place, name in enumerate(names)]
    assert texts(day(frames)) == ["SB_0006 missing: 1 frame"]


def test_a_name_that_only_moved_its_underscore_is_one_sequence() -> None:
    names = ["DSC_0013.JPG", "_DSC0014.JPG", "DSC_0016.JPG"]
    assert texts(day([logged(place, name) for place, name in enumerate(names)])) == ["_DSC0015 missing: 1 frame"]


def test_a_gap_of_more_than_200_is_a_restart_and_nothing_is_missing() -> None:
    assert texts(day(counted(1, 202))) == ["SB_0002 to SB_0201 missing: 200 frames"]
    (found,) = missing(day(counted(1, 2, 204, 205)))
    assert (found.code, found.level) == ("counter_restarted", Level.NOTE)
    assert found.text == (
        "the counter jumps from SB_0002 to SB_0204 (by more than 200, or back): it was set anew, or another card "
        "was put in; no number between is called missing"
    )
    assert found.data["jumps"] == [["SB_0002", "SB_0204"]]


def test_a_counter_that_was_set_anew_misses_nothing() -> None:
    (found,) = missing(day(counted(150, 151, 152, 1, 2, 3)))
    assert (found.code, found.data["jumps"]) == ("counter_restarted", [["SB_0152", "SB_0001"]])


def test_numbers_that_come_again_with_other_pictures_start_the_counter_again_and_each_run_has_its_gaps() -> None:
    frames = [*counted(1, 2, 4, 5), *(logged(50 + n, f"SB_{n:04}.dng", folder="b/") for n in (1, 2, 3, 4, 6))]
    assert told(day(frames)) == [
        ("numbers_missing", "SB_0003 missing: 1 frame"),
        ("numbers_missing", "SB_0005 missing: 1 frame"),
        (
            "counter_restarted",
            "after SB_0005 the counter starts again at SB_0001, with numbers that were used before",
        ),
    ]


def test_a_number_that_comes_again_once_starts_nothing_again() -> None:
    frames = [*counted(1, 2, 3, 4, 5), logged(60, "SB_0002.dng", folder="b/"), logged(66, "SB_0006.dng")]
    assert texts(day(frames)) == []


def test_raws_with_finished_pictures_beside_them_are_one_sequence() -> None:
    finished = [logged(100 + n, f"SB_{n:04}.JPG", taken=f"2026-11-25T09:00:{n + 3:02}.000") for n in (1, 2, 4, 5)]
    raws = [logged(n, f"SB_{n:04}.dng", taken=f"2026-11-25T09:00:{n:02}.000") for n in (1, 2, 4, 5)]
    assert texts(day([*finished, *raws])) == ["SB_0003 missing: 1 frame"]


def test_a_selection_is_not_called_missing() -> None:
    (found,) = missing(day(counted(30, 45, 67, 80)))
    assert (found.code, found.level) == ("numbers_sparse", Level.NOTE)
    assert found.text == (
        "SB_0030 to SB_0080: 47 numbers in 3 places without a capture: a selection, or no counter; none is called "
        "missing"
    )
    assert gaps(day(counted(30, 45, 67, 80))) == ()


def test_a_large_piece_that_is_gone_is_missing() -> None:
    assert texts(day(counted(*range(1, 11), *range(111, 121)))) == ["SB_0011 to SB_0110 missing: 100 frames"]


def test_names_that_no_screen_takes_are_told() -> None:
    names = ["caf\udce9\n_0001.dng", "caf\udce9\n_0003.dng"]
    assert texts(day([logged(place, name) for place, name in enumerate(names)])) == [
        r"caf\xe9\n_0002 missing: 1 frame"
    ]


# -- against a plain model


def model(kept: list[int]) -> list[int]:
    """The places of a counter that are not kept, between the first and the last that is."""
    return [place for place in range(kept[0], kept[-1]) if place not in kept]


def expanded(found: tuple[Gap, ...]) -> list[str]:
    names = []
    for gap in found:
        number = int(gap.first[-4:])
        for _ in range(gap.count):
            names.append(f"SB_{number:04}")
            number = number % 9999 + 1
        assert names[-1] == gap.last
    return names


def rows(places: list[int]) -> int:
    return sum(place - 1 not in places for place in places)


@given(
    start=st.one_of(st.integers(1, 9999), st.integers(9950, 9999)),
    kept=st.sets(st.integers(0, 120), min_size=1, max_size=60).map(sorted),
    data=st.data(),
)
def test_what_is_missing_equals_a_plain_count_whatever_the_order_of_arrival(
    start: int, kept: list[int], data: st.DataObject
) -> None:
    arrivals = data.draw(st.permutations(range(len(kept))))
    frames = [
        logged(place, f"SB_{(start - 1 + place) % 9999 + 1:04}.dng", arrival=arrival)
        for place, arrival in zip(kept, arrivals, strict=True)
    ]
    shuffled = [frames[arrival] for arrival in arrivals]
    expected = model(kept)
    if rows(expected) >= 3 and rows(expected) > (len(kept) - 1) / 2:
        expected = []
    assert sorted(expanded(gaps(day(shuffled)))) == sorted(f"SB_{(start - 1 + p) % 9999 + 1:04}" for p in expected)


@pytest.mark.parametrize("apart", [199, 200, 201, 202])
def test_the_bound_of_a_gap_is_the_number_of_frames_missing(apart: int) -> None:
    found = gaps(day(counted(100, 100 + apart + 1)))
    assert [gap.count for gap in found] == ([apart] if apart <= 200 else [])
