"""Can the page be read and used in every window, does it list its keys, does it leave nothing behind?"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pytest

from tests.pages.drawing.conftest import Drawn
from tests.pages.drawing.opened import (
    BOX,
    Hand,
)
from tests.pages.test_look import contrast

if TYPE_CHECKING:
    pass

LETTERS = """() => {
  const seen = [];
  const solid = (element) => {
    const colour = getComputedStyle(element).backgroundColor;
    return colour === "rgba(0, 0, 0, 0)" && element.parentElement ? solid(element.parentElement) : colour;
  };
  for (const element of document.querySelectorAll("main *, dialog *")) {
    const style = getComputedStyle(element);
    const text = [...element.childNodes].some((node) => node.nodeType === 3 && node.data.trim());
    const svg = element.namespaceURI.endsWith("svg");
    if (!element.getClientRects().length || !(text || element.matches("input")) || element.disabled) continue;
    const [over, under] = svg ? [style.fill, style.stroke] : [style.color, solid(element)];
    seen.push([element.textContent, over, under]);
    const { color } = getComputedStyle(element, "::placeholder");
    if (element.placeholder) seen.push([element.placeholder, color, under]);
  }
  return seen;
}"""
"""Every text that is seen, its colour, and what lies behind it; letters on the picture have a dark rim."""


def test_every_letter_can_be_read(draw: Drawn) -> None:
    """WCAG 2.2, 1.4.3, level AA: 4.5 to 1."""
    hand = draw()
    hand.drag((80, 80), (90, 90))
    hand.page.locator("#judged .halt").wait_for()  # the gravest word stands on the card
    hand.press("e")
    hand.page.locator("#name").fill("frame")
    letters = hand.page.evaluate(LETTERS)
    hand.press("Escape", *"rrrrr", "f", "?")
    hand.page.locator("#found .entry").first.wait_for()
    letters += hand.page.evaluate(LETTERS)
    assert len(letters) > 60
    for text, *colours in letters:
        one, other = ([int(part) for part in re.findall(r"\d+", colour)[:3]] for colour in colours)
        assert contrast((one[0], one[1], one[2]), (other[0], other[1], other[2])) >= 4.5, text


@pytest.mark.parametrize("window", [(2560, 1440), (1280, 800), (390, 844)])
def test_nothing_sticks_out_of_the_window(draw: Drawn, window: tuple[int, int]) -> None:
    hand = draw()
    hand.page.set_viewport_size({"width": window[0], "height": window[1]})
    hand.settle()
    hand.drag((150, 100), (195, 140))
    wide = hand.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= window[0]
    card = hand.page.locator("#card").bounding_box()
    assert card is not None
    assert card["x"] >= 0
    assert card["x"] + card["width"] <= window[0]


def test_the_keys_are_listed_on_the_page_and_none_is_the_browsers(draw: Drawn) -> None:
    hand = draw()
    hand.press("?")
    keys = hand.page.locator("#keys")
    keys.wait_for()
    assert {"d", "p", "n", "b", "f", "Delete", "Ctrl S"} <= set(keys.locator("kbd").all_inner_texts())
    hand.press("d", "ArrowRight")
    assert not hand.page.locator("#hand .cross").count()
    hand.press("?")
    assert not keys.is_visible()
    untouched = hand.page.evaluate(
        """keys => keys.filter(key => {
             const event = new KeyboardEvent("keydown", {...key, bubbles: true, cancelable: true});
             return !picture.dispatchEvent(event);
           })""",
        [{"key": "Tab"}, {"key": "F5"}, {"key": "l", "ctrlKey": True}, {"key": "ArrowLeft", "altKey": True},
         {"key": "+", "ctrlKey": True}, {"key": "/"}, {"key": "'"}, {"key": "F6"}, {"key": "w", "ctrlKey": True}],
    )  # fmt: skip
    assert untouched == []


def test_a_hundred_zones_drawn_and_undone_leave_nothing_behind(draw: Drawn) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.press("Control+z")
    before = nodes(hand)
    for number in range(100):
        left, top = 5 + 19 * (number % 10), 4 + 14 * (number // 10)
        hand.press("d")
        hand.drag((left, top), (left + 12, top + 9))
    assert len(hand.zones()) == 100
    many = nodes(hand)
    for _ in range(100):
        hand.press("Control+z")
    assert hand.zones() == []
    after = nodes(hand)
    assert many[0] > before[0] + 100
    assert after[0] == before[0]
    assert after[1] < before[1] + 100  # a few of the browser's own


def nodes(hand: Hand) -> tuple[int, int]:
    """Elements of the page, and nodes that the browser keeps after it has cleaned up."""
    hand.press("Escape", "Escape")
    kept = hand.page.context.new_cdp_session(hand.page)
    kept.send("Performance.enable")
    kept.send("HeapProfiler.collectGarbage")
    metrics = {one["name"]: one["value"] for one in kept.send("Performance.getMetrics")["metrics"]}
    kept.detach()
    return hand.page.evaluate("document.querySelectorAll('*').length"), int(metrics["Nodes"])
