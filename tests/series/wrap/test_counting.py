"""The captures of each set are counted, and what is not there is explained."""

from __future__ import annotations

from qc.series.entry import Purpose
from qc.series.wrap.counting import counts
from qc.series.wrap.sheets import UNNAMED, sheets_of
from tests.series.wrap.days import SHEET, day, event, in_sets, logged

FRONT = "Stoneware bottles, front"


def test_a_set_has_its_captures_with_the_first_and_the_last() -> None:
    frames = [
        logged(1),
        logged(2, paths=("SB_0002.dng", "copy.dng"), held=("SB_0002.dng", "copy.dng")),
        logged(3, state="truncated"),
        logged(5),
    ]
    (one,) = counts(day(frames, SB_0001={"purpose": Purpose.LEAVE_OUT}), {})
    assert (one.name, one.first, one.last) == (UNNAMED, "SB_0001.dng", "SB_0005.dng")
    assert (one.captures, one.whole, one.copies, one.missing) == (4, 3, 1, 1)
    assert one.not_whole == (("SB_0003.dng", "truncated"),)
    assert one.left_out == ("SB_0001.dng",)
    assert one.text == "SB_0004 missing: 1 frame; SB_0003.dng is truncated; SB_0001.dng was left out"


def test_a_gap_belongs_to_the_set_of_the_capture_before_it_and_what_is_explained_is_not_missing() -> None:
    frames = [
        in_sets(logged(1), SHEET, name=FRONT),
        in_sets(logged(2), SHEET, name=FRONT),
        *(in_sets(logged(n), '[set]\nname = "back"\n', digest="blake2b:02", name="back") for n in (5, 6)),
    ]
    one = day(frames, events=[event("vanished", "SB_0003.dng")])
    front, back = counts(one, sheets_of(one))
    assert (front.name, front.captures, front.missing) == (FRONT, 2, 1)
    assert front.text == "SB_0003 went away before it was measured; SB_0004 missing: 1 frame"
    assert (back.name, back.captures, back.missing, back.text) == ("back", 2, 0, "")


def test_a_file_without_a_time_is_neither_first_nor_last() -> None:
    frames = [logged(1), logged(2), logged(3, taken=None, state="truncated", arrival=3599)]
    (one,) = counts(day(frames), {})
    assert (one.first, one.last) == ("SB_0001.dng", "SB_0002.dng")
    (alone,) = counts(day([logged(3, taken=None)]), {})
    assert (alone.first, alone.last) == ("SB_0003.dng", "SB_0003.dng")


def test_a_day_without_captures_has_no_counts() -> None:
    assert counts(day([]), {}) == ()
