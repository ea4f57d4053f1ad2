"""The page of a watch as people see it: what is read from two metres, in each state of a day.

Sizes are for a full window of 2560 × 1440 on a 27-inch screen of 16:9, which is 597 mm wide. How tall letters must
be is the issue's own number (30 mm, 12 mm); luminance and its formula are those of WCAG 2.2 (relative luminance).
"""

from __future__ import annotations

import io
from itertools import combinations
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.pages.serve import Served
from tests.pages.follow.conftest import SCREEN, Open, pictured, shows, shows_no
from tests.pages.follow.scripted import (
    LOG_LOST,
    LOST,
    PLACE,
    Script,
    alarm,
    bright,
    frame,
    newest,
    plain,
    state,
    still_open,
    trouble,
)

if TYPE_CHECKING:
    from playwright.sync_api import FloatRect, Page

MM = 597 / 2560
"""Of a pixel on that screen."""

SIZES = (SCREEN, (1280, 800), (390, 844))

HINT = ["judged: whole files", "only shown as numbers: highlights", "to have those judged: qc sheet new"]

HOSTILE = '<img src=x onerror=alert(1)> & "q" \''


def capital(page: Page, where: str) -> float:
    """Height of a capital letter as it is drawn there, pixels."""
    return float(
        page.evaluate(
            """(where) => {
              const style = getComputedStyle(document.querySelector(where));
              const pen = document.createElement("canvas").getContext("2d");
              pen.font = `${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
              return pen.measureText("H").actualBoundingBoxAscent;
            }""",
            where,
        )
    )


def box(page: Page, where: str) -> FloatRect:
    found = page.locator(where).bounding_box()
    assert found is not None
    return found


def over(page: Page, where: str, side: str) -> float:
    """By how much what is in an element is wider or higher than the element."""
    script = f"(where) => {{ const e = document.querySelector(where); return e.scroll{side} - e.client{side}; }}"
    return float(page.evaluate(script, where))


def luminance(png: bytes) -> float:
    """Mean relative luminance of a screenshot (WCAG 2.2)."""
    from PIL import Image

    linear = light_of(np.asarray(Image.open(io.BytesIO(png)).convert("RGB")))
    return float((linear @ [0.2126, 0.7152, 0.0722]).mean())


def light_of(codes: NDArray[np.uint8]) -> NDArray[np.float64]:
    part = codes / 255
    return np.asarray(np.where(part <= 0.04045, part / 12.92, ((part + 0.055) / 1.055) ** 2.4))


def test_word_reason_and_number_are_as_tall_as_two_metres_ask_for(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %"), troubles=[LOG_LOST]))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "halt")
    assert capital(page, ".verdict") * MM >= 30
    assert capital(page, ".reason") * MM >= 12
    assert capital(page, ".notice .text") * MM >= 12
    assert 19 <= capital(page, ".number") * MM <= 24
    assert 4 <= capital(page, ".beat") * MM <= 6


@pytest.mark.parametrize("size", [(2560, 1300), (1280, 720), (1280, 800), (1920, 1080)])
def test_letters_grow_and_shrink_with_the_window(
    size: tuple[int, int], script: Script, watch: Served, open_page: Open
) -> None:
    """A browser's own bars, or a screen of another shape, take nothing away: 30 mm of 597 mm stay that share."""
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %")))
    page = open_page(watch.link, size)
    assert shows(page, ".verdict", "halt")
    assert capital(page, ".verdict") >= size[0] * 30 / 597
    assert capital(page, ".reason") >= size[0] * 12 / 597


@pytest.mark.parametrize("size", SIZES)
def test_every_word_has_its_room_and_covers_nothing(
    size: tuple[int, int], script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(None, hint=HINT))
    page = open_page(watch.link, size)
    assert shows(page, ".verdict", "no frame yet")
    assert shows(page, ".hint li", HINT)
    assert over(page, ".verdict", "Width") <= 0
    for word in ("unmeasured", "unjudged", "first look"):
        script.hub.put(state(frame(12, "unmeasured", "seal: no isolated edges", word=word)))
        assert shows(page, ".verdict", word)
        assert over(page, ".verdict", "Width") <= 0
    script.hub.put(state(None, troubles=[LOST]))
    assert shows(page, ".verdict", "folder lost")
    assert over(page, ".verdict", "Width") <= 0
    assert over(page, "html", "Width") <= 0


@pytest.mark.parametrize(
    ("reason", "shown"),
    [
        ("label burnt 10.64 %", "label burnt 10.64 %"),
        (
            "label burnt 10.64 %; the limit for it is 0.2 %, raised to that by hand yesterday (front of it)",
            "label burnt 10.64 %; the limit for it is 0.2 % …",
        ),
        (
            "the sheet asks for a light that no frame of today has had since 12.4 and 3.25 were measured of it",
            "the sheet asks for a light that no frame of today has had …",
        ),
        (
            "colour of the grey card is greener than it was by 12.4, and its lightness by 3.25 more than that",
            "colour of the grey card is greener than it was by 12.4 …",
        ),
    ],
)
def test_a_reason_has_two_lines_at_most_and_is_never_made_smaller(
    reason: str, shown: str, script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12, "halt", reason)))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "halt")
    line = page.evaluate("() => parseFloat(getComputedStyle(document.querySelector('.reason')).lineHeight)")
    assert box(page, ".reason")["height"] <= 2 * line + 1
    assert capital(page, ".reason") * MM >= 12
    assert shows(page, ".reason", shown)


def test_a_reason_without_a_place_to_cut_still_keeps_its_lines(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12, "halt", "w" * 500)))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "halt")
    told = page.locator(".reason").inner_text()
    assert told.endswith("w …")
    assert over(page, ".reason", "Height") <= 1


@pytest.mark.parametrize(
    ("size", "shape"),
    [(SCREEN, (1600, 1067)), (SCREEN, (1067, 1600)), ((1280, 800), (1600, 1200)), ((390, 844), (1067, 1600))],
)
def test_the_screen_hardly_lights_the_set_even_with_a_white_backdrop(
    size: tuple[int, int], shape: tuple[int, int], script: Script, watch: Served, open_page: Open
) -> None:
    newest = frame(12, "halt", "label burnt 10.64 %", size=list(shape))
    script.pictures[newest["key"]] = bright(shape)
    script.hub.put(state(newest, "cccncwcccch", alarms=[alarm(12)]))
    page = open_page(watch.link, size)
    pictured(page, newest["key"])
    dim = luminance(page.screenshot())
    assert dim < 0.05
    page.keyboard.press("b")
    assert luminance(page.screenshot()) > 1.5 * dim
    page.keyboard.press("b")
    assert luminance(page.screenshot()) == pytest.approx(dim, abs=1e-4)


def test_dark_pictures_are_dimmed_less_and_the_lighter_of_two_stays_it(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(None))
    page = open_page(watch.link, (1280, 800))
    codes, shown = np.array([20, 60, 100, 140, 180, 210], dtype=np.uint8), []
    for number, code in enumerate(codes, start=1):
        newest = frame(number)
        script.pictures[newest["key"]] = plain(int(code))
        script.hub.put(state(newest))
        pictured(page, newest["key"])
        assert luminance(page.screenshot()) < 0.05
        shown.append(luminance(page.locator("figure:not([hidden])").screenshot()))
    left = np.array(shown) / light_of(codes)
    assert (np.diff(shown) > 0).all()
    assert (np.diff(left) < 0).all()


def test_nothing_on_the_page_moves_by_itself(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %")))
    page = open_page(watch.link)
    pictured(page, "0000000c")
    moving = """() => [...document.querySelectorAll("*")].map((e) => getComputedStyle(e))
      .filter((style) => style.animationName !== "none" || parseFloat(style.transitionDuration) > 0).length"""
    assert page.evaluate(moving) == 0


def test_the_mark_lies_over_the_picture_in_one_frame(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %")))
    page = open_page(watch.link)
    pictured(page, "0000000c")
    shown = "figure:not([hidden])"
    assert box(page, f"{shown} .picture") == box(page, f"{shown} .place")
    whole = box(page, f"{shown} .picture")
    assert whole["width"] / whole["height"] == pytest.approx(1600 / 1067, abs=0.01)
    assert whole["x"] + whole["width"] <= SCREEN[0]
    assert PLACE  # what is drawn there is the server's: tests/show/test_mark.py
    script.hub.put(state(frame(13), "h"))
    pictured(page, "0000000d")
    assert shows_no(page, f"{shown} .place")


def test_of_a_name_the_counter_is_large_and_the_rest_is_there(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12)))
    page = open_page(watch.link)
    assert shows(page, "h1", "SB_0012.dng")
    assert shows(page, "h1 .number", "0012")
    assert page.title() == "0012 clear · bottles"
    script.hub.put(state({**frame(13), "name": "front.dng", "stem": "front", "number": ""}))
    assert shows(page, "h1", "front.dng")
    assert page.title() == "front clear · bottles"


HIGH = """() => {
  const style = getComputedStyle(document.querySelector(".column"), "::before");
  return [style.content, parseFloat(style.height)];
}"""


def test_a_level_is_a_word_and_the_height_of_its_column(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(None))
    page = open_page(watch.link)
    parts = {"clear": 0.13, "note": 0.36, "warn": 0.64, "halt": 1.0, "unjudged": 0.0}
    for level, part in parts.items():
        script.hub.put(state(frame(12, level, "a reason"), "c"))
        assert shows(page, ".verdict", level)
        assert page.evaluate(HIGH)[1] / box(page, ".column")["height"] == pytest.approx(part, abs=0.01)
        assert page.locator(".strip button").last.get_attribute("aria-label") == f"SB_0012.dng: {level}"
    script.hub.put(state(frame(12, "unmeasured", "a reason"), "c"))
    assert shows(page, ".verdict", "unmeasured")
    assert page.evaluate(HIGH)[0] == '"?"'


def test_the_strip_holds_the_last_twelve_the_newest_at_the_right_and_shown(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(3, "warn", "left −0.3 stop"), "ch"))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "warn")
    steps = page.locator(".strip button")
    assert steps.count() == 12
    assert [step.get_attribute("data-level") for step in steps.all()] == [""] * 9 + ["clear", "halt", "warn"]
    assert [step.get_attribute("aria-current") for step in steps.all()] == ["false"] * 11 + ["true"]
    heights = [box(page, f".strip button:nth-child({at}) i")["height"] for at in (10, 12, 11)]
    assert heights == sorted(heights)
    assert heights[0] > 0


def test_the_heartbeat_counts_up_by_itself(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12), age_s=58.0))
    page = open_page(watch.link, fake_clock=True)
    assert shows(page, ".beat", "bottles · 10:02:11 · last SB_0012.dng 58 s ago · 0 waiting · 3 120 frames free")
    page.clock.run_for(7_000)
    assert shows(page, ".beat", "bottles · 10:02:11 · last SB_0012.dng 1 min ago · 0 waiting · 3 120 frames free")
    assert shows(page, ".needs", "still needed: dark")


OPEN = [still_open(4, "label burnt 10.4 %", frames=2), still_open(3, "neck blur 1.8 px")]


def test_what_nobody_answered_is_read_from_two_metres_after_the_next_frame_is_clear(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(5), "chh", opens=OPEN))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "clear")
    assert shows(page, ".open .text", "still open: SB_0004 halt, label burnt 10.4 %, and 2 more")
    assert capital(page, ".open .text") * MM >= 12
    assert box(page, ".open .mark i")["height"] > 0
    script.hub.put(state(frame(6), "hhc", opens=OPEN[1:]))
    assert shows(page, ".open .text", "still open: SB_0003 halt, neck blur 1.8 px")
    script.hub.put(state(frame(6), "hhc"))
    assert shows_no(page, ".open")


def test_of_what_is_open_the_reason_is_cut_and_never_how_many_more_there_are(
    script: Script, watch: Served, open_page: Open
) -> None:
    long = "colour of the grey card beside the left bottle is greener than it was in the baseline by 12.4"
    script.hub.put(state(frame(5), "chh", opens=[still_open(4, long), *OPEN]))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "clear")
    told = page.locator(".open .text").inner_text()
    assert told.startswith("still open: SB_0004 halt, colour of")
    assert told.endswith(" …, and 3 more")
    assert over(page, ".open .text", "Height") <= 1


def test_where_the_folder_is_lost_a_halt_of_the_newest_frame_is_open_as_well(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %"), troubles=[LOST], opens=OPEN))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "folder lost")
    assert shows(page, ".open .text", "still open: SB_0012 halt, label burnt 10.64 %, and 3 more")


PARTS = ("header", ".notices", ".open", ".middle", "figure:not([hidden])", ".strip", "footer")


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("shape", [(1600, 1067), (1067, 1600)])
@pytest.mark.parametrize("keys", [(), ("Enter",)])
def test_whatever_stands_on_the_page_nothing_overlaps_and_every_key_can_be_reached(
    size: tuple[int, int],
    shape: tuple[int, int],
    keys: tuple[str, ...],
    script: Script,
    watch: Served,
    open_page: Open,
) -> None:
    script.hub.put(
        state(
            frame(12, size=list(shape)), "hcwh", opens=OPEN, alarms=[alarm(11, level="warn")], troubles=[LOG_LOST]
        )
    )
    page = open_page(watch.link, size)
    pictured(page, "0000000c")
    for key in keys:
        page.keyboard.press(key)
        assert shows(page, ".question h2", "SB_0011.dng, warn: label burnt 10.64 %")
    boxes = {part: box(page, part) for part in PARTS}
    for one, other in combinations(PARTS, 2):
        a, b = boxes[one], boxes[other]
        beside = a["x"] + a["width"] <= b["x"] + 1 or b["x"] + b["width"] <= a["x"] + 1
        above = a["y"] + a["height"] <= b["y"] + 1 or b["y"] + b["height"] <= a["y"] + 1
        assert beside or above, (one, other, a, b)
    last = page.locator(".foot button").last
    last.scroll_into_view_if_needed()
    foot = box(page, ".foot")
    assert foot["y"] >= 0
    assert foot["y"] + foot["height"] <= size[1]
    assert over(page, "html", "Width") <= 0
    if size[0] > size[1]:  # on a wide screen nothing has to be scrolled to
        assert over(page, "html", "Height") <= 0


@pytest.mark.parametrize("size", SIZES)
def test_the_question_is_in_view_once_it_is_asked(
    size: tuple[int, int], script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12, size=[1067, 1600]), "hcwh", opens=OPEN, asks=newest(12)))
    page = open_page(watch.link, size)
    pictured(page, "0000000c")
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", "SB_0012.dng, clear")
    asked = box(page, ".question")
    assert asked["y"] >= 0
    assert asked["y"] + asked["height"] <= size[1] + 1


def test_a_lost_folder_is_what_there_is_to_read(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(
        state(frame(12, "clear"), troubles=[LOST, LOG_LOST, trouble("bottles.set.toml: line 3: no role")])
    )
    page = open_page(watch.link)
    assert shows(page, ".verdict", "folder lost")
    assert shows(page, ".reason", "no frame can arrive until it is back")
    assert shows(page, ".tail", "before that: SB_0012.dng, clear")
    assert shows(page, "h1", "")
    told = page.locator(".notice:not([hidden])").all_inner_texts()
    assert told == ["log lost: measuring goes on, nothing is kept", "bottles.set.toml: line 3: no role"]
    assert page.title() == "folder lost · bottles"
    script.hub.put(state(frame(12, "clear")))
    assert shows(page, ".verdict", "clear")
    assert shows_no(page, ".notice >> nth=0")


def test_a_first_look_is_no_verdict_and_leaves_the_picture_before_it_faint(
    script: Script, watch: Served, open_page: Open
) -> None:
    script.hub.put(state(frame(12)))
    page = open_page(watch.link)
    pictured(page, "0000000c")
    early: dict[str, Any] = {
        "looking": True,
        "picture": None,
        "size": None,
        "mark": None,
        "without": "the picture follows",
    }
    script.hub.put(state(frame(13, "unjudged", word="first look", **early)))
    assert shows(page, ".verdict", "first look")
    assert shows(page, ".without", "the picture follows")
    assert page.locator(".room.old").count() == 1
    script.hub.put(state(frame(13, "halt", "file is truncated", **early)))
    assert shows(page, ".tail", "first look, the rest is being measured")
    script.hub.put(state(frame(13)))
    pictured(page, "0000000d")
    assert shows(page, ".without", "")
    assert page.locator(".room.old").count() == 0


def test_a_picture_that_is_absent_says_why(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12)))
    page = open_page(watch.link)
    pictured(page, "0000000c")
    script.hub.put(
        state(frame(13, "unmeasured", picture=None, size=None, without="its file lies outside the folder"))
    )
    assert shows(page, ".without", "no picture: its file lies outside the folder")
    assert page.locator("figure:not([hidden])").count() == 0


def test_a_picture_that_does_not_come_is_said_and_asked_for_again(
    script: Script, watch: Served, open_page: Open, complaints: list[str]
) -> None:
    script.pictures["0000000c"] = b""
    script.hub.put(state(frame(12)))
    page = open_page(watch.link)
    assert shows(page, ".without", "no picture: it did not come")
    del script.pictures["0000000c"]
    script.hub.put(state(frame(12), clock="10:02:16"))
    pictured(page, "0000000c")
    assert all("404" in complaint for complaint in complaints)
    complaints.clear()


def test_the_newest_verdict_is_told_to_who_cannot_see_it(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %")))
    page = open_page(watch.link)
    assert shows(page, "[aria-live=polite]", "SB_0012.dng: halt, label burnt 10.64 %")
    assert page.get_attribute("html", "lang") == "en"


def test_names_are_text_wherever_they_stand(script: Script, watch: Served, open_page: Open) -> None:
    newest = frame(
        12, "halt", f"{HOSTILE} burnt", name=f"{HOSTILE}0012.dng", stem=HOSTILE, more=2, again="2nd in a row"
    )
    asked = {**alarm(12), "question": f"{HOSTILE}, halt"}
    asked["answers"] = [{**answer, "said": HOSTILE} for answer in asked["answers"]]
    told = state(
        newest, "c", alarms=[asked], said=[HOSTILE], hint=[HOSTILE], troubles=[trouble(HOSTILE)], needs=HOSTILE
    )
    script.hub.put({**told, "folder": HOSTILE, "strip": [{**told["strip"][0], "name": HOSTILE}]})
    page = open_page(watch.link)
    assert shows(page, "h1", f"{HOSTILE}0012.dng")
    assert shows(page, ".needs", HOSTILE)
    assert shows(page, ".notice:not([hidden]) .text", HOSTILE)
    assert HOSTILE in page.title()
    page.keyboard.press("Enter")
    assert shows(page, ".question h2", f"{HOSTILE}, halt")
    page.keyboard.press("Escape")
    page.keyboard.press("d")
    assert page.locator(".known li").first.inner_text() == f"{HOSTILE} burnt"
    assert page.locator("[src=x]").count() == 0


def test_at_the_width_of_a_phone_it_is_one_column(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(frame(12, "halt", "label burnt 10.64 %"), "cc", troubles=[LOG_LOST]))
    page = open_page(watch.link, SIZES[2])
    pictured(page, "0000000c")
    order = [box(page, where) for where in ("header", ".notices", "figure:not([hidden])", ".strip", "footer")]
    tops = [one["y"] for one in order]
    assert tops == sorted(tops)
    assert all(one["x"] >= 0 and one["x"] + one["width"] <= 390 for one in order)
    assert capital(page, ".reason") >= 14
    assert order[-1]["y"] + order[-1]["height"] <= 844
