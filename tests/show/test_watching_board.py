"""What a watch has told, folded from its updates; and the menu over it."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.contract import from_json
from qc.event import Event
from qc.intake.updates import Early, Heartbeat, Judged, Recalled, Restated, Update
from qc.reading import Level
from qc.result import Cause
from qc.series.entry import Standing
from qc.show.watching.board import Board
from qc.show.watching.deeds import Deeds
from qc.show.watching.lines import json_lines
from qc.show.watching.menu import Act, Menu, Wish, acts
from qc.show.watching.rows import rows_of
from tests.sheet.toys import SPECS
from tests.show.scripted_day import (
    BURNT,
    CHANGED,
    CUT,
    NO_FLASH,
    SOFT,
    Day,
    cause,
    event,
    measured,
    shot,
    standing,
)


def board(*updates: Update) -> Board:
    made = Board(SPECS, clock=lambda: "10:14:05")
    for update in updates:
        made.take(update)
    return made


def names(of: Board) -> list[list[str]]:
    return [[name for name, _ in row] for row in of.alarms()]


WARN, HALT = measured(shot(1, causes=[SOFT])), measured(shot(2, causes=[cause(BURNT, Level.HALT)]))


# -- the board


def test_alarms_wait_newest_first_and_frames_of_one_cause_wait_together() -> None:
    again = measured(shot(4, causes=[cause(BURNT, Level.HALT)]), repeats=2, first="SB_0002.dng")
    assert names(board(WARN, HALT, measured(shot(3)), again)) == [["SB_0004.dng", "SB_0002.dng"], ["SB_0001.dng"]]


@pytest.mark.parametrize("once", [CUT, CHANGED])
def test_what_happened_to_one_frame_waits_alone(once: Cause) -> None:
    twice = [measured(shot(n, causes=[cause(once, Level.HALT)])) for n in (1, 2)]
    told = board(*twice)
    assert names(told) == [["SB_0002.dng"], ["SB_0001.dng"]]
    assert len(told.open_rows()) == 2


def test_a_halt_of_a_day_begun_before_this_watch_waits_after_the_others() -> None:
    old = standing(shot(7, causes=[CUT]))
    assert names(board(WARN, Heartbeat(open_halts=(old,), names={old.content: "OLD.dng"}))) == [
        ["SB_0001.dng"],
        ["OLD.dng"],
    ]


def test_an_alarm_that_was_acted_on_is_not_offered_again_and_its_event_is_said_once() -> None:
    told = board(WARN, HALT)
    answered = event("answered", "answered: label burnt, for SB_0002.dng only")
    told.handled([HALT.standing], [answered])
    assert names(told) == [["SB_0001.dng"]]
    assert told.take(answered) == []
    assert len(told.take(answered)) == 1


def test_a_second_cause_of_an_answered_frame_is_offered() -> None:
    both = measured(shot(2, causes=[cause(BURNT, Level.HALT), cause(SOFT, Level.HALT)]))
    told = board(both)
    told.handled([both.standing], [])
    assert names(told) == []
    told.take(Restated(name="SB_0002.dng", standing=standing(both.result, causes=[cause(SOFT, Level.HALT)])))
    assert names(told) == [["SB_0002.dng"]]


def test_what_was_taken_back_is_offered_again() -> None:
    told = board(HALT)
    told.handled([HALT.standing], [])
    told.unhandled([event("undone", "undone")])
    assert names(told) == [["SB_0002.dng"]]


def test_halts_are_open_until_they_stand_otherwise() -> None:
    told = board(WARN, HALT)
    assert list(told.open) == [HALT.standing.content]
    told.take(Restated(name="SB_0002.dng", standing=standing(HALT.result, causes=())))
    assert not told.open
    told.take(Heartbeat(open_halts=(HALT.standing,)))
    assert list(told.open) == [HALT.standing.content]


def test_a_capture_that_another_one_replaced_does_not_count_any_more() -> None:
    new = replace(shot(3, "SB_0002.dng"), replaces=HALT.standing.content)
    told = board(HALT, measured(new))
    assert list(told.levels().values()) == [("SB_0002.dng", Level.CLEAR)]
    assert (told.open, names(told), told.strip()) == ({}, [], [Level.CLEAR])


@pytest.mark.parametrize("kind", ["joined", "first_look", "series"])
def test_events_that_are_told_otherwise_are_no_line(kind: str) -> None:
    assert board().take(event(kind, "…")) == []


def test_every_other_event_is_said() -> None:
    (said,) = board().take(event("folder_lost", "in/bottles cannot be read", Level.HALT))
    assert (said.reason, said.level, said.name) == ("in/bottles cannot be read", Level.HALT, "")


def test_a_frame_is_compared_with_the_one_taken_before_it_not_with_the_one_told_before_it() -> None:
    late = measured(shot(5, causes=[BURNT, SOFT]), repeats=3, first="SB_0003.dng")
    (said,) = board(measured(shot(4, causes=[BURNT])), measured(shot(9, causes=[BURNT, SOFT]))).take(late)
    assert said.reason == SOFT.text


# -- what earlier watches logged


def recalled(*of: Judged) -> Recalled:
    names = {one.standing.content: one.result.file.name for one in of}
    return Recalled(standings=tuple(one.standing for one in of), names=names)


def test_a_restarted_watch_has_the_strip_the_last_frame_and_the_alarms_of_before() -> None:
    told = board(recalled(WARN, HALT), Heartbeat(open_halts=(HALT.standing,)))
    assert told.strip() == [Level.WARN, Level.HALT]
    assert names(told) == [["SB_0002.dng"], ["SB_0001.dng"]]
    assert told.beat.last_name == "SB_0002.dng"
    told.take(measured(shot(3)))
    assert told.strip() == [Level.WARN, Level.HALT, Level.CLEAR]


def test_a_frame_of_before_has_the_time_it_was_taken_and_its_place_by_it() -> None:
    contents = [one.standing.content for one in (WARN, HALT)]
    times = dict(zip(contents, ("2026-11-25T10:00:21+01:00", "2026-11-25T10:00:42+01:00"), strict=True))
    told = board(replace(recalled(WARN, HALT), taken=times))
    (said,) = told.take(
        Restated(name="SB_0002.dng", standing=replace(HALT.standing, level=Level.CLEAR, causes=()))
    )
    assert said.time == "10:00:42"
    late = measured(shot(1, "late.dng", causes=[CUT]))
    late = replace(late, standing=replace(late.standing, content="blake2b:late"))
    told.take(late)
    assert [one.name for one in told.last()] == ["SB_0001.dng", "late.dng", "SB_0002.dng"]


def test_what_was_logged_before_is_not_counted_as_told_and_its_open_halts_are_named() -> None:
    told = board(recalled(WARN, HALT), Heartbeat(open_halts=(HALT.standing,), names={HALT.standing.content: "a"}))
    assert told.levels() == {}
    assert [level for _, level in told.levels(before=True).values()] == [Level.WARN, Level.HALT]
    assert told.open_before() == ["a"]


def test_a_frame_of_before_that_is_measured_again_is_one_frame() -> None:
    told = board(recalled(WARN, HALT), HALT)
    assert told.strip() == [Level.WARN, Level.HALT]
    assert list(told.levels()) == [HALT.standing.content]


def test_of_a_frame_of_before_that_is_not_known_here_a_change_says_so() -> None:
    of = shot(7, sheet=False)
    (said,) = board().take(Restated(name="a4.kdc", standing=standing(of)))
    assert (said.level, said.reason) == (Level.UNJUDGED, "now (measured before this watch)")


def test_a_file_without_a_time_has_its_place_where_it_came_not_at_the_end_of_the_day() -> None:
    cut = shot(2, causes=[CUT])
    untimed = replace(cut, camera=replace(cut.camera, settings=replace(cut.camera.settings, taken=None)))
    told = board(measured(shot(1)), measured(untimed), measured(shot(3)), measured(shot(4)))
    assert told.strip() == [Level.CLEAR, Level.HALT, Level.CLEAR, Level.CLEAR]


# -- lines that only say in other words what was said


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def ambient(stops: float) -> Restated:
    text = f"{NO_FLASH.text}; ambient {stops} stops under the flash"
    return Restated(name="SB_0008.dng", standing=standing(DARK.result, causes=[cause(NO_FLASH, text=text)]))


DARK = measured(shot(8, causes=[NO_FLASH]))


def test_while_a_watch_catches_up_only_the_newest_figures_of_a_dark_frame_are_said() -> None:
    clock = Clock()
    told = Board(SPECS, now=clock)
    told.take(DARK)
    for stops in (6.9, 6.8, 6.7):
        assert told.take(ambient(stops)) == []
        clock.now += 5.0
        assert told.take(Heartbeat(waiting=2)) == []
    (said,) = told.take(Heartbeat(waiting=0))
    assert said.reason == "ambient 6.7 stops under the flash"
    assert told.take(Heartbeat(waiting=0)) == []


def test_what_is_held_back_is_said_at_the_end_and_what_came_back_to_what_was_said_is_not() -> None:
    told = Board(SPECS, now=Clock())
    told.take(DARK)
    told.take(ambient(6.9))
    assert told.take(Heartbeat()) == []  # other figures may follow within seconds
    assert [said.kind for said in told.take(event("ended", "the watch ended"))] == ["restated", "ended"]
    again = Board(SPECS, now=Clock())
    again.take(DARK)
    again.take(ambient(6.9))
    again.take(Restated(name="SB_0008.dng", standing=DARK.standing))
    assert [said.kind for said in again.take(event("ended", "the watch ended"))] == ["ended"]


def test_another_level_or_another_first_reason_is_said_at_once() -> None:
    told = Board(SPECS, now=Clock())
    told.take(DARK)
    told.take(ambient(6.9))
    note = standing(DARK.result, causes=[cause(NO_FLASH, Level.NOTE, "dark")])
    (said,) = told.take(Restated(name="SB_0008.dng", standing=note))
    assert (said.level, said.reason, said.tails) == (Level.NOTE, "dark", ("  (was warn)",))
    (said,) = told.take(Restated(name="SB_0008.dng", standing=standing(DARK.result, causes=[SOFT])))
    assert said.reason == SOFT.text


# -- the menu


def press(menu: Menu, keys: str, of: Board) -> Wish | None:
    wish = None
    for key in keys:
        wish = menu.press(key, of.asked())
    return wish


@pytest.mark.parametrize(
    ("first", "listed"),
    [
        (BURNT, [Act.ACCEPT, Act.LEAVE_OUT, Act.ANSWER, Act.BASELINE]),
        (NO_FLASH, [Act.DARK, Act.LEAVE_OUT, Act.ANSWER]),
        (CHANGED, [Act.LEAVE_OUT, Act.ANSWER, Act.BASELINE]),
        (replace(CHANGED, limit=0.3, origin="series"), [Act.LEAVE_OUT, Act.ANSWER, Act.BASELINE]),
        (CUT, [Act.ANSWER]),
        (cause(BURNT, Level.NOTE), [Act.ACCEPT, Act.LEAVE_OUT, Act.BASELINE]),
    ],
)
def test_only_what_makes_sense_for_an_alarm_is_listed(first: Cause, listed: list[Act]) -> None:
    assert acts(standing(shot(1, causes=[first]))) == listed


def test_the_menu_asks_about_the_newest_alarm_and_says_what_was_chosen() -> None:
    menu, told = Menu(), board(WARN, HALT)
    assert press(menu, "\n", told) is None
    assert menu.lines() == [
        "SB_0002.dng, halt: label burnt 0.12 %",
        "   1  intended: accept up to this value",
        "  (2  this is the dark frame: for a frame without flash)",
        "   3  leave this frame out",
        "   4  seen, will be shot again",
        "   5  make it the baseline",
        "   0  back     Enter: the alarm before it (1 more)",
    ]
    assert press(menu, "1", told) == Wish(act=Act.ACCEPT, about=(HALT.standing,))
    assert not menu.is_open


def test_the_menu_begins_with_the_frame_taken_last_in_whatever_order_they_were_told() -> None:
    sixty, fifty = measured(shot(60, causes=[SOFT])), measured(shot(50, causes=[CHANGED]))
    assert names(board(sixty, fifty)) == [["SB_0060.dng"], ["SB_0050.dng"]]


def test_a_halt_stands_before_the_warns_of_its_cause_and_answering_those_does_not_answer_it() -> None:
    halt = measured(shot(14, causes=[cause(NO_FLASH, Level.HALT)]))
    warns = [measured(shot(n, causes=[NO_FLASH])) for n in (13, 30, 38)]
    told = board(halt, *warns, measured(shot(20, causes=[SOFT])))
    assert names(told) == [["SB_0014.dng"], ["SB_0038.dng", "SB_0030.dng", "SB_0013.dng"], ["SB_0020.dng"]]
    menu = Menu()
    wish = press(menu, "\n\n4", told)
    assert wish is not None
    assert halt.standing not in wish.about
    told.handled(wish.about, [])
    assert names(told) == [["SB_0020.dng"], ["SB_0014.dng"]]


def test_a_warn_that_was_answered_and_became_a_halt_is_offered_again() -> None:
    told = board(WARN)
    told.handled([WARN.standing], [])
    told.take(Restated(name="SB_0001.dng", standing=standing(WARN.result, causes=[cause(SOFT, Level.HALT)])))
    assert names(told) == [["SB_0001.dng"]]


@given(st.lists(st.tuples(st.integers(0, 9), st.sampled_from([Level.HALT, Level.WARN]), st.booleans())))
def test_no_row_holds_two_levels_and_none_loses_a_frame(frames: list[tuple[int, Level, bool]]) -> None:
    named = [
        (f"{at}.dng", standing(shot(number, causes=[cause(SOFT if soft else BURNT, level)])))
        for at, (number, level, soft) in enumerate(frames)
    ]
    rows = rows_of(named)
    assert sorted(name for row in rows for name, _ in row) == sorted(name for name, _ in named)
    assert all(len({own.level for _, own in row}) == 1 for row in rows)
    for zone in ("label", "neck"):
        levels = [row[0][1].level for row in rows if row[0][1].causes[0].zone == zone]
        assert levels == sorted(levels, key=[Level.HALT, Level.WARN].index)


def test_the_menu_says_up_to_where_it_would_accept() -> None:
    asked: list[Standing] = []

    def offer(of: Standing) -> str:
        asked.append(of)
        return "accept label burnt up to 0.14 %"

    menu, told = Menu(offer), board(HALT, measured(shot(3, causes=[CHANGED])))
    press(menu, "\n", told)
    assert menu.lines()[1] == "  (1  intended: accept up to this value: no limit to raise)"
    press(menu, "\n", told)
    assert menu.lines()[1] == "   1  intended: accept label burnt up to 0.14 %"
    assert asked == [HALT.standing]  # once, when it was asked about: not each time it is drawn


@pytest.mark.parametrize("first", [BURNT, NO_FLASH, CHANGED, CUT])
def test_the_numbers_of_the_menu_run_without_gaps_and_always_mean_the_same(first: Cause) -> None:
    menu = Menu()
    press(menu, "\n", board(measured(shot(1, causes=[first]))))
    listed = [line.strip(" (").split("  ")[:2] for line in menu.lines()[1:-1]]
    assert [key for key, _ in listed] == ["1", "2", "3", "4", "5"]
    assert [said.split(":")[0] for _, said in listed] == [
        "intended",
        "this is the dark frame",
        "leave this frame out",
        "seen, will be shot again",
        "make it the baseline",
    ]


def test_enter_in_an_open_menu_goes_to_the_alarm_before_and_after_the_last_to_the_newest_by_then() -> None:
    menu, told = Menu(), board(WARN, HALT)
    assert press(menu, "\n\n4", told) == Wish(act=Act.ANSWER, about=(WARN.standing,))
    press(menu, "\n\n", told)
    newest = measured(shot(5, causes=[CUT]))
    told.take(newest)
    assert press(menu, "\n4", told) == Wish(act=Act.ANSWER, about=(newest.standing,))


def test_a_frame_that_comes_while_the_menu_is_open_does_not_change_what_a_key_means() -> None:
    menu, told = Menu(), board(WARN)
    press(menu, "\n", told)
    told.take(HALT)
    assert press(menu, "4", told) == Wish(act=Act.ANSWER, about=(WARN.standing,))


def test_seen_answers_every_frame_of_a_row_and_the_rest_is_said_of_one_frame() -> None:
    again = measured(shot(3, causes=[cause(BURNT, Level.HALT)]), repeats=2)
    told = board(HALT, again)
    menu = Menu()
    assert press(menu, "\n4", told) == Wish(act=Act.ANSWER, about=(again.standing, HALT.standing))
    assert press(menu, "\n3", told) == Wish(act=Act.LEAVE_OUT, about=(again.standing,))
    press(menu, "\n", told)
    assert "   4  seen, will be shot again, all 2 frames" in menu.lines()
    assert menu.lines()[0] == "SB_0003.dng and 1 more, halt: label burnt 0.12 %"


@pytest.mark.parametrize("key", ["0", "\x1b"])
def test_back_and_escape_close_the_menu_and_wish_nothing(key: str) -> None:
    menu, told = Menu(), board(WARN)
    assert press(menu, "\n" + key, told) is None
    assert not menu.is_open
    assert menu.lines() == []


@pytest.mark.parametrize("key", ["2", "7", "x", " "])
def test_a_key_that_is_not_listed_wishes_nothing_and_leaves_the_menu_open(key: str) -> None:
    menu, told = Menu(), board(WARN)
    assert press(menu, "\n" + key, told) is None
    assert menu.is_open


@pytest.mark.parametrize("keys", ["1", "3", "4", "0"])
def test_a_number_without_an_open_menu_wishes_nothing(keys: str) -> None:
    assert press(Menu(), keys, board(HALT)) is None


def test_where_there_is_no_frame_enter_opens_nothing() -> None:
    menu = Menu()
    press(menu, "\n", board(Heartbeat()))
    assert not menu.is_open


def test_where_no_alarm_waits_enter_asks_about_the_newest_frame_with_the_same_keys() -> None:
    menu, told = Menu(), board(measured(shot(1)), measured(shot(2)))
    press(menu, "\n", told)
    assert menu.lines() == [
        "SB_0002.dng, clear",
        "  (1  intended: accept up to this value: no limit to raise)",
        "  (2  this is the dark frame: for a frame without flash)",
        "   3  leave this frame out",
        "  (4  seen, will be shot again: for an alarm)",
        "   5  make it the baseline",
        "   0  back     Enter: the newest again",
    ]
    assert press(menu, "4", told) is None
    assert press(menu, "5", told) == Wish(act=Act.BASELINE, about=(measured(shot(2)).standing,))
    assert told.alarms() == []


def test_after_the_last_alarm_enter_asks_about_the_newest_frame_and_then_about_the_newest_alarm_again() -> None:
    menu, told = Menu(), board(WARN, HALT, measured(shot(3)))
    press(menu, "\n\n", told)
    assert menu.lines()[0].startswith("SB_0001.dng, warn")
    assert menu.lines()[-1].endswith("Enter: the newest frame")
    press(menu, "\n", told)
    assert (menu.lines()[0], menu.lines()[-1][-23:]) == ("SB_0003.dng, clear", "Enter: the newest again")
    press(menu, "\n", told)
    assert menu.lines()[0].startswith("SB_0002.dng, halt")


def test_a_newest_frame_that_waits_is_asked_about_once_and_not_again_while_its_answer_is_taken_up() -> None:
    told = board(WARN, HALT)
    assert [row[0][0] for row in told.asked()] == ["SB_0002.dng", "SB_0001.dng"]
    told.handled([HALT.standing], [])
    assert [row[0][0] for row in told.asked()] == ["SB_0001.dng"]
    told.take(Restated(name="SB_0002.dng", standing=standing(HALT.result, causes=[])))
    assert [row[0][0] for row in told.asked()] == ["SB_0001.dng", "SB_0002.dng"]


def test_a_frame_at_halt_that_became_the_baseline_goes_on_waiting_for_its_answer() -> None:
    told = board(HALT)
    deeds = Deeds(told, lambda _: [event("role", "role: SB_0002.dng is the baseline")])
    deeds(Wish(act=Act.BASELINE, about=(HALT.standing,)))
    assert names(told) == [["SB_0002.dng"]]
    assert list(told.open) == [HALT.standing.content]
    deeds(Wish(act=Act.ANSWER, about=(HALT.standing,)))
    assert names(told) == []


def test_what_is_open_beside_a_frame_is_told_halts_first_and_the_newest_first_of_all() -> None:
    unread = measured(shot(9, causes=[cause(CUT, Level.UNMEASURED, "unreadable: no permission")]))
    halts = [measured(shot(n, causes=[cause(BURNT, Level.HALT)])) for n in (2, 4)]
    soft = measured(shot(6, causes=[cause(SOFT, Level.HALT)]))
    told = board(WARN, *halts, soft, unread)
    assert [[name for name, _ in row] for row in told.open_beside("")] == [
        ["SB_0006.dng"],
        ["SB_0004.dng", "SB_0002.dng"],
        ["SB_0009.dng"],
    ]
    assert len(told.open_beside(soft.standing.content)) == 2


def test_u_undoes_whether_or_not_the_menu_is_open() -> None:
    menu, told = Menu(), board(WARN)
    assert press(menu, "u", told) == press(menu, "\nu", told) == Wish(act=Act.UNDO)
    assert not menu.is_open


# -- JSON Lines


def of_json(update: Update) -> dict[str, object]:
    (line,) = json_lines(update)
    document = json.loads(line)
    assert isinstance(document, dict)
    return document


def test_a_capture_is_one_line_of_its_contract_with_what_the_day_makes_of_it() -> None:
    of = measured(shot(15, causes=[BURNT]), repeats=4, first="SB_0012.dng")
    document = of_json(of)
    told = document["standing"]
    assert isinstance(told, dict)
    assert (told["level"], told["repeats"], told["first"]) == ("warn", 4, "SB_0012.dng")
    assert told["reasons"][0]["reading"] == "burnt.area"
    assert from_json(document).verdict == of.result.verdict


def test_a_first_look_and_a_changed_standing_are_events() -> None:
    first = of_json(Early(result=shot(2, causes=[BURNT])))
    assert (first["schema"], first["kind"], first["name"], first["level"]) == (
        "qc.event/1",
        "first_look",
        "SB_0002.dng",
        "warn",
    )
    changed = of_json(Restated(name="SB_0002.dng", standing=standing(shot(2, causes=[BURNT]), causes=())))
    assert (changed["kind"], changed["text"], changed["level"]) == ("series", "now clear", None)


def test_a_heartbeat_is_no_line_and_everything_else_is_one() -> None:
    for update in Day():
        assert len(list(json_lines(update))) == (0 if isinstance(update, Heartbeat) else 1)
    captures = [line for update in Day() for line in json_lines(update) if '"schema": "qc.capture/1"' in line]
    assert len(captures) == 25


def test_a_standing_without_causes_has_no_first_frame() -> None:
    told = of_json(Judged(result=shot(1), standing=Standing(content="blake2b:0001", level=Level.CLEAR)))
    assert told["standing"] == {"level": "clear", "reasons": [], "repeats": 0, "first": None}


def test_events_are_written_as_they_are() -> None:
    assert of_json(Event(kind="started", at="2026-11-25T10:00:00+01:00", text="watching"))["kind"] == "started"
