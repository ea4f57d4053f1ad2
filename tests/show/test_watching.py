"""What a watch says, laid out: each line has its room whatever is in it, and says one thing."""

from __future__ import annotations

import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from qc.intake.updates import Early, Heartbeat
from qc.reading import Level
from qc.show.text import COLUMN, PLAIN
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.fit import cut, cut_middle, pad, tidy
from qc.show.watching.layout import Paper, line, plain_line, region, widest
from tests.sheet.toys import SPECS
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

NAMES = st.text(st.characters(exclude_characters="/\0"), min_size=1, max_size=255)
"""What may be a file name, lone surrogates included."""

PAPERS = st.builds(
    Paper,
    width=st.integers(40, 200),
    height=st.integers(8, 60),
    encoding=st.sampled_from(["utf-8", "ascii", "latin-1"]),
    keys=st.booleans(),
)


def board(*updates: object) -> Board:
    made = Board(SPECS, clock=lambda: "10:14:05")
    for update in updates:
        made.take(update)  # type: ignore[arg-type]  # any update
    return made


def texts(of: Board, paper: Paper | None = None) -> list[str]:
    return [text.plain for text in region(of, paper or Paper())]


# -- cells


@given(st.text(max_size=300))
def test_tidied_text_is_one_printable_line_without_heaps_of_marks(text: str) -> None:
    tidied = tidy(text)
    assert tidied.isprintable()
    heaps = ["Mn" if unicodedata.category(sign) in ("Mn", "Me") else "x" for sign in tidied]
    assert "Mn Mn Mn" not in " ".join(heaps)


@given(st.text(max_size=300), st.integers(0, 60))
def test_cut_text_has_at_most_its_cells(text: str, cells: int) -> None:
    text = tidy(text)
    for shorter in (
        cut(text, cells),
        cut_middle(text, cells),
        cut(text, cells, dots="..."),
        cut_middle(text, cells),
    ):
        assert cell_len(shorter) <= cells


@given(st.text(max_size=50))
def test_text_that_fits_is_not_cut(text: str) -> None:
    text = tidy(text)
    assert cut(text, cell_len(text)) == cut_middle(text, cell_len(text)) == text


def test_a_name_is_cut_in_the_middle_so_that_its_number_stays() -> None:
    assert cut_middle("stoneware_bottles_front_0042.dng", 20) == "stoneware…t_0042.dng"


def test_wide_signs_count_two_cells() -> None:
    assert cut("瓶子瓶子瓶子", 7) == "瓶子瓶…"
    assert pad("瓶子", 6) == "瓶子  "


def test_control_and_direction_signs_are_written_out() -> None:
    assert tidy("a\x1b[31m\u202eb\n") == "a\\x1b[31m\\u202eb\\n"


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


def test_a_repeated_cause_is_said_as_its_first_clause_and_a_count() -> None:
    long = cause(BURNT, text="label burnt 0.8 %: at the rim, in every colour")
    of = measured(shot(15, causes=[long]), repeats=4, first="SB_0012.dng")
    said = words.of_capture(of.result, of.standing, SPECS, measured(shot(14, causes=[long])).standing)
    assert plain_line(said).endswith("label burnt 0.8 %, 4th frame in a row since SB_0012")
    assert line(said, Paper(width=160)).plain.endswith("label burnt 0.8 %, 4th frame in a row since SB_0012")
    assert line(said, Paper(width=80)).plain.endswith("label burnt 0.8 %, 4th frame in a row")
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


def test_a_new_alarm_that_is_too_long_for_its_line_goes_on_below_it_and_loses_nothing() -> None:
    of = measured(shot(18, causes=[CHANGED]))
    lines = line(words.of_capture(of.result, of.standing, SPECS), Paper()).plain.split("\n")
    assert len(lines) == 2
    assert lines[1].startswith(" " * 32)
    assert " ".join(one[32:].strip() for one in lines) == CHANGED.text


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
    assert plain_line(answered) == "10:02:48  SB_0008.dng  . clear  was warn"
    other = words.of_restated("10:02:48", "SB_0008.dng", standing(of, causes=[SOFT]), standing(of))
    assert other is not None
    assert plain_line(other) == "10:02:48  SB_0008.dng  = warn   now: neck blur 1.8 px"
    assert words.of_restated("10:02:48", "SB_0008.dng", standing(of, repeats=3), standing(of)) is None


def test_what_was_added_to_a_reason_is_said_without_the_reason() -> None:
    of = shot(8, causes=[NO_FLASH])
    tested = cause(NO_FLASH, text=f"{NO_FLASH.text}; ambient 6.9 stops under the flash, against SB_0007.dng")
    said = words.of_restated("10:02:48", "SB_0008.dng", standing(of, causes=[tested]), standing(of))
    assert said is not None
    assert plain_line(said).endswith("= warn   ambient 6.9 stops under the flash, against SB_0007.dng")


# -- the region


def test_the_strip_holds_the_last_twelve_verdicts_in_the_order_taken() -> None:
    levels = [[], [BURNT], [cause(BURNT, Level.HALT)], [cause(BURNT, Level.NOTE)]]
    frames = [measured(shot(n, causes=levels[n % 4])) for n in range(20)]
    newest_first = [*reversed(frames)]
    assert texts(board(*newest_first))[-2] == texts(board(*frames))[-2] == "last 12   ▁▅█▃▁▅█▃▁▅█▃"


def test_the_strip_begins_at_its_right_end_and_leaves_unjudged_frames_blank() -> None:
    frames = [measured(shot(1)), measured(shot(2, sheet=False)), measured(shot(3))]
    assert texts(board(*frames))[-2] == "last 12            ▁ ▁"


def test_a_first_look_stands_beside_the_strip_until_the_rest_is_told() -> None:
    of = shot(2, causes=[BURNT])
    looking = board(measured(shot(1)), Early(result=of))
    assert texts(looking)[-2].endswith("▁   first look  SB_0002.dng  ▅ warn  label burnt 0.12 %")
    looking.take(measured(of))
    assert "first look" not in " ".join(texts(looking))


def test_a_first_look_that_is_never_told_goes_when_nothing_waits() -> None:
    looking = board(Early(result=shot(2)), Heartbeat(waiting=1))
    assert "SB_0002" in texts(looking)[-2]
    looking.take(Heartbeat(waiting=0))
    assert "SB_0002" not in texts(looking)[-2]


def test_the_heartbeat_says_last_frame_age_waiting_arriving_and_room() -> None:
    beat = Heartbeat(last_name="SB_0412.dng", last_age_s=14.2, waiting=3, arriving=("a.dng",), free_frames=3_900)
    assert (
        texts(board(beat))[-1] == "10:14:05  last SB_0412.dng 14 s ago, 3 waiting, 1 arriving, 3 900 frames free"
    )
    assert texts(board(Heartbeat()))[-1] == "10:14:05  no frame yet, 0 waiting"
    assert texts(board(Heartbeat(free_bytes=212_400_000_000)))[-1].endswith("0 waiting, 212 GB free")


@pytest.mark.parametrize(
    ("seconds", "said"), [(0.4, "0 s"), (59.9, "59 s"), (60, "1 min"), (3599, "59 min"), (7500, "2 h 05 min")]
)
def test_an_age_is_said_as_it_is_spoken(seconds: float, said: str) -> None:
    assert words.age(seconds) == said


@pytest.mark.parametrize(
    ("number", "said"), [(2, "2nd"), (3, "3rd"), (4, "4th"), (11, "11th"), (112, "112th"), (121, "121st")]
)
def test_ordinals(number: int, said: str) -> None:
    assert words.ordinal(number) == said


def test_a_lost_folder_and_a_lost_log_are_said_in_words_for_as_long_as_they_last() -> None:
    both = board(Heartbeat(folder="lost", log="lost"))
    said = texts(both)
    assert "now       ▅ folder lost: no frame can arrive until it is back" in said
    assert "now       ▅ log lost: measuring goes on, nothing is kept" in said
    both.take(Heartbeat())
    assert not any(text.startswith("now") for text in texts(both))


def halts(count: int) -> Heartbeat:
    """Return a heartbeat with so many halts, each for a cause of its own."""
    open_halts = [standing(shot(n, causes=[replace(CUT, zone=str(n), text=f"cut {n}")])) for n in range(count)]
    return Heartbeat(
        open_halts=tuple(open_halts), names={s.content: f"SB_{n:04}.dng" for n, s in enumerate(open_halts)}
    )


def test_open_halts_stay_up_oldest_first_and_at_most_three_are_named() -> None:
    said = texts(board(halts(5)))
    assert [text.split()[1] for text in said if text.startswith("open")] == [
        "SB_0000.dng",
        "SB_0001.dng",
        "SB_0002.dng",
    ]
    assert "          and 2 more" in said


def test_open_halts_for_one_cause_are_one_line() -> None:
    of = [standing(shot(n, causes=[cause(BURNT, Level.HALT)])) for n in range(4)]
    said = texts(
        board(Heartbeat(open_halts=tuple(of), names={s.content: f"SB_{n:04}.dng" for n, s in enumerate(of)}))
    )
    assert said[1] == "open      SB_0000.dng  █ halt   label burnt 0.12 % and 3 more frames"


def test_what_always_stands_in_the_region_keeps_its_place_at_the_bottom() -> None:
    bottoms = {tuple(text[:8] for text in texts(board(halts(n)))[-2:]) for n in range(6)}
    assert bottoms == {("last 12 ", "10:14:05")}


@given(NAMES, NAMES, PAPERS, st.integers(0, 5), st.integers(0, 10**12))
def test_no_name_makes_the_region_wider_or_higher_than_the_terminal(
    name: str, text: str, paper: Paper, count: int, number: int
) -> None:
    told = [measured(shot(n, name, causes=[cause(BURNT, Level.HALT, text)])) for n in range(count)]
    beat = replace(
        halts(count), last_name=name, arriving=(name,), needs=(text,), last_age_s=number, free_frames=number
    )
    full = board(*told, beat, Early(result=shot(9, name, causes=[cause(BURNT, text=text)])))
    lines = region(full, paper, name_width=widest([name], paper))
    assert len(lines) < paper.height
    for one in lines:
        assert cell_len(one.plain) <= paper.room
        assert one.plain.isprintable()
        one.plain.encode(paper.encoding)


def test_what_the_set_needs_and_the_keys_share_one_line() -> None:
    keys = Paper(keys=True)
    assert texts(board(Heartbeat(needs=("dark", "patch"))), keys)[-1].startswith(
        "still needed: dark, patch     Enter"
    )
    assert texts(board(Heartbeat()), keys)[-1].startswith("Enter: answer")
    assert texts(board(Heartbeat(needs=("dark",))))[-1] == "still needed: dark"


# -- beginning and end


def test_the_first_screen_without_a_sheet_is_three_lines_that_fit_80_columns() -> None:
    lines = words.unjudged("in/bottles.qc")
    assert len(lines) == 3
    assert all(cell_len(one) < 80 for one in lines)
    assert lines[2].endswith("qc sheet new in/bottles.qc/NAME.set.toml")
    assert words.unjudged("in/my bottles.qc")[2].endswith("qc sheet new 'in/my bottles.qc/NAME.set.toml'")


def test_the_closing_summary_counts_and_names_what_is_at_halt_and_warn() -> None:
    day = board(*Day())
    frames, named, log = words.closing(day.levels(), "in/bottles.qc", shorten=lambda name: name[:11])
    assert frames == "25 frames: 18 clear, 2 note, 3 warn, 2 halt"
    assert named.startswith("halt: SB_0013.dng, SB_0019.dng; warn: SB_0011.dng, SB_0018.dng, ")
    assert log == "log: in/bottles.qc"


def test_the_closing_summary_names_at_most_four_of_a_level() -> None:
    many = {str(n): (f"{n}.dng", Level.WARN) for n in range(9)}
    assert words.closing(many, "out")[1] == "warn: 0.dng, 1.dng, 2.dng, 3.dng and 5 more"
    assert words.closing({}, "out")[:2] == ("0 frames", "no halt, no warn")
