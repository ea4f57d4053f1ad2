"""What a watch says, laid out: each line has its room whatever is in it, and says one thing."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from qc.reading import Level
from qc.result import Cause, Result
from qc.series.entry import Purpose, Standing
from qc.series.make import entry_of
from qc.series.run import fold
from qc.show.text import COLUMN, PLAIN
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.layout import Paper, line, plain_line, told, widest
from qc.show.watching.rows import is_unread
from qc.show.watching.words import Said, clause
from tests.sheet.toys import SPECS
from tests.show.papers import NAMES, PAPERS
from tests.show.scripted_day import (
    BURNT,
    CHANGED,
    CUT,
    NASTY,
    NO_FLASH,
    SOFT,
    Day,
    cause,
    measured,
    shot,
    standing,
)


def board(*updates: object) -> Board:
    made = Board(SPECS, clock=lambda: "10:14:05")
    for update in updates:
        made.take(update)  # type: ignore[arg-type]  # any update
    return made


# -- lines that scroll


def test_a_frame_is_one_line_with_time_name_mark_word_and_reason() -> None:
    of = measured(shot(11, causes=[BURNT]))
    said = words.of_capture(of.result, of.standing, SPECS)
    assert line(said, Paper()).plain == "10:03:51  SB_0011.dng  ▅ warn   label burnt 0.12 %"
    assert plain_line(said) == "10:03:51  SB_0011.dng  = warn   label burnt 0.12 %"


def test_a_frame_with_more_causes_of_its_level_says_how_many() -> None:
    of = measured(shot(11, causes=[BURNT, SOFT, cause(BURNT, Level.NOTE)]))
    assert line(words.of_capture(of.result, of.standing, SPECS), Paper()).plain.endswith(
        "label burnt 0.12 %  (+1)"
    )


def test_an_unjudged_frame_has_its_numbers_and_a_clear_one_nothing() -> None:
    unjudged = measured(shot(1, sheet=False))
    said = words.of_capture(unjudged.result, unjudged.standing, SPECS)
    assert said.reason == "burnt 0.42 %, room at least 7.2 stops under"
    clear = measured(shot(1))
    assert line(words.of_capture(clear.result, clear.standing, SPECS), Paper()).plain.endswith("▁ clear")


def test_a_frame_left_out_says_that_and_none_of_its_numbers() -> None:
    of = shot(1, sheet=False)
    entry = entry_of(of, order=("", "", 0, 0), light=None, specs=SPECS)
    (left_out,) = fold([replace(entry, purpose=Purpose.LEAVE_OUT)], specs=SPECS)
    said = words.of_capture(of, left_out, SPECS)
    assert (said.level, said.reason, said.figures) == (Level.UNJUDGED, "left out", ())
    again = words.of_restated("10:02:48", of.file.name, left_out, standing(of))
    assert again is not None
    assert again.reason == "now: left out"


def test_a_repeated_cause_is_said_as_its_first_clause_and_a_count() -> None:
    long = cause(BURNT, text="label burnt 0.8 %: at the rim, in every colour")
    of = measured(shot(15, causes=[long]), repeats=4, first="SB_0012.dng")
    said = words.of_capture(of.result, of.standing, SPECS, measured(shot(14, causes=[long])).standing)
    assert plain_line(said).endswith("label burnt 0.8 %, 4th frame in a row since SB_0012")
    assert line(said, Paper(width=160)).plain.endswith("label burnt 0.8 %, 4th frame in a row since SB_0012")
    assert line(said, Paper(width=80)).plain.endswith("label burnt 0.8 %, 4th frame in a row")
    assert line(said, Paper(width=60)).plain.endswith(
        "label burnt 0.8 %, again"
    )  # the figure goes before the count
    assert said.quiet


def test_a_new_cause_goes_before_a_repeated_one_of_its_level() -> None:
    of = measured(shot(15, causes=[BURNT, SOFT]), repeats=4, first="SB_0012.dng")
    said = words.of_capture(of.result, of.standing, SPECS, measured(shot(14, causes=[BURNT])).standing)
    assert plain_line(said).endswith("neck blur 1.8 px  (+1)")
    assert not said.quiet


def test_a_repeated_cause_that_became_worse_is_said_in_full() -> None:
    of = measured(shot(15, causes=[cause(BURNT, Level.HALT, "label burnt 3.1 %: at the rim")]), repeats=4)
    said = words.of_capture(of.result, of.standing, SPECS, measured(shot(14, causes=[BURNT])).standing)
    assert said.reason == "label burnt 3.1 %: at the rim"
    assert not said.quiet


UNREADABLE = cause(CUT, Level.UNMEASURED, "unreadable: its name ends in .cr3, but it holds no picture")


@pytest.mark.parametrize(("new", "indent"), [(CHANGED, 32), (UNREADABLE, 37)])
def test_a_new_alarm_that_is_too_long_for_its_line_goes_on_below_it_and_loses_nothing(
    new: Cause, indent: int
) -> None:
    of = measured(shot(18, causes=[new]))
    lines = line(words.of_capture(of.result, of.standing, SPECS), Paper()).plain.split("\n")
    assert len(lines) == 2
    assert lines[1].startswith(" " * indent)
    assert " ".join(one[indent:].strip() for one in lines) == new.text


def test_a_milder_frame_and_a_repeat_stay_one_line() -> None:
    for level, repeats in ((Level.NOTE, 1), (Level.WARN, 3)):
        of = measured(shot(18, causes=[cause(CHANGED, level)]), repeats=repeats)
        before = standing(shot(17, causes=[cause(CHANGED, level)]))
        assert "\n" not in line(words.of_capture(of.result, of.standing, SPECS, before), Paper()).plain


@given(NAMES, NAMES, PAPERS, st.sampled_from(Level), st.integers(0, 300))
def test_no_name_and_no_reason_makes_a_line_wider_than_the_paper(
    name: str, text: str, paper: Paper, level: Level, repeats: int
) -> None:
    of = measured(shot(1, name, causes=[cause(BURNT, level, text)] * 2), repeats=repeats, first=text)
    said = words.of_capture(of.result, of.standing, SPECS, of.standing)
    for one in (said, replace(said, name=""), words.of_open([(name, of.standing)] * 3)):
        for part in line(one, paper, name_width=widest([name], paper)).plain.split("\n"):
            assert cell_len(part) <= paper.room
            assert part.isprintable()
            part.encode(paper.encoding)
    assert plain_line(said).isprintable()


@given(PAPERS, st.lists(st.floats(0, 1e4), min_size=1, max_size=3))
def test_the_figures_of_an_unjudged_frame_are_whole_or_not_there(paper: Paper, values: list[float]) -> None:
    figures = tuple(f"brightest unclipped tone {value:.2f} stops under" for value in values)
    said = Said(time="10:00:00", name="a.dng", level=Level.UNJUDGED, reason=", ".join(figures), figures=figures)
    shown = line(said, paper).plain.partition("unjudged")[2].strip()
    subsets = [one for count in range(len(figures) + 1) for one in combinations(figures, count)]
    assert shown in [", ".join(one) for one in subsets]


def test_at_80_columns_an_unjudged_frame_has_the_figures_that_fit() -> None:
    figures = ("burnt 10.76 %", "brightest unclipped tone 0.04 stops under", "blur 1.2 px")
    said = Said(time="10:00:00", name="SB_0001.dng", level=Level.UNJUDGED, figures=figures)
    assert line(said, Paper()).plain.endswith("unjudged  burnt 10.76 %, blur 1.2 px")
    assert line(said, Paper(width=160)).plain.endswith("unjudged  " + ", ".join(figures))


@given(st.integers(0, 60), st.lists(st.decimals(0, 10**6, places=2), min_size=1, max_size=6))
def test_no_reason_is_cut_inside_a_number(room: int, numbers: list[Decimal]) -> None:
    reason = " of ".join(f"label burnt {number} %" for number in numbers)
    shown = told(Said(time="", reason=reason), Paper(), room).removesuffix("…")
    assert reason.startswith(shown)
    assert not (shown[-1:].isdigit() and reason[len(shown) :][:1] in tuple("0123456789."))


def test_on_a_pipe_nothing_is_cut() -> None:
    of = measured(shot(19, NASTY, causes=[CUT]))
    said = plain_line(words.of_capture(of.result, of.standing, SPECS))
    assert CUT.text in said
    assert "very" * 12 in said


def test_where_only_plain_text_can_be_shown_marks_are_plain() -> None:
    of = measured(shot(11, causes=[BURNT]))
    said = words.of_capture(of.result, of.standing, SPECS)
    assert line(said, Paper(encoding="ascii")).plain == "10:03:51  SB_0011.dng  = warn   label burnt 0.12 %"
    assert Paper(encoding="ascii").marks == PLAIN
    assert Paper(encoding="UTF-8").marks == COLUMN


def test_a_frame_that_stands_otherwise_says_what_it_was() -> None:
    of = shot(8, causes=[BURNT])
    answered = words.of_restated("10:02:48", "SB_0008.dng", standing(of, causes=()), standing(of))
    assert answered is not None
    assert plain_line(answered) == "10:02:48  SB_0008.dng  . clear  now (was warn)"
    other = words.of_restated("10:02:48", "SB_0008.dng", standing(of, causes=[SOFT]), standing(of))
    assert other is not None
    assert plain_line(other) == "10:02:48  SB_0008.dng  = warn   now: neck blur 1.8 px"
    assert words.of_restated("10:02:48", "SB_0008.dng", standing(of, repeats=3), standing(of)) is None


def seen(of: Result, first: Cause, *, level: Level = Level.NOTE) -> Standing:
    """Where a frame stands whose first cause was answered."""
    note = replace(first, level=level, text=f"seen: {first.text}")
    return replace(standing(of, causes=[note]), level=level, answered=((first.reading, first.zone),))


def test_a_frame_that_was_answered_is_no_clear_one_and_says_what_was_seen() -> None:
    of = shot(8, causes=[BURNT])
    said = words.of_capture(of, seen(of, BURNT), SPECS)
    assert (said.level, said.reason) == (Level.NOTE, f"seen: {BURNT.text}")
    again = words.of_restated("10:02:48", "SB_0008.dng", seen(of, BURNT), standing(of))
    assert again is not None
    assert plain_line(again) == f"10:02:48  SB_0008.dng  - note   seen: {BURNT.text}  (was warn)"


def test_a_note_is_new_where_the_frame_before_was_answered_for_the_same() -> None:
    soft = cause(SOFT, Level.NOTE)
    both = measured(shot(15, causes=[cause(BURNT, Level.NOTE), soft]), repeats=4, first="SB_0012.dng")
    first = shot(14, causes=[cause(BURNT, Level.NOTE)])
    before = standing(first)
    answered = replace(seen(first, soft), causes=(*before.causes, *seen(first, soft).causes))
    assert words.of_capture(both.result, both.standing, SPECS, answered).reason == soft.text


def test_an_unread_file_waits_until_it_was_answered() -> None:
    of = shot(8, causes=[UNREADABLE])
    assert is_unread(standing(of))
    assert not is_unread(seen(of, UNREADABLE, level=Level.UNMEASURED))


def test_a_file_that_could_not_be_measured_and_was_answered_still_says_why() -> None:
    of = shot(8, causes=[UNREADABLE])
    said = words.of_restated("10:02:48", "SB_0008.dng", seen(of, UNREADABLE, level=Level.UNMEASURED), standing(of))
    assert said is not None
    assert plain_line(said).endswith(f"? unmeasured  now: seen: {UNREADABLE.text}")


def test_a_file_that_is_still_unmeasured_and_has_no_cause_any_more_says_that() -> None:
    of = shot(8, causes=[UNREADABLE])
    said = words.of_restated("10:02:48", "SB_0008.dng", replace(standing(of), causes=()), standing(of))
    assert said is not None
    assert plain_line(said).endswith("? unmeasured  nothing against it now")


def test_what_was_added_to_a_reason_is_said_without_the_reason() -> None:
    of = shot(8, causes=[NO_FLASH])
    tested = cause(NO_FLASH, text=f"{NO_FLASH.text}; ambient 6.9 stops under the flash, against SB_0007.dng")
    said = words.of_restated("10:02:48", "SB_0008.dng", standing(of, causes=[tested]), standing(of))
    assert said is not None
    assert plain_line(said).endswith("= warn   ambient 6.9 stops under the flash, against SB_0007.dng")


# -- beginning and end


def test_the_first_screen_without_a_sheet_is_three_lines_that_fit_80_columns() -> None:
    lines = words.unjudged()
    assert len(lines) == 3
    assert all(cell_len(one) < 80 for one in lines)
    assert "qc sheet draw (" in lines[2]  # with nothing to fill in: it can be typed as it stands


def test_with_test_the_first_screen_does_not_claim_to_judge_frames_without_flash() -> None:
    assert "without a picture" in words.unjudged()[0]
    assert "without a picture" not in words.unjudged(test=True)[0]
    assert "frames without flash are the ambient test" in words.TEST


def test_the_closing_summary_counts_and_names_what_is_at_halt_and_warn() -> None:
    day = board(*Day())
    frames, named, log = words.closing(day.levels(), "in/bottles.qc", shorten=lambda name: name[:11])
    assert frames == "25 frames: 18 clear, 2 note, 3 warn, 2 halt"
    assert named.startswith("halt: SB_0013.dng, SB_0019.dng; warn: SB_0011.dng, SB_0018.dng, ")
    assert log == "log: in/bottles.qc"


def test_the_closing_summary_names_at_most_four_of_a_level() -> None:
    many = {str(n): (f"{n}.dng", Level.WARN) for n in range(9)}
    assert words.closing(many, "out")[1] == "warn: 0.dng, 1.dng, 2.dng, 3.dng and 5 more"
    assert words.closing({}, "out")[:2] == ["0 frames", "no halt, no warn"]


def test_the_closing_summary_says_apart_what_was_logged_before_and_names_what_is_open_of_it() -> None:
    before = {"a": ("a.dng", Level.CLEAR), "b": ("b.dng", Level.HALT)}
    lines = words.closing({"c": ("c.dng", Level.CLEAR)}, "out", before=before, open_before=["b.dng"])
    assert lines == [
        "1 frame: 1 clear",
        "logged before this watch: the last 2 frames: 1 clear, 1 halt",
        "halt, open from before: b.dng",
        "log: out",
    ]


def test_the_closing_summary_names_halts_before_all_else_whoever_told_them() -> None:
    halts = {str(n): (f"{n}.dng", Level.HALT) for n in range(6)}
    named = words.closing(halts | {"w": ("w.dng", Level.WARN)}, "out", open_before=["old.dng"])[1]
    every = ", ".join(f"{n}.dng" for n in range(6))
    assert named == f"halt: {every}; halt, open from before: old.dng; warn: w.dng"


def test_files_that_could_not_be_measured_are_named_at_the_end() -> None:
    assert words.closing({"c": ("c.dng", Level.UNMEASURED)}, "out")[1] == "unmeasured: c.dng"


def test_a_log_that_could_not_be_written_is_not_called_the_log() -> None:
    assert words.closing({}, "/proc/x", lost=True)[-1].startswith("log: could not be written in /proc/x")


@pytest.mark.parametrize(
    ("text", "first"),
    [
        ("label burnt 0.8 %", "label burnt 0.8 %"),
        ("seal: sharpness not read: 166 px of ridges are no isolated edges", "seal: sharpness not read"),
        ("truncated: 288,470 bytes are there, its directories reach to byte 480,562", "truncated"),
        ("no flash in 2 frames in a row: SB_0013.dng and SB_0014.dng", "no flash in 2 frames in a row"),
        ("no flash in this frame; ambient 10.2 stops under the flash", "no flash in this frame"),
    ],
)
def test_a_cause_that_is_repeated_keeps_what_it_is_known_by(text: str, first: str) -> None:
    assert clause(text) == first
