"""Whatever a file is called, every output shows it, and those that programs read give its bytes back."""

from __future__ import annotations

import csv
import html.parser
import json
import os
import subprocess
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from shutil import which

import pytest

from qc.measure import specs
from qc.show.handoff import write_handoff
from qc.show.handoff.cells import plain
from qc.show.text import clean
from tests.show.handoff.days import SHEETS, burnt, day

NAMES = {
    "hash and percent": b"SB#1 %20 100%.dng",
    "quotes": b"SB \"one\" 'two' `three` ``four``.dng",
    "markup": b"<b>SB<i> &amp; *x* _y_ [z](w) ~~v~~ {{ 1 }} {% if %}.dng",
    "not UTF-8": b"SB_\xff\xfe_\x80.dng",
    "200 characters": b"SB_" * 65 + b"1.dng",
    "254 bytes": "ä".encode() * 125 + b".dng",
    "line breaks": b"SB\n1\r2\t3.dng",
    "backslashes": b"SB\\n\\1.dng",
    "formula": b"=1+1.dng",
    "another formula": b"@SUM(A1).dng",
    "minus": b"-1.dng",
    "commas": b"SB,1;2.dng",
    "spaces": b" SB  1 .dng",
    "other scripts": "瓶_бутылка_🍶.dng".encode(),
    "ticks at the ends": b"`SB`",
}


class Text(html.parser.HTMLParser):
    """The text of a page, its elements, and what stands in code spans."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.text, self.tags, self.code = "", set[str](), list[str]()
        self._in_code = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:  # noqa: ARG002 - the parser's
        self.tags.add(tag)
        if tag == "code":
            self.code.append("")
            self._in_code = True

    def handle_endtag(self, tag: str) -> None:
        self._in_code &= tag != "code"

    def handle_data(self, data: str) -> None:
        self.text += data
        if self._in_code:
            self.code[-1] += data


@pytest.fixture(params=list(NAMES.values()), ids=list(NAMES))
def name(request: pytest.FixtureRequest) -> str:
    return os.fsdecode(request.param)


@pytest.fixture
def written(name: str, tmp_path: Path) -> dict[str, Path]:
    """The hand-off of a day with one capture of that name, which lies in a folder as logged."""
    place = tmp_path / "bottles" / name
    place.parent.mkdir()
    place.write_bytes(b"stoneware")
    one = burnt(1, 0.31, name)
    file = replace(one.result.file, path=str(place), sha256=sha256(b"stoneware").hexdigest())
    one = replace(one, result=replace(one.result, file=file))
    paths = write_handoff(day(one), tmp_path / "report", sheets=SHEETS, specs=specs())
    return {path.name: path for path in paths}


def test_frames_jsonl_gives_the_name_back_byte_for_byte(written: dict[str, Path], name: str) -> None:
    (line,) = written["frames.jsonl"].read_text("utf-8").split("\n")[:-1]
    said = json.loads(line)
    assert os.fsencode(said["file"]["name"]) == os.fsencode(name)
    assert (said["schema"], said["standing"]["level"]) == ("qc.capture/1", "halt")


def test_frames_csv_shows_the_name_on_its_row(written: dict[str, Path], name: str) -> None:
    data = written["frames.csv"].read_bytes()
    assert data.count(b"\r\n") == data.count(b"\n") == 2
    with written["frames.csv"].open(encoding="utf-8-sig", newline="") as file:
        head, row = csv.reader(file)
    assert (row[head.index("name")], len(row)) == (plain(name), len(head))
    assert row[0].removeprefix("'") == clean(name)
    assert not row[0].startswith(("=", "+", "-", "@"))


def test_counts_csv_shows_the_name(written: dict[str, Path], name: str) -> None:
    with written["counts.csv"].open(encoding="utf-8-sig", newline="") as file:
        (row,) = csv.DictReader(file)
    assert (row["first"], row["last"], row["captures"]) == (plain(name), plain(name), "1")


def test_photographer_html_shows_the_name_and_takes_nothing_of_it_for_markup(
    written: dict[str, Path], name: str
) -> None:
    page = Text(written["photographer.html"].read_text("utf-8"))
    assert f"{clean(name)} 09:00" in page.text
    assert {"section", "h1", "h2", "li"} <= page.tags
    assert "i" not in page.tags


def test_retouch_md_shows_the_name_and_takes_nothing_of_it_for_markup(written: dict[str, Path], name: str) -> None:
    markdown = pytest.importorskip("markdown_it", reason="no independent reader of CommonMark is installed")
    page = Text(markdown.MarkdownIt("commonmark").render(written["retouch.md"].read_text("utf-8")))
    assert page.code == [clean(name)]
    assert page.tags == {"h1", "h2", "h3", "p", "ul", "li", "strong", "code"}


@pytest.mark.skipif(which("sha256sum") is None, reason="GNU coreutils' sha256sum is not installed")
def test_sha256sums_txt_is_checked_by_the_ordinary_tool(written: dict[str, Path], tmp_path: Path) -> None:
    command = ["sha256sum", "-c", "--strict", "--status", str(written["sha256sums.txt"])]
    assert subprocess.run(command, cwd=tmp_path / "bottles", check=False).returncode == 0
