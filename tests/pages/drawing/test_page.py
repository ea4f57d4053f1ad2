"""Zones drawn by a hand in a real browser, saved through the real server: the sheet has what was drawn."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import binary_dilation, binary_erosion

from qc import read_sheet
from qc.decode import open_frame
from qc.orientation import upright
from qc.sheet.zones import Zone
from tests.pages.drawing.conftest import Drawn, begun
from tests.pages.drawing.opened import (
    BOX,
    HEIGHT,
    ORIENTATIONS,
    POLYGON,
    WIDTH,
    Drawing,
    Hand,
    Place,
    corners,
    link,
)

if TYPE_CHECKING:
    from playwright.sync_api import Browser


def rim(points: Sequence[Place]) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """What is in for sure, and what may be in: the drawn area less and more one pixel along its rim.

    Filled by Pillow, which has no part in how a zone is measured.
    """
    picture = Image.new("1", (WIDTH, HEIGHT))
    ImageDraw.Draw(picture).polygon([(x - 0.5, y - 0.5) for x, y in points], fill=1)
    filled = np.array(picture)
    around = np.ones((3, 3), dtype=bool)
    return binary_erosion(filled, around), binary_dilation(filled, around)


def check_measured_as_drawn(capture: Path, zone: Zone, points: Sequence[Place], areas: Sequence[float]) -> None:
    """The zone of the sheet, and what the page says of it, are as drawn within a pixel of the preview."""
    assert np.abs(corners(zone) - points).max() < 1
    frame = open_frame(capture)
    mask = upright(zone.mask(frame.cells.shape[1:], frame.orientation), frame.orientation)
    assert mask.shape == (HEIGHT, WIDTH)
    surely, maybe = rim(points)
    assert not (surely & ~mask).any()
    assert not (mask & ~maybe).any()
    for area in areas:
        assert 100 * surely.mean() <= area <= 100 * maybe.mean()
    assert areas[1] == pytest.approx(100 * mask.mean(), abs=0.005)


def by_mouse(hand: Hand) -> None:
    hand.drag(*BOX)
    hand.page.locator("#name").click()
    hand.page.locator("#name").fill("front label")
    hand.press("Enter")
    hand.page.locator("#points").click()
    for place in POLYGON:
        hand.click(place)
    hand.click(POLYGON[0])
    hand.page.locator("#role").select_option("allow")
    hand.page.locator("#budget").fill("1.5")
    hand.page.locator("#undo").click()  # leaving the field took the budget; this takes it back
    hand.page.locator("#redo").click()


def by_keys(hand: Hand) -> None:
    hand.press("d")
    at = walk(hand, (WIDTH / 2, HEIGHT / 2), BOX[0])
    hand.press("Enter")
    at = walk(hand, at, BOX[1])
    hand.press("Enter")
    hand.name("front label")
    hand.press("p")
    for place in POLYGON:
        at = walk(hand, at, place)
        hand.press("Enter")
    hand.press("c", "r")
    hand.press("Tab", "Tab", "Tab")  # name, role, budget: Tab is the browser's own
    hand.page.keyboard.type("1.5")
    hand.press("Enter", "Control+z", "Control+Shift+z")


def walk(hand: Hand, now: Place, to: Place) -> Place:
    """Move the cross by arrows, tens with Shift."""
    for dim, (back, forth) in enumerate((("ArrowLeft", "ArrowRight"), ("ArrowUp", "ArrowDown"))):
        way = round(to[dim] - now[dim])
        tens, ones = divmod(abs(way), 10)
        key = forth if way > 0 else back
        hand.press(*[f"Shift+{key}"] * tens, *[key] * ones)
    return to


@pytest.mark.parametrize("way", [by_mouse, by_keys])
@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_a_box_and_a_polygon_are_saved_and_measured_as_they_were_drawn(
    way: Callable[[Hand], None],
    orientation: int,
    draw: Drawn,
    shots: Callable[[int], Path],
    tmp_path: Path,
) -> None:
    hand = draw(orientation)
    way(hand)
    areas = [areas_of(hand, name) for name in ("front label", "highlight")]
    hand.save()
    label, highlight = read_sheet(tmp_path / "bottles.set.toml").zones
    assert (label.name, label.role) == ("front label", "protect")
    assert (highlight.name, highlight.role, highlight.budget) == ("highlight", "allow", 1.5)
    (left, top), (right, bottom) = BOX
    box = ((left, top), (right, top), (right, bottom), (left, bottom))
    check_measured_as_drawn(shots(orientation), label, box, areas[0])
    check_measured_as_drawn(shots(orientation), highlight, POLYGON, areas[1])


def areas_of(hand: Hand, name: str) -> tuple[float, float]:
    """Area of a zone in % of the picture, as the page says it and as the server measured it."""
    hand.press("Escape")
    with hand.page.expect_response(lambda answer: answer.url.endswith("/measure")) as answer:
        hand.page.locator(".entry", has_text=name).click()
    said = hand.page.locator("#size").inner_text()
    return float(said.split(", ")[1].removesuffix(" % of the picture")), answer.value.json()["area"]


@pytest.mark.parametrize("orientation", ORIENTATIONS)
def test_what_is_read_stands_beside_the_zone_and_speaks_of_that_place(orientation: int, draw: Drawn) -> None:
    hand = draw(orientation)
    lines = hand.page.locator("#lines")
    hand.drag((0, 0), (30, 20))  # the backdrop: nothing is burnt there
    lines.get_by_text("0.00 %", exact=True).wait_for()
    assert lines.locator("dt").all_inner_texts() == ["clipped", "blur", "cast", "level"]
    hand.press("Escape")
    assert not hand.page.locator("#card").is_visible()
    hand.drag((80, 80), (90, 90))  # the spot's place on the label
    hand.page.locator("#lines dd").first.filter(has_text=re.compile(r"^[1-9]\d\.\d\d %")).wait_for()
    card, zone = hand.page.locator("#card").bounding_box(), hand.at((90, 90))
    assert card is not None
    assert 12 < card["x"] - zone[0] < 20  # beside its rings


def test_a_finger_draws_a_box(browser: Browser, shots: Callable[[int], Path], tmp_path: Path) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)
    with drawing.served() as served:
        page = context.new_page()
        page.goto(link(served))
        hand = begun(page)
        touch = context.new_cdp_session(page)
        for what, place in (("Start", BOX[0]), ("Move", (90, 70)), ("Move", BOX[1])):
            x, y = hand.at(place)
            touch.send("Input.dispatchTouchEvent", {"type": f"touch{what}", "touchPoints": [{"x": x, "y": y}]})
        touch.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
        assert hand.zones() == ["label"]
        page.locator("#save").click()
        hand.said("saved in")
        context.close()
    (zone,) = read_sheet(drawing.sheet).zones
    assert np.abs(corners(zone)[[0, 2]] - BOX).max() <= 1
