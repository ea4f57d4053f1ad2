"""What comes into a sheet from elsewhere while a page draws for it: it appears there, and no step takes it out."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from qc import read_sheet
from qc.pages.serve import Served
from tests.pages.drawing.conftest import Drawn
from tests.pages.drawing.opened import BOX, Drawing, Hand
from tests.pages.drawing.test_saving import TYPED

if TYPE_CHECKING:
    from playwright.sync_api import Route

BY_HAND = '\n[[zone]]\nname = "by hand"\nrole = "sharp"\nbox = [0.0, 0.0, 0.1, 0.1]\n'
"""Typed into the sheet while the page is open."""

CORNERS = ((130.0, 20.0), (150.0, 40.0))


def names(sheet: Path) -> list[str]:
    return [zone.name for zone in read_sheet(sheet).zones]


def test_a_zone_typed_meanwhile_appears_and_stays_whatever_is_undone(draw: Drawn, tmp_path: Path) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.drag(*BOX)
    hand.name("cap")
    sheet.write_text(TYPED + BY_HAND)
    hand.save()
    hand.said("by hand came from the sheet")
    assert hand.zones() == ["label", "card", "cap", "by hand"]
    assert "as saved" in hand.page.locator("#state").inner_text()
    hand.press("Escape")
    hand.drag(*CORNERS)
    hand.save()
    assert names(sheet) == ["label", "card", "by hand", "cap", "label 2"]
    while hand.page.locator("#undo").is_enabled():
        hand.press("Control+z")
    assert hand.zones() == ["label", "card", "by hand"]
    hand.save()
    assert names(sheet) == ["label", "card", "by hand"]
    while hand.page.locator("#redo").is_enabled():
        hand.press("Control+Shift+z")
    hand.save()
    assert sorted(names(sheet)) == ["by hand", "cap", "card", "label", "label 2"]


def test_a_zone_taken_out_meanwhile_goes_and_a_changed_one_is_shown_as_it_is(draw: Drawn, tmp_path: Path) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.drag(*BOX)
    hand.name("cap")
    typed = TYPED.replace("0.41, 0.38, 0.18, 0.22", "0.1, 0.1, 0.5, 0.5")
    sheet.write_text(typed[: typed.index('[[zone]]\nname = "card"')])
    hand.save()
    hand.said("label was changed in the sheet meanwhile; card is gone from the sheet")
    assert hand.zones() == ["label", "cap"]
    drawn = hand.page.locator("#zones g.zone .line").first.get_attribute("d")
    assert (drawn or "").startswith("M20 15")
    hand.press("Control+z", "Control+z")
    assert hand.zones() == ["label"]
    hand.save()
    assert names(sheet) == ["label"]
    assert "0.1, 0.1, 0.5, 0.5" in sheet.read_text()


def test_a_zone_that_both_sides_changed_is_refused_with_the_way_out_and_that_works(
    draw: Drawn, tmp_path: Path, complaints: list[str]
) -> None:
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.page.locator(".entry", has_text="label").click()
    hand.press("ArrowRight", "Escape")
    sheet.write_text(TYPED.replace("0.41, 0.38, 0.18, 0.22", "0.1, 0.1, 0.5, 0.5"))
    hand.press("Control+s")
    hand.said('Not saved: zone "label" was changed in the sheet meanwhile; nothing was saved. Undo what you did')
    hand.settle()
    complaints.clear()  # the browser's own line about a 409
    assert hand.page.locator("#said.refused").count() == 1
    assert "0.1, 0.1, 0.5, 0.5" in sheet.read_text()
    hand.press("Control+z")
    hand.save()
    hand.said("label was changed in the sheet meanwhile")
    assert hand.page.locator("#said.refused").count() == 0
    assert "0.1, 0.1, 0.5, 0.5" in sheet.read_text()


def test_what_is_drawn_while_it_is_being_saved_is_not_lost(draw: Drawn, tmp_path: Path) -> None:
    """Also where a zone of the same name came from elsewhere."""
    sheet = tmp_path / "bottles.set.toml"
    sheet.write_text(TYPED)
    hand = draw()
    hand.drag(*BOX)
    hand.name("cap")
    hand.press("Escape")

    def slowly(route: Route) -> None:
        sheet.write_text(TYPED + BY_HAND.replace("by hand", "label 2"))
        answer = route.fetch()
        hand.drag(*CORNERS)
        route.fulfill(response=answer)

    hand.page.route("**/save", slowly)
    hand.press("Control+s")
    hand.said("label 2 came from the sheet")
    hand.page.unroute("**/save")
    assert sorted(hand.zones()) == ["cap", "card", "label", "label 2", "label 2 2"]
    assert "not saved" in hand.page.locator("#state").inner_text()
    hand.save()
    assert sorted(names(sheet)) == ["cap", "card", "label", "label 2", "label 2 2"]


def test_a_save_whose_answer_was_lost_is_saved_again_with_what_was_drawn_since(
    draw: Drawn, tmp_path: Path, complaints: list[str]
) -> None:
    sheet = tmp_path / "bottles.set.toml"
    hand = draw()
    hand.drag(*BOX)
    hand.press("Escape")

    def lost(route: Route) -> None:
        route.fetch()
        route.abort()

    hand.page.route("**/save", lost)
    hand.press("Control+s")
    hand.said("nobody answers")
    hand.page.unroute("**/save")
    assert names(sheet) == ["label"]
    hand.drag(*CORNERS)
    hand.said("answers again")
    hand.save()
    assert names(sheet) == ["label", "label 2"]
    assert [text for text in complaints if "ERR_FAILED" not in text] == []
    complaints.clear()


def test_two_pages_save_into_one_sheet_and_both_are_read_to(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], tmp_path: Path
) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    with drawing.served() as served:
        one, other = open_page(served), open_page(served)
        one.drag(*BOX)
        other.drag(*CORNERS)
        for hand in (one, other):
            hand.page.bring_to_front()
            hand.page.locator("#lines:not(.old) dd").first.filter(has_text="%").wait_for()
        one.page.bring_to_front()
        one.name("jar")
        one.save()
        other.page.bring_to_front()
        other.name("lid")
        other.save()
        other.said("jar came from the sheet")
        assert other.zones() == ["lid", "jar"]
        one.page.bring_to_front()
        one.press("ArrowRight")
        one.save()
        one.said("lid came from the sheet")
        assert one.zones() == ["jar", "lid"]
        one.page.close()
        other.page.close()
    assert names(drawing.sheet) == ["jar", "lid"]


def test_what_was_typed_between_two_starts_stays_and_appears_on_the_page_of_the_first(
    shots: Callable[[int], Path], open_page: Callable[[Served], Hand], complaints: list[str], tmp_path: Path
) -> None:
    drawing = Drawing(shots(1), tmp_path / "bottles.set.toml")
    drawing.sheet.write_text(TYPED)
    with drawing.served() as first:
        hand = open_page(first)
        hand.drag(*BOX)
        hand.name("cap")
        hand.press("Escape")
    drawing.sheet.write_text(TYPED + BY_HAND)
    with drawing.served(first.port):
        hand.save()
        assert hand.zones() == ["label", "card", "cap", "by hand"]
        hand.page.close()
    assert names(drawing.sheet) == ["label", "card", "by hand", "cap"]
    assert [text for text in complaints if "ERR_CONNECTION_RE" not in text] == []
    complaints.clear()
