"""Looking deeper: all that is known in words, then maps, trend lines and readings of one frame."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.pages.serve import Served
from tests.pages.follow.conftest import Open, pictured, shows, shows_no
from tests.pages.follow.scripted import Script, frame, state

if TYPE_CHECKING:
    from playwright.sync_api import Page

SHOWN = ".strip [aria-current=true]"


def opened(script: Script, watch: Served, open_page: Open) -> Page:
    script.hub.put(
        state(frame(12, "halt", "label burnt 10.64 %", causes=["label burnt 10.64 %; limit 0.2 %"]), "ccw")
    )
    page = open_page(watch.link)
    assert shows(page, ".verdict", "halt")
    return page


def test_one_press_tells_all_in_words_the_next_the_readings_the_third_goes_back(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    assert shows_no(page, ".known")
    page.keyboard.press("d")
    assert shows(
        page,
        ".known li",
        ["label burnt 10.64 %; limit 0.2 %", "SB_0012.dng, taken 10:01:00", "1/125 s, f/11, ISO 100"],
    )
    assert shows_no(page, ".details")
    page.keyboard.press("d")
    assert shows(page, ".details h2", "0000000c")
    page.keyboard.press("d")
    assert shows_no(page, ".details")
    assert shows_no(page, ".known")
    pictured(page, "0000000c")


def test_what_is_inserted_does_not_run(script: Script, watch: Served, open_page: Open) -> None:
    script.details["0000000c"] = "<h2>one</h2><script>document.title = 'ran'</script>"
    page = opened(script, watch, open_page)
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert shows(page, ".details h2", "one")
    assert page.title() == "0012 halt · bottles"


def test_arrows_step_through_the_strip_and_escape_goes_back(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    page.keyboard.press("ArrowLeft")
    assert shows_no(page, ".details")
    page.keyboard.press("d")
    page.keyboard.press("d")
    for key, shown in (
        ("ArrowLeft", 11),
        ("ArrowLeft", 10),
        ("ArrowRight", 11),
        ("ArrowRight", 12),
        ("ArrowRight", 12),
    ):
        page.keyboard.press(key)
        assert shows(page, ".details h2", f"{shown:08x}")
        assert page.locator(SHOWN).get_attribute("aria-label").startswith(f"SB_{shown:04}.dng")  # type: ignore[union-attr]
    page.keyboard.press("Escape")
    assert shows_no(page, ".details")


def test_a_click_on_the_strip_opens_that_frame(script: Script, watch: Served, open_page: Open) -> None:
    page = opened(script, watch, open_page)
    page.click(".strip button:nth-child(10)")
    assert shows(page, ".details h2", "0000000a")


def test_new_frames_throw_nobody_out_and_their_verdict_stays_in_sight(
    script: Script, watch: Served, open_page: Open
) -> None:
    page = opened(script, watch, open_page)
    page.keyboard.press("d")
    page.keyboard.press("d")
    page.keyboard.press("ArrowLeft")
    assert shows(page, ".details h2", "0000000b")
    for number in range(13, 40):
        script.hub.put(state(frame(number, "warn", "left −0.3 stop"), "c" * 12))
    assert shows(page, ".number", "0039")
    assert shows(page, ".details h2", "0000000b")
    assert page.locator(".verdict").bounding_box()["width"] > 0  # type: ignore[index]
    assert page.locator(SHOWN).count() == 0
    page.keyboard.press("ArrowRight")
    assert shows(page, ".details h2", f"{28:08x}")


def test_details_that_are_not_there_are_said(
    script: Script, watch: Served, open_page: Open, complaints: list[str]
) -> None:
    page = opened(script, watch, open_page)
    page.route("**/details/*", lambda route: route.fulfill(status=404, body="there is nothing of this name here"))
    page.keyboard.press("d")
    page.keyboard.press("d")
    assert shows(page, ".details", "nothing more is known of this frame here: there is nothing of this name here")
    assert all("404" in complaint for complaint in complaints)
    complaints.clear()


def test_before_the_first_frame_there_is_nothing_deeper(script: Script, watch: Served, open_page: Open) -> None:
    script.hub.put(state(None))
    page = open_page(watch.link)
    assert shows(page, ".verdict", "no frame yet")
    for _ in range(2):
        page.keyboard.press("d")
    assert shows_no(page, ".details")
