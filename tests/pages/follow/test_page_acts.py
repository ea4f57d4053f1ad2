"""Answering on the page: the keys and words are the terminal's, and a key means what was offered."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from qc.pages.serve import Served
from qc.show.watching.menu import NUMBERED
from tests.pages.follow.conftest import Open, shows, shows_no
from tests.pages.follow.scripted import Script, alarm, frame, newest, state

if TYPE_CHECKING:
    from playwright.sync_api import Page

HALT = frame(12, "halt", "label burnt 10.64 %")
TWO = state(HALT, "w", alarms=[alarm(12), alarm(11, "left −0.3 stop", "warn")])


def opened(script: Script, watch: Served, open_page: Open) -> Page:
    script.hub.put(TWO)
    page = open_page(watch.link)
    assert shows(page, ".verdict", "halt")
    return page


def test_enter_asks_about_the_newest_then_the_one_before_then_the_newest_again(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    assert shows_no(page, ".question")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
    assert shows(page, ".question .older", "the alarm before it (1 more)")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0011.dng, warn: left −0.3 stop")
    assert shows(page, ".question .older", "the newest again")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
    assert script.acts == []


def test_each_number_is_that_of_the_terminal_and_what_makes_no_sense_cannot_be_chosen(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    page.keyboard.press("Enter")
    answers = page.locator(".question li:visible button")
    assert [kbd.inner_text() for kbd in answers.locator("kbd").all()] == [
        *(act.key for act in NUMBERED),
        "0",
        "Enter",
    ]
    assert [answer.is_enabled() for answer in answers.all()] == [True, False, True, True, True, True, True]
    page.keyboard.press("2")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
    page.keyboard.press("1")
    assert shows(page, ".answer", "done: accept")
    assert shows_no(page, ".question")
    assert script.acts == [{"act": "accept", "about": alarm(12)["about"]}]


def test_zero_and_escape_ask_no_more_and_u_takes_back(script: Script, watch: Served, open_page: Open) -> None:
    page = opened(script, watch, open_page)
    for key in ("0", "Escape"):
        page.keyboard.press("Enter")
        assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
        page.keyboard.press(key)
        assert shows_no(page, ".question")
    page.keyboard.press("3")
    page.keyboard.press("u")
    assert shows(page, ".answer", "done: undo")
    assert script.acts == [{"act": "undo", "about": []}]


def test_what_a_key_means_does_not_change_under_the_finger(script: Script, watch: Served, open_page: Open) -> None:
    page = opened(script, watch, open_page)
    page.keyboard.press("Enter")
    newer = alarm(13, "seal: blur 3.1 px")
    script.hub.put(state(frame(13, "halt", "seal: blur 3.1 px"), "wh", alarms=[newer, *TWO["alarms"]]))
    assert shows(page, ".number", "0013")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
    page.keyboard.press("4")
    assert shows(page, ".answer", "done: answer")
    assert script.acts == [{"act": "answer", "about": alarm(12)["about"]}]
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0013.dng, halt: seal: blur 3.1 px")


def test_the_words_of_an_answer_may_become_more_exact_while_it_is_asked(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    page.keyboard.press("Enter")
    exact = alarm(12)
    exact["answers"][0]["said"] = "intended: accept label burnt up to 12.0 %"
    script.hub.put({**TWO, "alarms": [exact]})
    assert shows(page, ".question li:first-child span", "intended: accept label burnt up to 12.0 %")


def test_a_mouse_can_do_the_same_and_leaves_enter_alone(script: Script, watch: Served, open_page: Open) -> None:
    page = opened(script, watch, open_page)
    page.click(".foot [data-key=Enter]")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0011.dng, warn: left −0.3 stop")
    page.click(".question [data-key='4']")
    assert shows(page, ".answer", "done: answer")
    page.click(".foot [data-key=u]")
    assert shows(page, ".answer", "done: undo")
    assert [act["act"] for act in script.acts] == ["answer", "undo"]


def test_a_button_that_was_tabbed_to_is_pressed_once_by_enter(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    page.focus(".foot [data-key=Enter]")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0012.dng, halt: label burnt 10.64 %")


def test_why_something_cannot_be_done_is_said(
    script: Script, watch: Served, open_page: Open, complaints: list[str]
) -> None:
    page = opened(script, watch, open_page)
    script.refuse = "SB_0012.dng: no alarm that waits for an answer"
    page.keyboard.press("Enter")
    page.keyboard.press("1")
    assert shows(page, ".answer", script.refuse)
    assert all("409" in complaint for complaint in complaints)
    complaints.clear()


def test_where_there_is_nothing_to_ask_about_enter_says_so(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(None))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "no frame yet")
    page.keyboard.press("Enter")
    assert shows(page, ".answer", "no frame yet")
    script.hub.put(state(frame(12)))
    assert shows(page, ".verdict", "clear")
    page.keyboard.press("Enter")
    assert shows(page, ".answer", "no alarm waits for an answer")
    assert shows_no(page, ".question")


def test_where_no_alarm_waits_enter_asks_about_the_newest_frame_with_the_same_keys(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12), asks=newest(12)))
    page = open_page(watch.link)
    assert shows(page, ".waiting", "about the newest frame")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0012.dng, clear")
    assert shows(page, ".question .older", "the newest again")
    page.keyboard.press("4")
    assert shows(page, ".question h2", "SB_0012.dng, clear")
    script.hub.put(state(frame(13), "c", asks=newest(13)))
    assert shows(page, ".number", "0013")
    assert shows(page, ".question h2", "SB_0012.dng, clear")
    page.keyboard.press("5")
    assert shows(page, ".answer", "done: baseline")
    assert script.acts == [{"act": "baseline", "about": newest(12)["about"]}]


def test_after_the_last_alarm_enter_asks_about_the_newest_frame(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(13), "wh", alarms=TWO["alarms"], asks=newest(13)))
    page = open_page(watch.link)
    assert shows(page, ".waiting", "answer 2 alarms")
    page.keyboard.press("Enter")
    assert shows(page, ".question .older", "the alarm before it (1 more)")
    page.keyboard.press("Enter")
    assert shows(page, ".question .older", "the newest frame")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0013.dng, clear")
    assert shows(page, ".question .older", "the newest again")
    page.keyboard.press("3")
    assert shows(page, ".answer", "done: leave-out")
    assert script.acts == [{"act": "leave-out", "about": newest(13)["about"]}]


@pytest.mark.parametrize("may_act", [True, False])
def test_what_was_done_elsewhere_or_to_the_sheet_is_said_here_until_the_watch_says_it_no_more(
    may_act: bool, script: Script, watch: Served, open_page: Open
) -> None:
    script.may_act = may_act
    script.hub.put(state(frame(12), said=["set sheet bottles.set.toml found; holds from the next frame"]))
    page = open_page(watch.link)
    assert shows(page, ".answer", "10:02:09 set sheet bottles.set.toml found; holds from the next frame")
    script.hub.put(state(frame(13, "halt", "label burnt 10.64 %"), "c"))
    assert shows(page, ".answer", "")


def test_the_answer_to_a_key_goes_after_a_minute(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(TWO)
    page = open_page(watch.link, fake_clock=True)
    assert shows(page, ".verdict", "halt")
    page.keyboard.press("u")
    assert shows(page, ".answer", "done: undo")
    page.clock.run_for(5_000)
    assert shows(page, ".answer", "done: undo")
    page.clock.run_for(57_000)
    assert shows(page, ".answer", "")


def test_on_another_machine_nothing_of_it_is_there(script: Script, watch: Served, open_page: Open) -> None:
    script.may_act = False
    page = opened(script, watch, open_page)
    for key in ("Enter", "1", "u"):
        page.keyboard.press(key)
        assert shows(page, ".answer", "only the machine that runs the watch answers")
    assert shows_no(page, ".question")
    page.keyboard.press("?")
    assert page.locator(".keys dt:visible").all_inner_texts()[0].strip() == "d"
    assert page.locator(".acts:visible").count() == 0
    assert script.acts == []


def test_the_keys_are_listed_on_the_page(script: Script, watch: Served, open_page: Open) -> None:
    page = opened(script, watch, open_page)
    assert shows_no(page, ".keys")
    page.keyboard.press("?")
    listed = " ".join(page.locator(".keys dt:visible").all_inner_texts()).split()
    assert {"Enter", "1", "5", "0", "Esc", "u", "d", "b", "s", "?"} <= set(listed)
    page.keyboard.press("Escape")
    assert shows_no(page, ".keys")


HEARING = """
window.made = []; window.tones = 0;
window.AudioContext = class { constructor() { made.push(this); this.currentTime = 0; this.destination = {}; }
  createOscillator() { return { frequency: {}, connect: (to) => to, start() { tones += 1; }, stop() {} }; }
  createGain() { const at = () => {};
    const gain = { setValueAtTime: at, linearRampToValueAtTime: at, exponentialRampToValueAtTime: at };
    return { gain, connect: (to) => to }; }
  close() { made = made.filter((one) => one !== this); } };
"""


def test_nothing_sounds_unless_it_was_asked_for(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(TWO)
    page = open_page(watch.link, before=HEARING)
    assert shows(page, ".verdict", "halt")
    assert shows(page, ".tone", "tone: off")
    assert page.evaluate("() => [made.length, tones]") == [0, 0]
    page.keyboard.press("s")
    assert shows(page, ".tone", "tone on a halt: on")
    assert page.evaluate("() => [made.length, tones]") == [1, 1]  # so that it is known how it sounds
    for number, level, tones in (
        (13, "clear", 1),
        (14, "halt", 2),
        (14, "halt", 2),
        (15, "halt", 3),
        (16, "warn", 3),
    ):
        script.hub.put(state(frame(number, level, "a reason"), clock=f"10:03:{number}"))
        assert shows(page, ".number", f"{number:04}")
        assert page.evaluate("() => tones") == tones
    page.keyboard.press("s")
    assert shows(page, ".tone", "tone: off")
    script.hub.put(state(frame(17, "halt", "a reason")))
    assert shows(page, ".number", "0017")
    assert page.evaluate("() => [made.length, tones]") == [0, 3]
