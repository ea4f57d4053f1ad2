from __future__ import annotations

import os
import re
import threading
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from qc.log.keys import pair_known_as
from qc.log.log import Log
from qc.log.rows import Captured
from qc.pages.assets import kind_of, look
from qc.pages.follow.details import FRAMES, Details, details_of
from qc.pages.guard import HEADERS
from qc.reading import Finding, Level, Reading, Unit
from qc.result import Verdict
from qc.series.entry import Standing
from tests.show.report.made import all_specs, burnt, captured, cause, digest, logged, soft, truncated

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Route

KEY = "abcdef01"
HOSTILE = '"><script>alert(1)</script><b x="{{7*7}}.dng'


def content(number: int) -> str:
    return f"blake2b:{number:064x}"


def details(out: Path, number: int, standing: Standing | None = None, **how: object) -> Details:
    return details_of(out, content(number), key=KEY, specs=all_specs(), standing=standing, **how)  # type: ignore[arg-type]  # levels only


def words(made: Details) -> str:
    """Return what stands on the page, without markup."""
    return " ".join(re.sub(r"<[^>]*>", " ", made.html.decode()).split())


def links(made: Details) -> set[str]:
    return set(re.findall(r'(?:src|href)="([^"]*)"', made.html.decode()))


@pytest.fixture(scope="module")
def out(tmp_path_factory: pytest.TempPathFactory) -> Path:
    captures: list[Captured] = [
        captured(1, HOSTILE),
        captured(2, causes=[burnt(0.4), soft(2.0)], area=0.4),
        captured(3, headroom=None),
        truncated(4),
        captured(5),
    ]
    return logged(tmp_path_factory.mktemp("details") / "bottles.qc", captures)


def test_every_cause_stands_there_with_its_level_and_its_limit(out: Path) -> None:
    said = words(details(out, 2))
    assert "halt burnt 0.40 %" in said
    assert "warn label blur 2.00 px over the limit" in said


def test_what_the_day_makes_of_it_goes_before_its_own_verdict(out: Path) -> None:
    changed = replace(cause(Level.WARN, "aperture f/11 to f/8", "settings_changed"), limit=None)
    standing = Standing(content=content(5), level=Level.WARN, causes=(changed,))
    assert "SB_0005.dng warn" in words(details(out, 5, standing))
    assert "aperture f/11 to f/8" in words(details(out, 5, standing))
    assert "SB_0005.dng clear" in words(details(out, 5))


def test_every_picture_that_is_shown_is_there_and_no_other(out: Path) -> None:
    made = details(out, 2)
    assert {link.removeprefix(f"/details/{KEY}/") for link in links(made)} == set(made.files)
    assert all(re.fullmatch(r"[a-z0-9._]+", name) for name in made.files)
    assert {kind_of(name) for name in made.files} == {"image/jpeg", "image/png", "image/svg+xml"}


def test_every_map_has_a_bar_with_its_unit(out: Path) -> None:
    html = details(out, 2).html.decode()
    assert html.count('class="bar"') == 2  # blur, and its direction
    assert f'src="/details/{KEY}/bar.high.png"' in html
    assert "px; where the grey picture shows, nothing could be read" in html


def test_the_zones_of_its_sheet_are_drawn(out: Path) -> None:
    made = details(out, 2)
    zones = next(data for name, data in made.files.items() if name.startswith("zones."))
    assert b">label<" in zones


def test_each_quantity_has_a_line_with_the_number_of_this_frame(out: Path) -> None:
    made = details(out, 2)
    said = words(made)
    assert made.html.count(b'<svg class="curve"') == 4
    for text in (
        "Headroom 0.52 stops",
        "Unintended clipping 0.40 % of cells",
        "Blur in the worst sharp zone 0.80 px in label",
        "Level of light −2.00 stops",
        "Over the last 5 frames of this set",
    ):
        assert text in said


def test_a_frame_without_a_number_says_why(out: Path) -> None:
    assert "Headroom no number: nothing is left unclipped" in words(details(out, 3))


def test_points_have_the_level_of_the_day_where_it_is_known(out: Path) -> None:
    red = 'fill="#d55e00"'  # vermillion, of halt
    assert details(out, 5).html.decode().count(red) == 4  # frame 2 on each line; frame 4 has no number
    answered = details(out, 5, levels={content(2): Level.CLEAR})
    assert answered.html.decode().count(red) == 0


def test_every_reading_stands_there_in_words(out: Path) -> None:
    said = words(details(out, 3))
    assert "blur 0.80 px ±0.10" in said
    assert "nothing is left unclipped" in said


def test_a_file_that_was_not_whole_says_that_there_is_no_picture(out: Path) -> None:
    made = details(out, 4)
    assert "There is no picture of this file." in words(made)
    assert "truncated: half of it is missing" in words(made)
    assert made.files == {}


def test_no_name_becomes_an_element_and_no_style_or_script_is_there(out: Path) -> None:
    for number in (1, 2):
        html = details(out, number).html.decode()
        assert "<script" not in html
        assert not re.search(r"<[^>]*\sstyle=", html)
        assert not re.search(r"<[^>]*\son\w+=", html)
        assert "<b x=" not in html
    assert "{{7*7}}" in words(details(out, 1))


def test_a_name_that_is_not_text_is_shown_as_it_is(tmp_path: Path) -> None:
    name = os.fsdecode(b"SB_\xff.dng")
    where = logged(tmp_path / "bottles.qc", [captured(1, name)])
    assert r"SB_\xff.dng" in words(details(where, 1))


def test_without_a_log_one_sentence_says_so(tmp_path: Path) -> None:
    assert words(details(tmp_path / "none.qc", 1)) == "There is nothing to show yet: there is no log here."
    (tmp_path / "no.qc").mkdir()
    (tmp_path / "no.qc" / "log.sqlite3").write_bytes(b"no database at all, but long enough to be looked at")
    said = words(details(tmp_path / "no.qc", 1))
    assert said.startswith("There is nothing to show yet: ")
    assert said.count(".") == 1


def test_a_frame_that_is_not_logged_yet_is_said_to_be_so(out: Path) -> None:
    made = details(out, 77)
    assert words(made) == "This frame is not in the log yet."
    assert made.files == {}


@pytest.mark.parametrize(("damage", "why"), [("remove", "it was not kept"), ("spoil", "not a digest")])
def test_without_its_digest_the_numbers_are_there_all_the_same(tmp_path: Path, damage: str, why: str) -> None:
    where = logged(tmp_path / "bottles.qc", [captured(1)])
    for path in (where / "digests").rglob("*.digest"):
        path.unlink() if damage == "remove" else path.write_bytes(b"something else")
    said = words(details(where, 1))
    assert f"Its picture cannot be shown: {why}." in said
    assert "Headroom 0.51 stops" in said


def test_a_sheet_that_cannot_be_read_any_more_takes_the_zones_only(tmp_path: Path) -> None:
    one = replace(captured(1), sheet_text='[set]\nname = 7\n[[zone]]\nbox = "x"\n')
    made = details(logged(tmp_path / "bottles.qc", [one]), 1)
    assert "Its zones are not drawn" in words(made)
    assert "picture.jpg" in made.files
    assert not any(name.startswith("zones.") for name in made.files)


def test_a_dark_frame_has_the_maps_and_numbers_of_its_test(tmp_path: Path) -> None:
    where = logged(tmp_path / "bottles.qc", [captured(1), captured(2)])
    stops = Reading(name="ambient.stops_under", unit=Unit.STOPS, value=5.1, plus_minus=0.1)
    test = replace(
        captured(1).result,
        schema="qc.ambient/1",
        readings=(stops,),
        findings=(Finding(code="advice", text="switch off the lamp at its own control"),),
        digest=digest(9),
        verdict=Verdict(level=Level.CLEAR),
    )
    with Log.open(where) as log:
        log.add_ambient(test, dark=content(2), lit=content(1), limits="blake2b:22")
        assert log.digest(pair_known_as(content(2), content(1))) is not None
    made = details(where, 2)
    assert "Ambient test against SB_0001.dng" in words(made)
    assert "5.1 stops under" in words(made)
    assert "switch off the lamp" in words(made)
    assert "test.jpg" in made.files
    hidden = details(where, 2, may_show=lambda other: other != content(1))
    assert "the file of the lit frame lies outside the watched folder" in words(hidden)
    assert not any(name.startswith("test.") for name in hidden.files)
    assert "5.1 stops under" in words(hidden)


def test_of_a_long_day_the_last_frames_are_drawn(tmp_path: Path) -> None:
    where = logged(tmp_path / "bottles.qc", [captured(n) for n in range(1, FRAMES + 11)])
    html = details(where, FRAMES + 10).html.decode()
    line = html.partition('<svg class="curve"')[2].partition("</svg>")[0]
    assert line.count("<title>") == FRAMES
    assert "SB_0011.dng" in html
    assert "SB_0010.dng" not in html


def test_it_can_be_read_in_any_thread_while_the_watch_adds(tmp_path: Path) -> None:
    where = logged(tmp_path / "bottles.qc", [captured(1)])
    failed: list[BaseException] = []

    def look_at_it() -> None:
        try:
            for _ in range(5):
                assert "SB_0001.dng" in words(details(where, 1))
        except BaseException as error:  # noqa: BLE001 - told to the test, which fails by it
            failed.append(error)

    threads = [threading.Thread(target=look_at_it) for _ in range(3)]
    with Log.open(where) as log:
        for thread in threads:
            thread.start()
        for number in range(2, 12):
            log.add(captured(number))
        for thread in threads:
            thread.join(60)
    assert failed == []


def test_nothing_of_the_output_folder_is_changed(out: Path) -> None:
    def state(folder: Path) -> dict[str, tuple[int, int]]:
        kept = (p for p in folder.rglob("*") if not p.name.endswith(("-wal", "-shm")))
        return {str(p): (p.stat().st_mtime_ns, p.stat().st_size) for p in kept if p.is_file()}

    before = state(out)
    details(out, 2)
    assert state(out) == before


@pytest.mark.parametrize("wide", [2560, 1280, 400])
def test_in_a_browser_it_is_drawn_under_the_policy_of_the_page(out: Path, browser: Browser, wide: int) -> None:
    made = details(out, 2)
    said: list[str] = []
    page = browser.new_page(viewport={"width": wide, "height": 900})
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.route("**/*", lambda route: _serve(route, made))
    page.goto("http://127.0.0.1/")
    page.evaluate(_INSERT)
    page.wait_for_load_state("networkidle")
    try:
        assert page.evaluate("[...document.images].every(one => one.complete && one.naturalWidth > 0)")
        assert page.evaluate("document.documentElement.scrollWidth") <= wide
        assert page.evaluate(_SMALLEST) >= 15
        assert said == []
    finally:
        page.close()


_INSERT = """async () => {
  const text = await (await fetch("/fragment")).text();
  const parsed = new DOMParser().parseFromString(text, "text/html");
  document.querySelector(".details").replaceChildren(...parsed.body.childNodes);
}"""

_SMALLEST = """() => Math.min(...[...document.querySelectorAll(".details *")]
  .filter(one => [...one.childNodes].some(node => node.nodeType === 3 && node.textContent.trim()))
  .filter(one => !one.closest("svg, .unseen"))
  .map(one => parseFloat(getComputedStyle(one).fontSize)))"""


def _serve(route: Route, made: Details) -> None:
    name = route.request.url.rpartition("/")[2]
    page = b"""<!doctype html><html lang="en"><head><meta charset="utf-8"><title>frame</title>
<link rel="icon" href="/bar.high.png"><link rel="stylesheet" href="/look.css">
<link rel="stylesheet" href="/details.css"></head><body><article class="details"></article></body></html>"""
    css = Path(__file__).parents[3] / "qc" / "pages" / "follow" / "page" / "details.css"
    texts = {"": page, "fragment": made.html}
    files = {**made.files, "look.css": look(), "details.css": css.read_bytes()}
    body = texts.get(name) or files[name]
    kind = "text/html; charset=utf-8" if name in texts else kind_of(name)
    route.fulfill(body=body, headers={**HEADERS, "content-type": kind})
