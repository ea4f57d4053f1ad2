"""The region under the lines of a watch: strip, heartbeat, open halts, within its terminal whatever is in it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from qc.intake.updates import Early, Heartbeat, Restated
from qc.reading import Level
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.layout import Paper, region, widest
from qc.words import ordinal
from tests.sheet.toys import SPECS
from tests.show.papers import NAMES, PAPERS
from tests.show.scripted_day import (
    BURNT,
    CUT,
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


def texts(of: Board, paper: Paper | None = None) -> list[str]:
    return [text.plain for text in region(of, paper or Paper())]


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
    assert "1 arriving: a.dng, 3" in texts(board(beat), Paper(width=160))[-1]
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
    assert ordinal(number) == said


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


def alike(count: int, *, repeats: int = 0) -> Heartbeat:
    """Return a heartbeat with so many halts for one cause, the last of them the so-many-th in a row."""
    burnt = cause(BURNT, Level.HALT)
    of = [
        standing(shot(n, causes=[burnt]), repeats=repeats - count + n + 1 if repeats else 0, first="SB_0000.dng")
        for n in range(count)
    ]
    return Heartbeat(open_halts=tuple(of), names={s.content: f"SB_{n:04}.dng" for n, s in enumerate(of)})


@pytest.mark.parametrize(
    ("beat", "count"),
    [
        (alike(4), ", 4 frames"),
        (alike(4, repeats=4), ", 4 frames in a row"),
        (alike(15, repeats=25), ", 15 of 25 frames in a row"),
        (alike(1, repeats=25), ""),
    ],
)
def test_open_halts_for_one_cause_are_one_line_with_the_count_of_the_lines_above(
    beat: Heartbeat, count: str
) -> None:
    assert texts(board(beat))[1] == f"open      SB_0000.dng  █ halt   label burnt 0.12 %{count}"


def test_files_that_could_not_be_measured_are_open_after_the_halts_until_somebody_says_so() -> None:
    cannot = cause(CUT, Level.UNMEASURED, "unreadable: no permission")
    of = measured(shot(3, causes=[cannot]))
    full = board(of, halts(1))
    assert [text for text in texts(full) if text.startswith("open")] == [
        "open      SB_0000.dng  █ halt   cut 0",
        "open      SB_0003.dng  ? unmeasured  unreadable: no permission",
    ]
    assert [name for row in full.alarms() for name, _ in row] == ["SB_0003.dng", "SB_0000.dng"]
    full.take(Restated(name="SB_0003.dng", standing=replace(of.standing, causes=())))
    assert not any("SB_0003" in text for text in texts(full) if text.startswith("open"))


def test_trouble_with_the_sheet_stands_there_for_as_long_as_it_lasts() -> None:
    bad = board(Heartbeat(sheet_trouble="one.set.toml: line 3: no such role; the last good one holds"))
    assert "now       ▅ one.set.toml: line 3: no such role; the last good one holds" in texts(bad)
    bad.take(Heartbeat())
    assert not any(text.startswith("now") for text in texts(bad))


def test_the_heartbeat_names_the_frame_taken_last_not_the_one_told_last() -> None:
    clock = iter([0.0, 5.0, 9.0])
    of = Board(SPECS, clock=lambda: "10:14:05", now=lambda: next(clock))
    of.take(measured(shot(60)))
    of.take(measured(shot(50)))
    of.take(Heartbeat(last_name="SB_0050.dng", last_age_s=0.3))
    assert texts(of)[-1].startswith("10:14:05  last SB_0060.dng 9 s ago")


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
    assert texts(board(measured(shot(1))), keys)[-1].startswith("Enter: about the newest frame")
    assert texts(board(measured(shot(1, causes=[BURNT]))), keys)[-1].startswith("Enter: answer")
    assert texts(board(Heartbeat(needs=("dark",))))[-1] == "still needed: dark"
