"""The state of a page: which frame, which words, and nothing that is no JSON."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from qc.frame import Camera
from qc.intake.updates import Early, Heartbeat, Recalled, Restated
from qc.pages.follow.state import MOST_ALARMS, Known, as_said, state_of, token_of
from qc.pages.follow.store import Held, key_of
from qc.reading import Level
from qc.result import Result
from qc.show.text import settings_line
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.menu import Menu
from qc.show.watching.rows import mark_of
from qc.show.watching.words import Said
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


def board(*updates: Any) -> Board:
    made = Board(SPECS, clock=lambda: "10:14:05", now=lambda: 100.0)
    for update in updates:
        made.take(update)
    return made


def state(*updates: Any, **known: Any) -> dict[str, Any]:
    return state_of(board(*updates), Known(**known))


def frame(*updates: Any, **known: Any) -> dict[str, Any]:
    of: dict[str, Any] = state(*updates, **known)["frame"]
    return of


def held(result: Result, **changes: Any) -> Held:
    own = measured(result).standing
    return replace(Held(content=own.content, standing=own, result=result), **changes)


HALT = shot(12, causes=[cause(BURNT, Level.HALT, "label burnt 10.64 %"), cause(SOFT, Level.HALT), NO_FLASH])


def test_nothing_yet_has_no_frame_and_a_heart() -> None:
    of = state(folder="bottles")
    assert (of["frame"], of["strip"], of["alarms"], of["watch"], of["folder"]) == (None, [], [], "on", "bottles")
    assert of["heart"]["last"] is None


def test_a_frame_has_its_number_one_reason_and_how_many_others_of_its_level_there_are() -> None:
    of = frame(measured(HALT))
    assert (of["number"], of["stem"], of["name"]) == ("0012", "SB_", "SB_0012.dng")
    assert (of["level"], of["word"], of["reason"], of["more"]) == ("halt", "halt", "label burnt 10.64 %", 1)
    assert of["time"] == "10:04:12"
    assert of["looking"] is False


def test_all_causes_and_the_settings_are_there_for_who_asks_for_more() -> None:
    told = measured(HALT)
    of = frame(told, held=held(HALT))
    assert of["causes"] == [one.text for one in told.standing.causes]
    assert of["settings"] == settings_line(HALT)
    assert frame(told)["settings"] == ""
    early = frame(Early(result=HALT))
    assert (early["causes"], early["settings"]) == ([one.text for one in HALT.verdict.causes], settings_line(HALT))


def test_the_reason_is_one_clause_of_what_the_terminal_says_in_full() -> None:
    of = frame(measured(shot(18, causes=[CHANGED])))
    assert of["reason"] == "settings changed since SB_0017.dng: aperture f/8 was f/11"
    assert (
        frame(measured(shot(19, causes=[CUT])))["reason"] == "truncated: the picture's data end at 11.2 of 24.7 MB"
    )


def test_a_cause_that_stands_again_is_counted_as_on_the_terminal() -> None:
    first, again = shot(13, causes=[CHANGED]), shot(14, causes=[CHANGED])
    of = frame(measured(first), measured(again, repeats=3, first="SB_0012.dng"))
    assert (of["reason"], of["again"]) == ("settings changed since SB_0017.dng", "3rd in a row")
    said = words.of_capture(again, measured(again, repeats=3).standing, SPECS, measured(first).standing)
    assert "3rd in a row" in said.tails[-2]


def test_a_new_cause_beside_one_that_stands_again_is_the_one_that_is_said_and_marked() -> None:
    first = shot(13, causes=[BURNT])
    both = measured(shot(14, causes=[BURNT, SOFT]), repeats=2, first="SB_0013.dng")
    of = frame(measured(first), both)
    assert (of["reason"], of["again"], of["more"]) == ("neck blur 1.8 px", "", 1)
    assert as_said(both.standing, measured(first).standing).causes == (SOFT, BURNT)


def test_the_frame_shown_is_the_one_taken_last_in_whatever_order_they_were_told() -> None:
    of = state(measured(shot(3)), measured(shot(1)), measured(shot(2)))
    assert of["frame"]["number"] == "0003"
    assert [one["name"] for one in of["strip"]] == ["SB_0001.dng", "SB_0002.dng", "SB_0003.dng"]


def test_the_strip_has_the_last_twelve_oldest_first() -> None:
    of = state(*(measured(shot(number)) for number in range(1, 20)))
    assert [one["name"] for one in of["strip"]] == [f"SB_{number:04}.dng" for number in range(8, 20)]
    assert {one["level"] for one in of["strip"]} == {"clear"}


def test_a_first_look_at_a_newer_frame_is_shown_and_is_never_called_clear() -> None:
    of = frame(measured(shot(1)), Early(result=shot(2)))
    assert (of["number"], of["level"], of["word"], of["looking"]) == ("0002", "unjudged", "first look", True)
    assert (of["reason"], of["picture"]) == ("", None)
    assert of["without"]


def test_a_first_look_that_shows_an_alarm_says_it_at_once() -> None:
    of = frame(measured(shot(1)), Early(result=shot(2, causes=[BURNT])))
    assert (of["level"], of["word"], of["reason"], of["looking"]) == ("warn", "warn", "label burnt 0.12 %", True)


def test_a_first_look_at_an_older_frame_does_not_take_the_place_of_the_newest() -> None:
    assert frame(measured(shot(5)), Early(result=shot(2)))["number"] == "0005"


def test_a_first_look_at_a_frame_without_a_recorded_time_is_one_at_the_newest() -> None:
    untimed = shot(2)
    untimed = replace(untimed, camera=replace(untimed.camera, settings=Camera()))
    assert frame(measured(shot(5)), Early(result=untimed))["number"] == "0002"


@pytest.mark.parametrize(
    ("name", "number", "before"),
    [
        ("SB_0012.dng", "0012", "SB_"),
        ("bottle.dng", "", "bottle"),
        ("2026-11-25 7.cr3", "7", "2026-11-25 "),
        ("SB_0012", "0012", "SB_"),
    ],
)
def test_the_number_is_the_counter_at_the_end_of_the_name(name: str, number: str, before: str) -> None:
    of = frame(measured(shot(1, name)))
    assert (of["number"], of["stem"]) == (number, before)


def test_a_picture_is_named_by_its_key_and_its_mark_changes_with_what_is_marked() -> None:
    with_picture = held(HALT, size=(1600, 1067), stored=b"x")
    one, other = (frame(measured(HALT), held=with_picture, mark=mark) for mark in (b"<svg/>", b"<svg></svg>"))
    assert one["picture"] == "/picture/0012.jpg"
    assert one["size"] == [1600, 1067]
    assert one["mark"].startswith("/mark/0012.svg?")
    assert one["mark"] != other["mark"]
    assert frame(measured(HALT), held=with_picture)["mark"] is None


def test_a_frame_without_a_picture_says_why() -> None:
    of = frame(measured(HALT), held=held(HALT, without="nothing of it could be read as a picture"))
    assert (of["picture"], of["size"], of["mark"]) == (None, None, None)
    assert of["without"] == "nothing of it could be read as a picture"


def test_an_unjudged_frame_has_its_first_figure_in_place_of_a_reason() -> None:
    of = shot(4, sheet=False)
    assert frame(measured(of), held=held(of))["reason"] == words.of_capture(of, standing(of), SPECS).figures[0]
    assert frame(measured(of))["reason"] == ""


def test_question_and_answers_are_word_for_word_those_of_the_terminals_menu() -> None:
    told = board(measured(HALT), measured(shot(13, causes=[NO_FLASH])))
    offered = {mark_of(measured(HALT).standing): "accept label burnt up to 11.7 %"}
    for number, alarm in enumerate(state_of(told, Known(offers=offered))["alarms"]):
        menu = Menu(lambda _: "accept label burnt up to 11.7 %")
        for _ in range(number + 1):
            menu.press("\n", told.alarms())
        lines = menu.lines()
        assert alarm["question"] == lines[0]
        for answer, line in zip(alarm["answers"], lines[1:-1], strict=True):
            said = f"{answer['key']}  {answer['said']}"
            assert line == (f"   {said}" if answer["can"] else f"  ({said})")
    assert [one["act"] for one in alarm["answers"]] == ["accept", "dark", "leave-out", "answer", "baseline"]


def test_an_alarm_is_about_each_of_its_frames_and_another_cause_is_another_alarm() -> None:
    one, other = (measured(shot(number, causes=[BURNT])) for number in (2, 1))
    about = state(other, one)["alarms"][0]["about"]
    assert about == [token_of(one.standing), token_of(other.standing)]
    assert token_of(one.standing) != token_of(replace(one.standing, causes=(SOFT,)))
    assert token_of(one.standing) != token_of(replace(one.standing, level=Level.HALT))


def test_a_day_of_alarms_is_told_in_few_rows_the_newest_first() -> None:
    many = [measured(shot(number, causes=[replace(BURNT, zone=f"label {number}")])) for number in range(1, 60)]
    alarms = state(*many)["alarms"]
    assert len(alarms) == MOST_ALARMS
    assert alarms[0]["question"] == "SB_0059.dng, warn: label burnt 0.12 %"


def test_the_heart_says_what_the_terminal_says_and_an_age_that_goes_on() -> None:
    beat = Heartbeat(
        last_name="SB_0012.dng",
        last_age_s=12.0,
        free_frames=3120,
        needs=("dark",),
        folder="lost",
        sheet_trouble="one.set.toml: line 3: no such role",
    )
    heart = state(beat, since_beat_s=2.25)["heart"]
    assert heart["pieces"] == ["0 waiting", "3 120 frames free"]
    assert (heart["last"], heart["age_s"], heart["clock"]) == ("SB_0012.dng", 14.2, "10:14:05")
    assert heart["needs"] == "still needed: dark"
    assert [one["level"] for one in heart["troubles"]] == ["warn", "warn"]
    assert heart["troubles"][0]["text"].startswith("folder lost")


def test_each_trouble_says_what_it_is_about_whatever_its_words() -> None:
    sheet = "folder lost.set.toml has mistakes: it is not used"
    beat = Heartbeat(folder="lost", log="lost", sheet_trouble=sheet)
    troubles = state(beat)["heart"]["troubles"]
    assert {one["what"]: one["text"] for one in troubles}["sheet"] == sheet
    assert sorted(one["what"] for one in troubles) == ["folder", "log", "sheet"]
    assert [one["text"] for one in troubles] == [text for _, text in words.troubles(beat)]
    assert [one["what"] for one in state(Heartbeat(log="lost"))["heart"]["troubles"]] == ["log"]
    assert state(Heartbeat())["heart"]["troubles"] == []


def test_what_nobody_answered_stays_there_when_the_next_frame_is_clear_and_the_frame_shown_is_not_of_it() -> None:
    halts = [measured(shot(n, causes=[cause(BURNT, Level.HALT, f"label burnt {n}.4 %; over")])) for n in (4, 7)]
    soft = measured(shot(5, causes=[cause(SOFT, Level.HALT)]))
    assert state(*halts, soft)["open"] == [
        {"level": "halt", "name": "SB_0005", "reason": "neck blur 1.8 px", "frames": 1},
        {"level": "halt", "name": "SB_0004", "reason": "label burnt 4.4 %", "frames": 1},
    ]
    opened = state(*halts, soft, measured(shot(8)))["open"]
    assert [(one["name"], one["reason"], one["frames"]) for one in opened] == [
        ("SB_0005", "neck blur 1.8 px", 1),
        ("SB_0007", "label burnt 7.4 %", 2),
    ]
    answered = [Restated(name="", standing=replace(one.standing, level=Level.CLEAR, causes=())) for one in halts]
    assert len(state(*halts, soft, measured(shot(8)), *answered)["open"]) == 1


def test_a_day_of_open_halts_is_told_in_few_rows_and_each_frame_counted() -> None:
    halts = [replace(BURNT, level=Level.HALT, zone=f"label {number}") for number in range(1, 60)]
    of = state(*(measured(shot(number, causes=[one])) for number, one in enumerate(halts, 1)), measured(shot(90)))
    assert (len(of["open"]), of["open_frames"]) == (MOST_ALARMS, 59)
    assert of["open"][0]["name"] == "SB_0059"


def test_a_halt_stays_open_while_the_next_frame_is_only_looked_at() -> None:
    of = state(measured(HALT), Early(result=shot(13)))
    assert of["frame"]["number"] == "0013"
    assert [(one["name"], one["reason"]) for one in of["open"]] == [("SB_0012", "label burnt 10.64 %")]
    assert state(Early(result=HALT))["open"] == []


def test_where_no_alarm_waits_the_newest_frame_is_asked_about_word_for_word_as_on_the_terminal() -> None:
    told = board(measured(shot(1)), measured(shot(2)))
    of, menu = state_of(told, Known()), Menu()
    menu.press("\n", told.asked())
    assert of["alarms"] == []
    assert of["newest"]["question"] == menu.lines()[0] == "SB_0002.dng, clear"
    assert [one["act"] for one in of["newest"]["answers"] if one["can"]] == ["leave-out", "baseline"]
    for answer, line in zip(of["newest"]["answers"], menu.lines()[1:-1], strict=True):
        assert f"{answer['key']}  {answer['said']}" in line
    assert state(measured(HALT))["newest"] is None
    assert state()["newest"] is None


def test_what_people_did_the_hint_and_the_end_are_told() -> None:
    said = [Said(time="10:02:09", reason="accepted: label", kind="accepted")]
    of = state(said=said, hint=words.unjudged(), ended=True)
    assert of["said"] == [{"time": "10:02:09", "text": "accepted: label"}]
    assert of["hint"] == list(words.unjudged())
    assert of["watch"] == "ended"


def test_captures_of_an_earlier_watch_are_shown_without_what_is_not_known_of_them() -> None:
    own = measured(HALT).standing
    names = {own.content: "SB_0012.dng"}
    of = frame(Recalled(standings=(own,), names=names))
    told = (of["name"], of["level"], of["reason"], of["time"])
    assert told == ("SB_0012.dng", "halt", "label burnt 10.64 %", "")
    taken = {own.content: "2026-11-25T10:04:12+01:00"}
    assert frame(Recalled(standings=(own,), names=names, taken=taken))["time"] == "10:04:12"


def test_every_state_of_a_day_is_json_that_any_reader_takes_whatever_a_file_is_called() -> None:
    told = Board(SPECS)
    for update in Day():
        told.take(update)
        of = state_of(told, Known(folder="in\udcff", said=[Said(time="x", reason=NASTY)]))
        text = json.dumps(of, allow_nan=False, ensure_ascii=False)
        text.encode("utf-8")
        assert json.loads(text) == of
        assert all(sign.isprintable() for sign in text)


@pytest.mark.parametrize("content", ["blake2b:00ff", "path:in/../SB_0001.dng", "blake2b:ABC", ""])
def test_a_key_is_of_letters_and_digits_whatever_a_capture_is_known_by(content: str) -> None:
    assert key_of(content).isalnum()
    assert key_of(content) == key_of(content)


def test_the_key_of_a_content_is_its_hexadecimal_digits() -> None:
    assert key_of("blake2b:00ff") == "00ff"
