"""Pictures of the page of drawing, on a rehearsed capture, in the states and windows in which it must work well.

python -m tests.pages.drawing.pictures FOLDER [STATE…]
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Callable, Mapping
from pathlib import Path

from tests.browsing import CHROMIUM
from tests.pages.drawing.opened import Drawing, Hand, Place, link, shot

SIZES = ((2560, 1440), (1280, 800), (390, 844))
CAPTURE = (1600, 2400)

BACKDROP = ((0.02, 0.05), (0.3, 0.45))
LABEL = ((0.372, 0.52), (0.525, 0.745))
CARD = ((0.062, 0.68), (0.182, 0.665), (0.19, 0.80), (0.072, 0.82))
"""Fractions of the rehearsed picture."""


def zones(hand: Hand) -> None:
    """Three zones; the label is in hand, with its readings."""
    hand.drag(*(on(hand, place) for place in BACKDROP))
    hand.press(*"rrrrrr", "Escape", "p")
    for place in CARD:
        hand.click(on(hand, place))
    hand.press("c", *"rrrrr")
    hand.name("card")
    hand.press("Escape")
    hand.drag(*(on(hand, place) for place in LABEL))
    rested(hand)


def found(hand: Hand) -> None:
    """Found places are shown, and one is looked at."""
    hand.page.locator("#find-many").filter(has_not_text="0").wait_for()
    hand.press("f", "n", "n")
    rested(hand)


def mistake(hand: Hand) -> None:
    """A name that another zone has."""
    zones(hand)
    hand.press("e")
    hand.page.locator("#name").fill("card")


def points(hand: Hand) -> None:
    """Points are being set by keys."""
    hand.press("p")
    for place in CARD:
        hand.click(on(hand, place))
    hand.press(*["ArrowRight"] * 30, *["ArrowUp"] * 20)
    rested(hand)


def close(hand: Hand) -> None:
    """A corner of the label from near."""
    zones(hand)
    hand.press("v", "v", "v", *"+++++++", "ArrowLeft", "ArrowUp")
    rested(hand)


def keys(hand: Hand) -> None:
    """The list of keys."""
    zones(hand)
    hand.press("?")


STATES: Mapping[str, Callable[[Hand], None]] = {
    "zones": zones,
    "found": found,
    "mistake": mistake,
    "points": points,
    "close": close,
    "keys": keys,
}


def on(hand: Hand, place: Place) -> Place:
    """Preview pixels of a place in fractions."""
    width, height = hand.page.evaluate("['width', 'height'].map(side => Number(grey.getAttribute(side)))")
    return place[0] * width, place[1] * height


def rested(hand: Hand) -> None:
    """Wait until everything is read."""
    hand.settle()
    hand.page.locator("#lines:not(.old):has(dd)").filter(has_not_text="being read").wait_for()


def main(folder: Path, wanted: list[str]) -> None:
    from playwright.sync_api import sync_playwright

    folder.mkdir(parents=True, exist_ok=True)
    found = next(path for name in CHROMIUM if (path := shutil.which(name)))
    with tempfile.TemporaryDirectory() as room, sync_playwright() as playwright:
        capture = shot(Path(room) / "bottles", size=CAPTURE)
        browser = playwright.chromium.launch(executable_path=found, args=["--no-sandbox"])
        with Drawing(capture, Path(room) / "bottles.set.toml").served() as served:
            for width, height in SIZES:
                for name in wanted or STATES:
                    page = browser.new_page(viewport={"width": width, "height": height})
                    page.goto(link(served))
                    page.locator("#state:not(:empty)").wait_for()
                    STATES[name](Hand(page))
                    Hand(page).settle()
                    page.screenshot(path=folder / f"draw_{name}_{width}.png", full_page=width < height)
                    page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
