"""A file far from the size of its like is noted; pictures that compress otherwise are not accused."""

from __future__ import annotations

from qc.day import Day
from qc.log.rows import Logged
from qc.reading import Finding, Level
from qc.series.wrap.sizes import sizes
from tests.log.made import content
from tests.series.days import with_camera
from tests.series.wrap.days import day, logged

BLACK = (Finding(code="nearly_black", text="black"),)


def of_bytes(*amounts: int, start: int = 1) -> list[Logged]:
    return [logged(number, bytes=amount) for number, amount in enumerate(amounts, start=start)]


def told(one: Day) -> list[str]:
    return [found.text for found in sizes(one)]


USUAL = (50_000_000, 50_500_000, 49_000_000, 51_000_000, 50_200_000, 49_700_000, 50_100_000, 50_900_000)


def test_a_file_far_from_its_like_is_noted_with_both_sizes() -> None:
    (found,) = sizes(day(of_bytes(*USUAL, 12_100_000)))
    assert (found.code, found.level, found.contents) == ("size_unusual", Level.NOTE, (content(9),))
    assert found.text == "SB_0009.dng has 12.1 MB, where files of its kind have 50.1 MB"
    assert found.data == {"bytes": 12_100_000, "usual_bytes": 50_100_000}
    (large,) = told(day(of_bytes(*USUAL, 150_000_000)))
    assert large == "SB_0009.dng has 150 MB, where files of its kind have 50.2 MB"


def test_a_picture_that_compresses_better_is_not_accused() -> None:
    assert told(day(of_bytes(*USUAL, 35_000_000, 70_000_000))) == []


def test_where_sizes_vary_much_a_size_must_be_farther_off() -> None:
    varied = tuple(int(20_000_000 * 1.15**step) for step in range(12))
    assert told(day(of_bytes(*varied, 9_000_000))) == []


def test_two_sorts_of_pictures_are_both_usual() -> None:
    assert len(told(day(of_bytes(*USUAL, 12_100_000, 12_200_000)))) == 2
    assert told(day(of_bytes(*USUAL, 12_100_000, 12_200_000, 12_300_000))) == []


def test_a_few_files_are_no_rule() -> None:
    assert told(day(of_bytes(*USUAL[:6], 1_000_000))) == []


def test_files_of_another_body_kind_picture_size_or_suffix_are_not_compared() -> None:
    others = [
        logged(20, bytes=9_000_000, settings=with_camera(serial="R-2")),
        logged(21, bytes=9_000_000, kind="rendered"),
        logged(22, bytes=9_000_000, size=(300, 200)),
        logged(23, "SB_0023.JPG", bytes=9_000_000),
    ]
    assert told(day([*of_bytes(*USUAL), *others])) == []


def test_frames_that_show_something_else_and_files_that_are_not_whole_are_left_alone() -> None:
    others = [
        logged(20, bytes=9_000_000),
        logged(21, bytes=9_000_000, findings=BLACK),
        logged(22, bytes=9_000_000, state="truncated"),
    ]
    one = day([*of_bytes(*USUAL), *others], SB_0020={"purpose": "clean-plate"})
    assert told(one) == []
