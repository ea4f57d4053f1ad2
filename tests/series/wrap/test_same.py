"""One content under several names, and one name for several contents."""

from __future__ import annotations

from typing import Any

from qc.day import Day
from qc.log.rows import Logged
from qc.reading import Level
from qc.series.wrap.same import same_content, same_name
from tests.log.made import content
from tests.series.wrap.days import day, event, logged


def at(number: int, *paths: str, **changes: Any) -> Logged:
    """A capture that several paths hold."""
    folder, _, name = paths[0].rpartition("/")
    return logged(number, name, folder=f"{folder}/" if folder else "", paths=paths, held=paths, **changes)


def of_content(one: Day) -> list[tuple[str, str]]:
    return [(str(found.level), found.text) for found in same_content(one)]


def of_name(one: Day) -> list[tuple[str, str]]:
    return [(str(found.level), found.text) for found in same_name(one)]


def test_one_picture_under_two_numbers_may_have_cost_another_one() -> None:
    (found,) = same_content(day([at(30, "SB_0030.dng", "SB_0031.dng")]))
    assert (found.code, found.level, found.contents) == ("content_again", Level.WARN, (content(30),))
    assert found.text == (
        "SB_0031.dng is SB_0030.dng once more: the picture of one of these numbers may never have come"
    )


def test_a_copy_under_a_name_that_counts_nothing_is_a_note() -> None:
    assert of_content(day([at(30, "SB_0030.dng", "SB_0030 (1).dng")])) == [
        ("note", "SB_0030 (1).dng is SB_0030.dng once more")
    ]
    assert of_content(day([at(30, "SB_0030.dng", "best.dng", "label.dng")])) == [
        ("note", "best.dng and label.dng are SB_0030.dng once more")
    ]


def test_a_file_of_one_name_in_two_folders_is_a_note_that_names_the_folders() -> None:
    assert of_content(day([at(30, "SB_0030.dng", "picks/SB_0030.dng")])) == [
        ("note", "SB_0030.dng lies in the day's folder and picks with the same content")
    ]


def test_a_folder_that_was_copied_is_told_once() -> None:
    frames = [at(number, f"a/SB_{number:04}.dng", f"b/SB_{number:04}.dng") for number in (1, 2, 3)]
    (found,) = same_content(day([*frames, logged(4)]))
    assert found.text == "3 names (SB_0001.dng to SB_0003.dng) lie in a and b with the same content"
    assert found.contents == (content(1), content(2), content(3))


def test_a_capture_that_one_path_holds_is_no_copy() -> None:
    moved = logged(30, "SB_0030.dng", paths=("SB_0030.dng", "SB_0031.dng"), held=("SB_0031.dng",))
    assert of_content(day([moved, logged(1)])) == []


def test_a_file_that_was_renamed_is_no_copy() -> None:
    told = event("duplicate", "best.dng", content=content(30), data={"of": "SB_0030.dng", "renamed": True})
    assert of_content(day([at(30, "SB_0030.dng", "best.dng")], events=[told])) == []
    other = event("duplicate", "best.dng", content=content(30), data={"of": "SB_0030.dng", "renamed": False})
    assert len(of_content(day([at(30, "SB_0030.dng", "best.dng")], events=[other]))) == 1


def test_a_name_that_was_written_again_with_another_picture_lost_the_first() -> None:
    gone = logged(3, "SB_0013.dng", arrival=3)
    (found,) = same_name(day([logged(13)], replaced=[gone]))
    assert (found.code, found.level, found.contents) == ("name_replaced", Level.WARN, (content(13),))
    assert found.text == (
        "SB_0013.dng was written twice: no file holds the picture any more that came first, at 10:00:03"
    )
    assert found.data == {"replaced": content(3)}


def test_a_file_that_came_in_pieces_or_got_a_rating_lost_nothing() -> None:
    piece = logged(3, "SB_0013.dng", state="truncated")
    rated = logged(14, "SB_0013.dng", taken="2026-11-25T09:00:13.000")
    assert of_name(day([logged(13, taken="2026-11-25T09:00:13.000")], replaced=[piece, rated])) == []


def test_a_finished_picture_that_its_raw_stands_for_lost_nothing() -> None:
    assert of_name(day([logged(13)], replaced=[logged(3, "SB_0013.JPG")])) == []


def test_one_name_for_two_captures_in_two_folders_is_a_note() -> None:
    frames = [logged(1, "SB_0001.dng", folder="a/"), logged(51, "sb_0001.dng", folder="b/")]
    (found,) = same_name(day(frames))
    assert (found.code, found.level, found.contents) == ("name_twice", Level.NOTE, (content(1), content(51)))
    assert found.text == (
        "SB_0001.dng stands for different captures in a and b: in one folder they would replace each other"
    )


def test_names_that_two_folders_share_are_told_once() -> None:
    frames = [logged(n + 50 * card, f"SB_{n:04}.dng", folder=f"{card}/") for n in (1, 2, 3) for card in (0, 1)]
    assert of_name(day(frames)) == [
        (
            "note",
            "3 names (SB_0001.dng to SB_0003.dng) stand for different captures in 0 and 1: in one folder they "
            "would replace each other",
        )
    ]


def test_the_same_file_in_two_folders_is_no_name_for_two_captures() -> None:
    assert of_name(day([at(1, "a/SB_0001.dng", "b/SB_0001.dng"), logged(2)])) == []
