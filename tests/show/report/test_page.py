"""The page as a reader uses it, in a real browser."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from qc.show.report.page import KEYS
from tests.show.report.conftest import Open
from tests.show.report.made import SHEET, burnt, captured, reported

if TYPE_CHECKING:
    from playwright.sync_api import Page


def listed(page: Page) -> list[str]:
    """Names in the list of all frames, as it is filtered and sorted."""
    return page.locator("#frames tbody tr:visible th").all_inner_texts()


def shown(page: Page) -> str:
    """Name of the open frame, once it is the one that the address names."""
    page.wait_for_function(
        "() => document.getElementById(location.hash.slice(1))?.dataset.mark"
        " === document.querySelector('#frame').dataset.mark"
    )
    return page.locator("#frame h2").inner_text()


def test_words_and_level_filter_the_list(index: Path, open_page: Open) -> None:
    page = open_page(index)
    assert len(listed(page)) == 8
    page.keyboard.press("/")
    page.keyboard.type("blur 1.8")
    assert listed(page) == ["SB_0005.dng"]
    assert page.locator("output").inner_text() == "1 of 8 frames"
    page.fill("input[name=words]", "")
    page.select_option("select[name=level]", "decide")
    assert listed(page) == ["SB_0003.dng", "SB_0005.dng", "SB_0007.dng"]
    page.select_option("select[name=level]", "clear")
    assert listed(page) == ["SB_0001.dng", "SB_0002.dng", "SB_0004.dng", "SB_0008.dng"]


def test_where_there_are_several_sets_the_list_can_be_filtered_by_set(tmp_path: Path, open_page: Open) -> None:
    text = SHEET.replace('"Stoneware <b>bottles</b>"', "'Back,  \"detail\"'")
    other = replace(captured(2, sheet_name='Back,  "detail"', sheet_digest="blake2b:5f"), sheet_text=text)
    page = open_page(reported(tmp_path / "bottles.qc", [captured(1), other, captured(3)]))
    assert page.locator(".sets li").count() == 2
    page.select_option("select[name=set]", 'Back,  "detail"')
    assert listed(page) == ["SB_0002.dng"]


def test_a_column_sorts_both_ways_and_what_has_no_number_is_last(index: Path, open_page: Open) -> None:
    page = open_page(index)
    head = page.locator("th[data-sort=headroom]")
    head.locator("button").click()
    assert (head.get_attribute("aria-sort"), listed(page)[0]) == ("descending", "SB_0008.dng")
    assert set(listed(page)[-2:]) == {"SB_0006.dng", "SB_0007.dng"}
    head.locator("button").click()
    assert (head.get_attribute("aria-sort"), listed(page)[0]) == ("ascending", "SB_0001.dng")
    assert set(listed(page)[-2:]) == {"SB_0006.dng", "SB_0007.dng"}
    page.locator("th[data-sort=level] button").click()
    assert listed(page)[:3] == ["SB_0003.dng", "SB_0007.dng", "SB_0005.dng"]


def test_keys_step_through_the_frames_as_they_are_listed(index: Path, open_page: Open) -> None:
    page = open_page(index)
    names = []
    for key in ("n", "n", "b", "w", "w", "w", "w"):
        page.keyboard.press(key)
        names.append(shown(page))
    numbers = [int(name[3:7]) for name in names]
    assert numbers == [1, 2, 1, 3, 5, 7, 3]
    page.keyboard.press("Escape")
    assert not page.locator("#frame").is_visible()
    page.select_option("select[name=level]", "clear")
    page.locator("h1").click()
    page.keyboard.press("n")
    assert shown(page) == "SB_0001.dng"
    page.keyboard.press("b")
    assert shown(page) == "SB_0001.dng", "there is none before the first"


def test_keys_that_are_listed_are_those_that_act(index: Path, open_page: Open) -> None:
    page = open_page(index)
    assert page.locator("#keys kbd").all_inner_texts() == list(KEYS)
    script = (index.parent / "report.js").read_text("utf-8")
    acting = script[script.index("const keys = {") : script.index("};", script.index("const keys = {"))]
    assert re.findall(r'^ {4}"?([^\s":]+)"?: ', acting, re.MULTILINE) == list(KEYS)
    for key, place in (("d", "#decide"), ("o", "#over-time"), ("a", "#all")):
        page.keyboard.press(key)
        assert page.locator(f"{place} > h2").bounding_box() is not None
        assert page.evaluate(f"document.querySelector('{place}').getBoundingClientRect().top") < 500


def test_a_map_opens_on_demand_with_a_bar_in_its_unit(index: Path, open_page: Open) -> None:
    page = open_page(index, "#frame=SB_0001.dng")
    page.wait_for_selector("#frame h2")
    png = page.locator("#frame img[src$='.sharpness.png']")
    assert not png.is_visible()
    page.keyboard.press("m")
    page.keyboard.press("m")
    assert page.locator("#frame .choices [aria-pressed=true]").inner_text() == "blur"
    assert png.is_visible()
    loaded = "(i) => i.src.endsWith('.sharpness.png') && i.naturalWidth === 12"  # a pixel a tile
    page.wait_for_function(f"() => [...document.images].some({loaded})")
    drawing = page.locator("#frame .drawing:visible")
    assert drawing.locator(".unit").inner_text() == "px; where the grey picture shows, nothing could be read"
    assert drawing.locator(".ends span").first.inner_text() == "0.5"
    page.keyboard.press("n")
    assert shown(page) == "SB_0002.dng"
    assert page.locator("#frame .choices [aria-pressed=true]").inner_text() == "blur", "the next frame's same map"
    page.keyboard.press("p")
    assert page.locator("#frame .choices [aria-pressed=true]").inner_text() == "picture"


def test_a_point_of_a_plot_leads_to_its_frame(index: Path, open_page: Open) -> None:
    page = open_page(index, plots=True)
    figure = next(f for f in json.loads(page.locator("#figures").inner_text()) if f["key"] == "burnt")
    at = figure["data"][0]["y"].index(0.4)
    place = page.locator("#plot-burnt")
    place.scroll_into_view_if_needed()
    point = place.locator("path.point").nth(at).bounding_box()
    assert point is not None
    page.mouse.move(point["x"] + point["width"] / 2, point["y"] + point["height"] / 2)
    page.wait_for_selector("#plot-burnt .hovertext")
    assert "SB_0003.dng, 09:01: 0.40 % of cells" in str(place.locator(".hovertext").text_content())
    page.mouse.click(point["x"] + point["width"] / 2, point["y"] + point["height"] / 2)
    assert shown(page) == "SB_0003.dng"
    assert page.url.endswith("#frame=SB_0003.dng")


def test_a_frame_has_an_address_and_going_back_closes_it(index: Path, open_page: Open) -> None:
    page = open_page(index, "#frame=SB_0005.dng")
    page.wait_for_selector("#frame h2")
    assert shown(page) == "SB_0005.dng"
    page.keyboard.press("Escape")
    page.wait_for_function("() => !location.hash")
    page.locator("#frames a", has_text="SB_0002.dng").click()
    assert shown(page) == "SB_0002.dng"
    page.go_back()
    page.wait_for_function("() => !document.querySelector('#frame').open")


def test_what_needs_a_decision_comes_first_and_each_fault_once(index: Path, open_page: Open) -> None:
    page = open_page(index)
    assert page.locator(".cause h3 .title").all_inner_texts() == [
        "truncated: half of it is missing",
        "burnt 0.40 %",
        "label blur 2.00 px, at worst",
    ]
    assert page.locator(".held h4").all_inner_texts() == ["SB_0007.dng", "SB_0003.dng", "SB_0005.dng"]
    assert "Besides: label blur 2.00 px." in page.locator(".held").nth(1).inner_text()
    assert page.locator(".lines li", has_text="burnt 0.02 %").locator("a").all_inner_texts() == ["SB_0006.dng"]
    places = [page.locator(f"#{name}").bounding_box() for name in ("decide", "day", "over-time", "all")]
    tops = [place["y"] for place in places if place]
    assert tops == sorted(tops)


def test_drawings_under_a_cause_show_that_cause(index: Path, open_page: Open) -> None:
    page = open_page(index)
    parts = [
        [figure.get_attribute("data-part") for figure in held.locator("figure").all()]
        for held in page.locator(".held").all()
    ]
    assert parts == [[], ["highlights"], ["picture", "sharpness"]]
    page.locator(".held").nth(2).locator("figure").nth(1).click()
    assert shown(page) == "SB_0005.dng"
    assert page.locator("#frame .choices [aria-pressed=true]").inner_text() == "blur"


@pytest.mark.parametrize("width", [1440, 900])
def test_nothing_is_wider_than_the_window(index: Path, open_page: Open, width: int) -> None:
    page = open_page(index, plots=True)
    page.set_viewport_size({"width": width, "height": 900})
    page.wait_for_function(f"() => document.documentElement.scrollWidth <= {width}")  # plots follow the window
    assert page.locator(".main-svg").count() > 0
    page.keyboard.press("w")
    page.wait_for_selector("#frame h2")
    assert page.evaluate("document.querySelector('#frame .content').scrollWidth") <= width


def test_on_paper_stand_decisions_and_plots_and_no_list_of_all_frames(
    index: Path, open_page: Open, tmp_path: Path
) -> None:
    page = open_page(index, plots=True)
    page.emulate_media(media="print")
    for hidden in ("#frames", "nav", ".filter", "#keys"):
        assert not page.locator(hidden).is_visible(), hidden
    for seen in (".cause h3 >> nth=0", ".stack >> nth=0", ".printed", ".main-svg >> nth=0"):
        assert page.locator(seen).is_visible(), seen
    assert page.evaluate("getComputedStyle(document.body).backgroundColor") == "rgb(255, 255, 255)"
    page.emulate_media(media="screen")
    paper = tmp_path / "report.pdf"
    page.pdf(path=paper, format="A4")
    assert paper.read_bytes().count(b"/Subtype /Image") >= 2, "pictures that are loaded late are on paper too"


def test_600_captures_are_a_page_of_at_most_5_mb_whose_pictures_come_late(tmp_path: Path, open_page: Open) -> None:
    captures = (
        captured(number, causes=[burnt(number / 100)] if number % 3 == 0 else ()) for number in range(1, 601)
    )
    index = reported(tmp_path / "bottles.qc", captures)
    assert index.stat().st_size <= 5_000_000
    page = open_page(index, plots=True)
    assert len(listed(page)) == 600
    assert page.locator("img:not([loading=lazy])").count() == 0
    assert page.locator(".held").count() < 10
