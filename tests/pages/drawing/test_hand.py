"""What a hand does to zones on the page, step by step: changed, named, undone, looked at from near."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pytest

from qc import read_sheet
from tests.pages.drawing.conftest import Drawn
from tests.pages.drawing.opened import (
    BOX,
    HEIGHT,
    POLYGON,
    WIDTH,
    Hand,
    Place,
    corners,
)

if TYPE_CHECKING:
    pass


def test_every_step_goes_back_and_forth(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    steps: list[Callable[[], None]]
    steps = [lambda: hand.drag(*BOX), lambda: hand.name("jar"), lambda: hand.press("r")]
    steps += [lambda: hand.drag((90, 70), (100, 75)), lambda: hand.press("Shift+ArrowLeft")]
    steps += [lambda: hand.drag(corner_of(hand, 2), (150, 120)), lambda: hand.press("Delete")]
    seen = [state(hand)]
    for step in steps:
        step()
        seen.append(state(hand))
    assert len({str(one) for one in seen[:-1]}) == len(steps)
    assert seen[-1] == seen[0]
    for before in reversed(seen[:-1]):
        hand.press("Control+z")
        assert state(hand) == before
    for after in seen[1:]:
        hand.press("Control+Shift+z")
        assert state(hand) == after
    hand.press("Control+z", "Control+z")
    hand.save()
    assert [zone.name for zone in read_sheet(tmp_path / "bottles.set.toml").zones] == ["jar"]


def state(hand: Hand) -> list[str | None]:
    """What the zones on the picture are, by what is drawn."""
    hand.settle()
    groups = hand.page.locator("#zones g.zone")
    return [
        f"{group.locator('.called').text_content()} {group.locator('.word').text_content()}"
        f" {group.locator('.line').get_attribute('d')}"
        for group in groups.all()
    ]


def corner_of(hand: Hand, index: int) -> Place:
    hand.settle()
    ring = hand.page.locator("#hand .knob .line").nth(index)
    return float(ring.get_attribute("cx") or 0), float(ring.get_attribute("cy") or 0)


def test_a_zone_is_resized_by_an_edge_and_a_point_moves_alone_by_mouse_and_by_keys(
    draw: Drawn, tmp_path: Path
) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.drag((BOX[1][0], 70), (140, 75))
    hand.press("v", "ArrowLeft", "ArrowUp", "Escape", "Escape", "p")
    for place in POLYGON:
        hand.click(place)
    hand.press("c")
    hand.drag(POLYGON[2], (99, 90))
    hand.press("v", "ArrowDown", "i", "v", "v", "Delete", "Escape")
    hand.page.mouse.dblclick(*hand.at((30, 92)))  # an edge
    hand.save()
    box, polygon = read_sheet(tmp_path / "bottles.set.toml").zones
    assert np.round(corners(box)[[0, 2]]).tolist() == [[60, 36], [140, 98]]
    between = [48, 27]  # halfway from the moved first point to the second, on whole pixels
    assert np.round(corners(polygon)).tolist() == [[20, 31], between, [75, 22], [55, 64], [30, 92], [14, 110]]


def test_escape_drops_what_is_being_drawn(draw: Drawn) -> None:
    hand = draw()
    hand.press("d", "Enter", "ArrowRight", "Escape", "Escape", "p", "Enter", "ArrowRight", "Enter", "Escape")
    assert hand.page.locator("#hand .begun").count() == 0
    assert hand.zones() == []
    assert hand.page.locator("#undo").is_disabled()


def test_a_name_that_cannot_be_is_said_beside_the_field_at_once_and_not_taken(draw: Drawn) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.press("Escape")
    hand.drag((130, 20), (150, 40))
    assert hand.zones() == ["label", "label 2"]
    mistake = hand.page.locator("#name-mistake")
    for name, why in (
        ("label", "another zone is called label"),
        ("  ", "needs a name"),
        ("frame", "whole picture"),
    ):
        hand.press("e")
        hand.page.locator("#name").fill(name)
        mistake.get_by_text(why).wait_for()
        hand.press("Enter")  # does not take it
        assert hand.page.locator("#name").input_value() == name
        hand.press("Escape")
        assert hand.zones() == ["label", "label 2"]
    hand.press("e")
    hand.page.locator("#name").fill("label")
    hand.drag((10, 120), (30, 140))
    hand.said("label 2 stays")
    assert hand.zones() == ["label", "label 2", "label 3"]


def test_ready_names_follow_the_role_until_a_person_names_the_zone(draw: Drawn) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.press("r")
    assert hand.zones() == ["highlight"]
    hand.name("rim")
    hand.press("r")
    assert hand.zones() == ["rim"]


def test_hostile_names_are_text(draw: Drawn, tmp_path: Path) -> None:
    name = '<img src=x onerror="document.title=1">"]\n[[zone]]'
    hand = draw()
    hand.drag(*BOX)
    hand.press("e")
    hand.page.locator("#name").fill(name)
    hand.press("Enter")
    hand.save()
    shown = name.replace("\n", " ")  # a field has one line
    assert hand.zones() == [shown]
    assert hand.page.locator(".entry", has_text=shown).count() == 1
    assert hand.page.locator("img").count() == 0
    assert [zone.name for zone in read_sheet(tmp_path / "bottles.set.toml").zones] == [shown]


def test_a_found_place_is_taken_with_one_click_and_with_keys(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.page.locator("#find-many").filter(has_not_text="0").wait_for()
    many = int(hand.page.locator("#find-many").inner_text())
    assert hand.page.locator("#places .place").count() == 0
    hand.press("f")
    assert hand.page.locator("#places .place").count() == many
    hand.press("n")
    assert "burnt" in hand.page.locator("#why").inner_text()
    hand.press("Enter")
    assert len(hand.zones()) == 1
    assert hand.page.locator("#places .place").count() == many - 1
    hand.page.locator("#found .entry").last.click()
    assert len(hand.zones()) == 2
    hand.save()
    first, last = read_sheet(tmp_path / "bottles.set.toml").zones
    assert first.role == "allow"
    assert first.budget is not None
    hand.press("Control+z", "Control+z")
    assert hand.zones() == []
    assert hand.page.locator("#places .place").count() == many
    box = hand.page.locator("#places .place .line").last.get_attribute("d")
    xs, ys = zip(*[map(float, p.strip("MZ").split()) for p in (box or "").split("L")], strict=True)
    hand.click((min(xs) + 2, min(ys) + 2))
    assert hand.zones() == [last.name]


def test_the_picture_comes_closer_until_a_pixel_is_easily_hit(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.page.mouse.move(*hand.at((100, 70)))
    hand.page.keyboard.down("Control")
    for _ in range(8):
        hand.page.mouse.wheel(0, -300)
    hand.page.keyboard.up("Control")
    hand.settle()
    one, other = hand.at((100, 70)), hand.at((101, 71))
    assert other[0] - one[0] > 20
    hand.drag((100, 70), (103, 72))
    hand.press("Escape")
    before = hand.at((100, 70))
    hand.page.keyboard.down("Space")
    hand.drag((100, 70), (101, 70))
    hand.page.keyboard.up("Space")
    hand.settle()
    assert hand.at((100, 70))[0] == pytest.approx(before[0] + other[0] - one[0], abs=2)
    hand.press("0")
    assert hand.page.locator("#picture").get_attribute("viewBox") == f"0 0 {WIDTH} {HEIGHT}"
    hand.save()
    (zone,) = read_sheet(tmp_path / "bottles.set.toml").zones
    assert corners(zone)[[0, 2]].round(1).tolist() == [[100, 70], [103, 72]]


def test_a_step_can_be_a_hundredth_of_the_picture(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.press("s", "s", "ArrowRight")
    hand.save()
    (zone,) = read_sheet(tmp_path / "bottles.set.toml").zones
    assert corners(zone)[0].round(1).tolist() == [BOX[0][0] + 2, BOX[0][1]]


def test_a_polygon_that_is_resized_there_and_back_by_keys_is_as_it_was(draw: Drawn) -> None:
    """Also along the rim of the picture, where steps are cut short."""
    hand = draw()
    hand.press("p")
    for place in POLYGON:
        hand.click(place)
    hand.press("c")
    before = state(hand)
    hand.press(*["Shift+ArrowRight"] * 7, *["Shift+ArrowUp"] * 50, *["Shift+ArrowLeft"] * 30)
    assert state(hand) != before
    hand.press(*["Shift+ArrowRight"] * 23, *["Shift+ArrowDown"] * 50)
    assert state(hand) == before
    hand.press("s", *["Shift+ArrowDown"] * 9, *["Shift+ArrowUp"] * 4)  # no more than the rim: 110 of 150 and back
    assert max(y for _, y in ends(hand)) == pytest.approx(110, abs=0.02)
    hand.press("Shift+ArrowDown", "Control+z", "Shift+ArrowDown")
    assert max(y for _, y in ends(hand)) == pytest.approx(120, abs=0.02)


def test_a_typed_zone_of_many_decimals_that_is_resized_there_and_back_is_as_it_was_typed(
    draw: Drawn, tmp_path: Path
) -> None:
    typed = (
        '[[zone]]\nname = "label"\nrole = "protect"\npoints = [[0.12345, 0.2], [0.65432, 0.3], [0.4, 0.77777]]\n'
    )
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(typed)
    hand = draw()
    hand.press("n", *["Shift+ArrowRight"] * 3, "Shift+ArrowDown", *["Shift+ArrowLeft"] * 3, "Shift+ArrowUp")
    hand.save()
    assert sheet.read_text() == typed


def ends(hand: Hand) -> list[Place]:
    line = hand.page.locator("#zones g.zone .line").first.get_attribute("d") or ""
    pairs = [pair.split() for pair in line.strip("MZ").split("L")]
    return [(float(x), float(y)) for x, y in pairs]


def test_a_zone_stays_in_the_picture_however_far_it_is_moved(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.drag((90, 70), (250, 70))
    hand.press("s", *["ArrowDown"] * 9)
    hand.save()
    (zone,) = read_sheet(tmp_path / "bottles.set.toml").zones
    assert corners(zone)[[0, 2]].round(1).tolist() == [[139, 89], [200, 150]]
