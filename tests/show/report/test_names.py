"""Whatever a capture is called, the page shows it, links lead to it, and nothing of the name is taken for more."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from qc.show.report.names import anchor_of, mark_of
from qc.show.text import clean
from tests.show.report.conftest import Open
from tests.show.report.made import burnt, captured, reported

NAMES = [
    b"SB#1 %20 100%.dng",
    b"SB \"one\" 'two' `three`.dng",
    b"<b>SB<i> &amp; {{ 1 }} {% if %}.dng",
    b"</script><script>alert(1)</script>.dng".replace(b"/", b"\xe2\x88\x95"),
    b"<!-- ]]> ?a=b&c=d.dng",
    b"SB_\xff\xfe.dng",
    b"SB_" * 65 + b"1.dng",
    "瓶_бутылка_ä.dng".encode(),
    b"SB\n1\t2.dng",
    b"..SB\\1.dng",
]


@pytest.fixture(scope="module")
def index(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp('names #1 %20 "q" <b>') / "bottles.qc"
    captures = [
        captured(number, os.fsdecode(name), causes=[burnt(0.3 + number / 100)])
        for number, name in enumerate(NAMES, start=1)
    ]
    return reported(out, captures)


def test_every_link_leads_to_its_frame_and_gives_its_address(index: Path, open_page: Open) -> None:
    page = open_page(index)
    for number, name in enumerate(NAMES):
        said = clean(os.fsdecode(name))
        link = page.locator("#frames tbody tr").nth(number).locator("a")
        assert link.text_content() == said
        link.click()
        mark = mark_of(f"blake2b:{number + 1:064x}")
        page.wait_for_function("mark => document.querySelector('#frame').dataset.mark === mark", arg=mark)
        assert page.locator("#frame h2").text_content() == said
        assert page.url.partition("#")[2] == anchor_of(os.fsdecode(name))
        page.keyboard.press("Escape")


@pytest.mark.parametrize("number", range(len(NAMES)))
def test_the_address_of_a_frame_opens_it(index: Path, open_page: Open, number: int) -> None:
    name = os.fsdecode(NAMES[number])
    page = open_page(index, f"#{anchor_of(name)}")
    page.wait_for_selector("#frame h2")
    assert page.locator("#frame h2").text_content() == clean(name)


def test_no_name_becomes_an_element_and_the_figures_can_be_read(index: Path, open_page: Open) -> None:
    page = open_page(index, plots=True)
    assert page.locator("b b, i b, #frames b, script:not([src]):not([type])").count() == 0
    assert page.evaluate("JSON.parse(document.querySelector('#figures').textContent).length") == 4
    assert page.locator(".sets b").inner_text() == "Stoneware <b>bottles</b>"


def test_files_for_others_are_where_the_page_says(index: Path, open_page: Open) -> None:
    page = open_page(index, plots=True)
    links = page.locator("#files a")
    names = [str(link.get_attribute("href")) for link in links.all()]
    assert "photographer.html" in names
    assert all((index.parent / name).is_file() for name in names)
    links.filter(has_text="photographer.html").click()
    page.wait_for_selector("h1")
    assert page.url.endswith("/report/photographer.html")


def test_files_are_named_by_content_in_plain_letters(index: Path) -> None:
    files = [path.name for path in index.parent.rglob("*") if path.parent != index.parent]
    assert files
    assert all(name.isascii() and set(name) <= set("0123456789abcdefghijklmnopqrstuvwxyz._") for name in files)
