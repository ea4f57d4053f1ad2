"""Zones drawn by a hand in a real browser, saved through the real server: the sheet has what was drawn."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw
from scipy.ndimage import binary_dilation, binary_erosion

from qc import read_sheet
from qc.decode import open_frame
from qc.orientation import upright
from qc.pages.serve import Served
from qc.sheet.zones import Zone
from tests.pages.drawing.conftest import Drawn, begun
from tests.pages.drawing.opened import Drawing, Hand, Place, link

WIDTH, HEIGHT = 200, 150
"""The preview of the rehearsed capture: one pixel a cell."""

BOX: tuple[Place, Place] = ((61, 37), (122, 98))
POLYGON: tuple[Place, ...] = ((20, 30), (75, 22), (90, 80), (55, 64), (14, 110))
"""In preview pixels; the polygon has a notch."""

ORIENTATIONS = (1, 6, 8)


def corners(zone: Zone) -> NDArray[np.float64]:
    return np.array(zone.points) * (WIDTH, HEIGHT)


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
    hand.settle()
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
    hand.settle()
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
    assert 0 < card["x"] - zone[0] < 40


def test_every_step_goes_back_and_forth(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
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
    hand.press("v", "ArrowDown", "i", "v", "v", "Delete")
    hand.save()
    box, polygon = read_sheet(tmp_path / "bottles.set.toml").zones
    assert np.round(corners(box)[[0, 2]]).tolist() == [[60, 36], [140, 98]]
    between = [48, 27]  # halfway from the moved first point to the second, on whole pixels
    assert np.round(corners(polygon)).tolist() == [[20, 31], between, [75, 22], [55, 64], [14, 110]]


def test_escape_drops_what_is_being_drawn(draw: Drawn) -> None:
    hand = draw()
    hand.press("d", "Enter", "ArrowRight", "Escape", "Escape", "p", "Enter", "ArrowRight", "Enter", "Escape")
    hand.settle()
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


TYPED = """\
# Front of the range, shot by daylight's absence
[set]
name = "Bottles"   # as on the order
preset = "series"

[[zone]]
name = "label"     # the printed one
role = "protect"
box = [0.41, 0.38, 0.18, 0.22]
[zone.limits."highlights.unintended_area"]
warn = 0.05        # agreed on Monday

[[zone]]
name = "card"
role = "patch"
points = [[0.06, 0.67], [0.19, 0.65], [0.2, 0.8]]
lightness = 50
# the end
"""


def test_an_edit_of_a_sheet_keeps_what_a_person_wrote(draw: Drawn, tmp_path: Path) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    assert hand.zones() == ["label", "card"]
    hand.press("n")
    hand.name("front label")
    hand.press("ArrowRight", "n")
    hand.page.locator("#lightness").fill("60")
    hand.save()
    lines = sheet.read_text().splitlines()
    for comment in ("# Front of the", "# as on the order", "# the printed one", "# agreed on Monday", "# the end"):
        assert any(comment in line for line in lines)
    changed = [line for line in lines if line not in TYPED.splitlines()]
    assert len(changed) == 3
    label, card = read_sheet(sheet).zones
    assert (label.name, card.lightness) == ("front label", 60)
    assert label.points[0] == pytest.approx((0.415, 0.38))  # a pixel of 200 to the right
    assert read_sheet(sheet).zone_limits["front label"]


def test_a_zone_that_was_deleted_saved_and_brought_back_is_saved_as_new(draw: Drawn, tmp_path: Path) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.press("n", "Delete")
    hand.save()
    assert [zone.name for zone in read_sheet(sheet).zones] == ["card"]
    hand.press("Control+z")
    hand.said("undone")
    hand.save()
    assert sorted(zone.name for zone in read_sheet(sheet).zones) == ["card", "label"]


def test_a_found_place_is_taken_with_one_click_and_with_keys(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.page.locator("#find-many").filter(has_not_text="0").wait_for()
    many = int(hand.page.locator("#find-many").inner_text())
    assert hand.page.locator("#places .place").count() == 0
    hand.press("f")
    hand.settle()
    assert hand.page.locator("#places .place").count() == many
    hand.press("n")
    hand.settle()
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


def test_a_refusal_to_save_is_said_and_nothing_is_lost(draw: Drawn, tmp_path: Path, complaints: list[str]) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.press("n", "ArrowRight")
    sheet.write_text(TYPED.replace("0.41, ", "0.2, "))  # somebody else moved the same zone
    hand.press("Control+s")
    hand.said("Not saved: ")
    assert "not saved" in hand.page.locator("#state").inner_text()
    assert hand.zones() == ["label", "card"]
    assert "0.2, " in sheet.read_text()
    assert [text for text in complaints if "409" not in text] == []
    complaints.clear()


def test_unsaved_changes_are_seen_and_leaving_asks(draw: Drawn) -> None:
    hand = draw()
    asked: list[str] = []
    hand.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.dismiss()))
    hand.drag(*BOX)
    hand.settle()
    assert "not saved" in hand.page.locator("#state").inner_text()
    assert hand.page.title().startswith("not saved")
    hand.page.evaluate("setTimeout(() => location.reload())")
    hand.page.wait_for_event("dialog")
    assert asked == ["beforeunload"]
    hand.save()
    assert "as saved" in hand.page.locator("#state").inner_text()
    hand.page.reload()
    assert begun(hand.page).zones() == ["label"]
    assert asked == ["beforeunload"]


def test_what_was_drawn_outlives_its_server_and_is_saved_by_the_next(
    shots: Callable[[int], Path],
    open_page: Callable[[Served], Hand],
    complaints: list[str],
    tmp_path: Path,
) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.page.locator("#lines:not(.old) dd").first.filter(has_text="%").wait_for()
    hand.press("Control+s")
    hand.said("nobody answers")
    hand.press("Escape")
    hand.drag((130, 20), (150, 40))  # drawing goes on
    assert hand.page.locator("#gone").is_visible()
    with drawing.served(first.port):
        hand.said("answers again")
        assert not hand.page.locator("#gone").is_visible()
        assert hand.zones() == ["label", "label 2"]
        hand.save()
        hand.page.locator("#lines:not(.old) dd").first.filter(has_text="%").wait_for()
    assert [zone.name for zone in read_sheet(drawing.sheet).zones] == ["label", "label 2"]
    assert [text for text in complaints if "ERR_CONNECTION_REFUSED" not in text] == []
    complaints.clear()


def test_another_sheet_at_the_same_link_is_not_written_to(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path
) -> None:
    drawing, other = (Drawing(shots(1), tmp_path / f"{name}.set.toml") for name in ("bottles", "jars"))
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.press("Escape")  # nothing is being read when the server ends
        hand.settle()
    with other.served(first.port):
        hand.press("Control+s")
        hand.said("jars.set.toml on R_0001.dng is drawn at this link now")
    assert not drawing.sheet.exists()
    assert not other.sheet.exists()


def test_done_saves_first_and_says_that_the_page_can_be_closed(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path
) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    with drawing.served() as page:
        hand = open_page(page)
        hand.drag(*BOX)
        hand.page.locator("#done").click()
        hand.page.get_by_text("can be closed").wait_for()
        assert drawing.ended.wait(30)
    assert [zone.name for zone in read_sheet(drawing.sheet).zones] == ["label"]


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
    hand.settle()
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


def test_a_zone_stays_in_the_picture_however_far_it_is_moved(draw: Drawn, tmp_path: Path) -> None:
    hand = draw()
    hand.drag(*BOX)
    hand.drag((90, 70), (250, 70))
    hand.press("s", *["ArrowDown"] * 9)
    hand.save()
    (zone,) = read_sheet(tmp_path / "bottles.set.toml").zones
    assert corners(zone)[[0, 2]].round(1).tolist() == [[139, 89], [200, 150]]


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
    hand.settle()
    kept = hand.page.context.new_cdp_session(hand.page)
    kept.send("Performance.enable")
    kept.send("HeapProfiler.collectGarbage")
    metrics = {one["name"]: one["value"] for one in kept.send("Performance.getMetrics")["metrics"]}
    kept.detach()
    return hand.page.evaluate("document.querySelectorAll('*').length"), int(metrics["Nodes"])


def test_the_keys_are_listed_on_the_page_and_none_is_the_browsers(draw: Drawn) -> None:
    hand = draw()
    hand.press("?")
    keys = hand.page.locator("#keys")
    keys.wait_for()
    assert {"d", "p", "n", "b", "f", "Delete", "Ctrl S"} <= set(keys.locator("kbd").all_inner_texts())
    hand.press("d", "ArrowRight")
    assert not hand.page.locator("#hand .cross").count()
    hand.press("?")
    hand.settle()
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


@pytest.mark.parametrize("window", [(2560, 1440), (1280, 800), (390, 844)])
def test_nothing_sticks_out_of_the_window(draw: Drawn, window: tuple[int, int]) -> None:
    hand = draw()
    hand.page.set_viewport_size({"width": window[0], "height": window[1]})
    hand.settle()
    hand.drag((150, 100), (195, 140))
    hand.settle()
    wide = hand.page.evaluate("document.documentElement.scrollWidth")
    assert wide <= window[0]
    card = hand.page.locator("#card").bounding_box()
    assert card is not None
    assert card["x"] >= 0
    assert card["x"] + card["width"] <= window[0]


def test_a_finger_draws_a_box(browser: object, shots: Callable[[int], Path], tmp_path: Path) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True)  # type: ignore[attr-defined]
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
