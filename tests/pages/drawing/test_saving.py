"""What becomes of drawn zones: saved into a sheet a person wrote, refused, kept while nobody answers."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from qc import read_sheet
from qc.pages.serve import Served
from tests.cli.test_sheet_draw import drawing as command
from tests.pages.drawing.conftest import Drawn, begun
from tests.pages.drawing.opened import (
    BOX,
    Drawing,
    Hand,
)

if TYPE_CHECKING:
    from playwright.sync_api import Dialog

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

    def stay(dialog: Dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    hand.page.on("dialog", stay)
    hand.drag(*BOX)
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


def test_the_command_killed_and_started_again_saves_what_was_drawn(
    shots: Callable[[int], Path], open_page: Callable[..., Hand], complaints: list[str], tmp_path: Path
) -> None:
    sheet = tmp_path / "bottles.set.toml"
    with command(shots(1), "--sheet", sheet) as first:
        hand = open_page(first.ask, first.link)
        hand.drag(*BOX)
        hand.name("jar")
        first.process.kill()
    hand.press("Control+s")
    hand.said("nobody answers")
    with command(shots(1), "--sheet", sheet):
        hand.said("answers again")
        hand.save()
        hand.page.locator("#done").click()
        hand.page.get_by_text("can be closed").wait_for()
    assert [zone.name for zone in read_sheet(sheet).zones] == ["jar"]
    assert [text for text in complaints if "ERR_CONNECTION_RE" not in text] == []
    complaints.clear()


def test_another_sheet_at_the_same_link_is_not_written_to(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path
) -> None:
    drawing, other = (Drawing(shots(1), tmp_path / f"{name}.set.toml") for name in ("bottles", "jars"))
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.press("Escape")  # nothing is being read when the server ends
    with other.served(first.port):
        hand.press("Control+s")
        hand.said("jars.set.toml is drawn at this link now")
    assert not drawing.sheet.exists()
    assert not other.sheet.exists()


def test_another_capture_at_the_same_link_takes_the_zones_and_reads_nothing_in_them(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], complaints: list[str], tmp_path: Path
) -> None:
    drawing, other = (Drawing(shots(number), tmp_path / "bottles.set.toml") for number in (1, 6))
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.press("Escape")
    hand.press("Control+s")
    hand.said("nobody answers")
    with other.served(first.port):
        hand.said("but for R_0006.dng")
        hand.press("n")
        assert hand.page.locator("#name").is_visible()
        assert not hand.page.locator("#lines").is_visible()
        hand.save()
    assert [zone.name for zone in read_sheet(drawing.sheet).zones] == ["label"]
    assert [text for text in complaints if "ERR_CONNECTION_REFUSED" not in text] == []
    complaints.clear()


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


def test_a_page_that_is_done_with_asks_nothing_of_the_next_at_its_link(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path
) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.page.locator("#done").click()
        hand.page.get_by_text("can be closed").wait_for()
    asked: list[str] = []
    hand.page.on("request", lambda request: asked.append(request.url))
    with drawing.served(first.port):
        hand.press("Control+s", "ArrowRight", "Control+z")
        hand.page.wait_for_timeout(2000)  # longer than it waits before it looks whether somebody is there again
        assert hand.page.get_by_text("can be closed").is_visible()
    assert asked == []
    assert [zone.name for zone in read_sheet(drawing.sheet).zones] == ["label"]
