"""The routes of the page of drawing, asked as anybody could ask them."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from qc.pages.drawing.app import application
from qc.pages.drawing.asked import LONGEST, MOST_CORNERS, MOST_ZONES
from qc.pages.drawing.place import place
from qc.pages.drawing.session import NOTHING, Session
from qc.pages.guard import MOST_BODY
from qc.sheet.read import read_sheet
from tests.cli.conftest import SHEET, scene, write
from tests.pages.asking import WAIT_S, Answer, Asker, served

ZONE = {"was": None, "name": "label", "role": "protect", "box": [0.5, 0.5, 0.4, 0.4], "points": None}


def told(zone: dict[str, Any]) -> dict[str, Any]:
    """A zone as the page tells it, of one as it was told."""
    return {key: value for key, value in zone.items() if key != "limits"}


@dataclass
class Page:
    ask: Asker
    session: Session
    sheet: Path
    done: threading.Event

    def measure(self, *, tab: str = "", **zone: Any) -> Answer:
        return self.ask.post("/measure", {"zone": ZONE | zone, "tab": tab})

    def save(self, *zones: dict[str, Any], seen: list[dict[str, Any]] | None = None) -> Answer:
        """Save zones as a page does that has just been opened, or one that saw other zones last."""
        return self.ask.post("/save", {"zones": zones, "seen": self.seen() if seen is None else seen})

    def seen(self) -> list[dict[str, Any]]:
        zones: list[dict[str, Any]] = self.ask("/start").json["zones"]
        return zones

    def names(self) -> list[str]:
        return [zone.name for zone in read_sheet(self.sheet).zones]


@pytest.fixture
def page(tmp_path: Path) -> Iterator[Page]:
    (tmp_path / "bottles").mkdir()
    capture = write(tmp_path / "bottles" / "SB_0001.dng", scene(burnt=True))
    sheet = tmp_path / "front.set.toml"
    sheet.write_text(SHEET)
    here = place(str(capture), sheet=sheet)
    session = Session(here.capture, here.target)
    done = threading.Event()
    with served(application(session, done.set)) as (on, faults):
        yield Page(Asker(on.port), session, sheet, done)
    session.close()
    assert faults == []


def test_it_offers_the_page_its_files_the_picture_and_what_to_begin_with(page: Page) -> None:
    html = page.ask("/")
    assert html.headers["content-type"].startswith("text/html")
    assert b"SB_0001.dng" in html.body
    for name, kind in (("look.css", "text/css"), ("draw.css", "text/css"), ("draw.js", "text/javascript")):
        answer = page.ask(f"/{name}")
        assert (answer.status, answer.headers["content-type"].partition(";")[0]) == (200, kind)
    picture = page.ask("/picture.jpg")
    assert (picture.headers["content-type"], picture.body[:3]) == ("image/jpeg", b"\xff\xd8\xff")
    start = page.ask("/start").json
    assert (start["name"], start["sheet"], start["new"]) == ("SB_0001.dng", "front.set.toml", False)
    assert start["page"].encode() in html.body


def test_zones_are_measured_saved_and_done_with(page: Page) -> None:
    answer = page.measure()
    assert answer.status == 200
    assert [line["what"] for line in answer.json["lines"]] == ["clipped", "blur", "cast", "level"]
    assert answer.json["area"] == pytest.approx(16.0, abs=0.5)
    assert page.ask("/found").json["found"][0]["what"] == "burnt"
    saved = page.save(*map(told, page.seen()), ZONE | {"name": "cap", "role": "sharp"})
    assert (saved.status, saved.json["said"]) == (200, "2 zones saved in front.set.toml")
    assert [zone.name for zone in read_sheet(page.sheet).zones] == ["label", "cap"]
    assert not page.done.is_set()
    assert page.ask.post("/done", {}).json == {"said": "2 zones saved in front.set.toml"}
    assert page.done.wait(WAIT_S)


def test_done_without_saving_says_so(page: Page) -> None:
    assert page.ask.post("/done", {}).json == {"said": NOTHING}
    assert page.sheet.read_text() == SHEET


def test_what_cannot_be_saved_is_told_and_nothing_is_written(page: Page) -> None:
    answer = page.save(ZONE | {"was": "label"}, ZONE)
    assert answer.status == 409
    assert 'zone "label"' in answer.json["said"]
    assert page.sheet.read_text() == SHEET
    assert page.save(ZONE | {"was": "gone"}).status == 409


BY_HAND = '\n[[zone]]\nname = "by hand"\nrole = "sharp"\nbox = [0.0, 0.0, 0.1, 0.1]\n'


def test_a_zone_that_was_typed_meanwhile_stays_through_every_later_save(page: Page) -> None:
    """Whether the page takes it up or not."""
    seen = page.seen()
    page.sheet.write_text(SHEET + BY_HAND)
    label, cap = told(seen[0]), ZONE | {"name": "cap"}
    first = page.save(label, cap, seen=seen).json["zones"]
    assert page.names() == ["label", "by hand", "cap"]
    page.save(*map(told, first), ZONE | {"name": "neck"}, seen=first)
    assert page.names() == ["label", "by hand", "cap", "neck"]
    own = [zone for zone in first if zone["name"] != "by hand"]  # as a page that saw only what it saved
    page.save(*map(told, own), ZONE | {"name": "foot"}, seen=own)
    assert page.names() == ["label", "by hand", "cap", "neck", "foot"]


def test_two_pages_of_one_sheet_take_nothing_from_each_other(page: Page) -> None:
    one = other = page.seen()
    one = page.save(*map(told, one), ZONE | {"name": "cap"}, seen=one).json["zones"]
    other = page.save(*map(told, other), ZONE | {"name": "neck"}, seen=other).json["zones"]
    assert page.names() == ["label", "cap", "neck"]
    moved = told(one[1]) | {"box": [0.1, 0.1, 0.2, 0.2]}
    one = page.save(told(one[0]), moved, seen=one).json["zones"]
    assert page.names() == ["label", "cap", "neck"]
    stale = told(other[1]) | {"box": [0.3, 0.3, 0.2, 0.2]}
    refused = page.save(told(other[0]), stale, told(other[2]), seen=other)
    assert (refused.status, refused.json["said"]) == (
        409,
        'zone "cap" was changed in the sheet meanwhile; nothing was saved',
    )
    page.save(told(one[0]), seen=one)  # what is taken out on purpose goes
    assert page.names() == ["label"]


def test_a_save_whose_answer_was_lost_is_sent_again(page: Page) -> None:
    seen = page.seen()
    zones = [told(seen[0]) | {"name": "front", "box": [0.1, 0.1, 0.2, 0.2]}, ZONE | {"name": "cap"}]
    first = page.save(*zones, seen=seen)
    text = page.sheet.read_text()
    again = page.save(*zones, seen=seen)
    assert (again.status, again.json) == (200, first.json)
    assert page.sheet.read_text() == text
    more = page.save(*zones, ZONE | {"name": "neck"}, seen=seen)
    assert more.status == 200
    assert page.names() == ["front", "cap", "neck"]
    clash = page.save(*zones, ZONE | {"name": "neck", "role": "sharp"}, seen=seen)
    assert clash.json["said"] == 'zone "neck" was added to the sheet meanwhile; nothing was saved'


def test_a_zone_is_not_taken_out_with_limits_that_the_page_never_saw(page: Page) -> None:
    seen = page.seen()
    typed = SHEET + '[zone.limits."highlights.unintended_area"]\nwarn = 0.4\n'
    page.sheet.write_text(typed)
    answer = page.save(seen=seen)
    assert (answer.status, answer.json["said"]) == (
        409,
        'zone "label" was changed in the sheet meanwhile; nothing was saved',
    )
    assert page.sheet.read_text() == typed
    assert page.save().status == 200
    assert page.names() == []


def test_it_begins_with_what_is_in_the_sheet_now_or_says_why_not(page: Page) -> None:
    page.sheet.write_text(SHEET + BY_HAND)
    assert [zone["name"] for zone in page.seen()] == ["label", "by hand"]
    page.sheet.write_text(SHEET + "[[zone]]\n")
    answer = page.ask("/start")
    assert answer.status == 409
    assert list(answer.json) == ["said"]
    assert "name" in answer.json["said"]


@pytest.mark.parametrize(("tabs", "statuses"), [(("one", "one"), [200, 409]), (("one", "other"), [200, 200])])
def test_a_newer_question_overtakes_one_of_the_same_tab_and_is_told_so(
    page: Page, tabs: tuple[str, str], statuses: list[int]
) -> None:
    page.ask("/found")  # nothing else is being done in the thread
    free = threading.Event()
    page.session._thread.submit(free.wait)
    answers: list[Answer] = []
    asking = [threading.Thread(target=lambda tab=tab: answers.append(page.measure(tab=tab))) for tab in tabs]
    asking[0].start()
    while page.session._questions.waiting < 1:
        asking[0].join(0.01)
    asking[1].start()
    while page.session._questions.waiting < len(set(tabs)) or (len(set(tabs)) == 1 and not answers):
        asking[1].join(0.01)
    free.set()
    for one in asking:
        one.join(WAIT_S)
    assert sorted(answer.status for answer in answers) == statuses


@pytest.mark.parametrize(
    "zone",
    [
        {"box": [0.5, 0.5, 0.4]},
        {"box": [0.5, 0.5, 0.4, "0.4"]},
        {"box": [0.5, 0.5, 0.4, 1.5]},
        {"box": [-0.1, 0.5, 0.4, 0.4]},
        {"box": [0.5, 0.5, 0.4, float("nan")]},
        {"box": [0.5, 0.5, 0.4, float("inf")]},
        {"box": None},
        {"points": [[0.1, 0.1], [0.2, 0.1], [0.2, 0.2]]},
        {"box": None, "points": [[0.1, 0.1], [0.2, 0.1]]},
        {"box": None, "points": [[0.1, 0.1, 0.1], [0.2, 0.1], [0.2, 0.2]]},
        {"box": None, "points": [[0.5, 0.5]] * (MOST_CORNERS + 1)},
        {"role": "protct"},
        {"role": None},
        {"name": None},
        {"name": "x" * (LONGEST + 1)},
        {"name": ["label"]},
        {"budget": -1},
        {"budget": True},
        {"lightness": float("nan")},
        {"colour": "red"},
    ],
)
def test_a_zone_that_is_none_is_refused(page: Page, zone: dict[str, Any]) -> None:
    for answer in (page.measure(**zone), page.save(ZONE | zone, seen=[])):
        assert answer.status == 400
        assert list(answer.json) == ["said"]
        assert answer.json["said"]
    assert page.sheet.read_text() == SHEET


@pytest.mark.parametrize(
    ("path", "body"),
    [
        ("/measure", b""),
        ("/measure", b"[]"),
        ("/measure", b"{"),
        ("/measure", b"\xff\xfe"),
        ("/measure", b"{}"),
        ("/measure", json.dumps({"zone": ZONE, "path": "/etc/passwd"}).encode()),
        ("/measure", json.dumps({"zone": ZONE, "rest": "yes"}).encode()),
        ("/measure", b"[" * 100_000),
        ("/save", json.dumps({"zones": ZONE, "seen": []}).encode()),
        ("/save", json.dumps({"zones": [ZONE]}).encode()),
        ("/save", json.dumps({"zones": [ZONE] * (MOST_ZONES + 1), "seen": []}).encode()),
        ("/save", json.dumps({"zones": [], "seen": [ZONE | {"limits": 3}]}).encode()),
        ("/measure", json.dumps({"zone": ZONE, "tab": "x" * 41}).encode()),
        ("/done", b'{"all": true}'),
        ("/done", b"nothing"),
    ],
)
def test_a_body_that_is_none_of_ours_is_refused(page: Page, path: str, body: bytes) -> None:
    answer = page.ask(path, "POST", body=body)
    assert (answer.status, list(answer.json)) == (400, ["said"])
    assert not page.done.is_set()


def test_a_body_that_is_too_long_is_refused(page: Page) -> None:
    assert page.ask("/save", "POST", body=b" " * (MOST_BODY + 1)).status == 413


@pytest.mark.parametrize(("path", "method"), [("/start", "POST"), ("/measure", "GET"), ("/save", "GET")])
def test_each_path_has_its_method(page: Page, path: str, method: str) -> None:
    assert page.ask(path, method).status == 405


def test_nothing_else_is_offered(page: Page) -> None:
    for path in ("/bottles/SB_0001.dng", "/draw.html.j2", "/front.set.toml", "/page/draw.js"):
        assert page.ask(path).status == 404


def test_every_answer_is_kept_nowhere(page: Page) -> None:
    for path in ("/", "/start", "/picture.jpg", "/draw.js", "/found"):
        assert page.ask(path).headers["cache-control"] == "no-store"
    assert page.measure().headers["cache-control"] == "no-store"
    assert page.measure(role="none").headers["cache-control"] == "no-store"
    assert page.save(ZONE).headers["cache-control"] == "no-store"


def test_a_zone_name_of_any_signs_comes_back_as_it_was_typed(page: Page) -> None:
    name = '<b onload="x">"\\ \u202e\n'
    answer = page.save(ZONE | {"name": name})
    assert answer.json["zones"][0]["name"] == name
    assert read_sheet(page.sheet).zones[0].name == name


def test_half_a_character_is_no_name(page: Page) -> None:
    body = json.dumps({"zones": [ZONE | {"name": "\ud800"}], "seen": []}).encode()
    assert page.ask("/save", "POST", body=body).status in (400, 409)
    assert page.sheet.read_text() == SHEET
