"""A hand-off from a log of files on the disk: what tools and people get, captures untouched."""

from __future__ import annotations

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest

from qc.day import read_day
from qc.intake.actions import accept, give
from qc.log.log import Log
from qc.measure import specs
from qc.series.wrap import sheets_of, wrap
from qc.show.handoff import write_handoff
from tests.intake.logged import SHEET, Day


@pytest.fixture
def shot(tmp_path: Path) -> Day:
    shot = Day(tmp_path / "bottles")
    (shot.out / "bottles.set.toml").write_text(
        SHEET.replace('preset = "series"', 'preset = "series"\nneeds = ["dark"]')
    )
    shot.shoot("SB_0001.dng")
    shot.shoot("SB_0002.dng", burnt=True)
    accept(shot.out, folder=shot.folder, name="SB_0002.dng")
    shot.shoot("SB_0004.dng", burnt=True, level=0.5, seed=9)
    give(shot.out, "clean-plate", name="SB_0001.dng")
    return shot


@pytest.fixture
def texts(shot: Day) -> dict[str, str]:
    return handed_on(shot)


def handed_on(shot: Day) -> dict[str, str]:
    with Log.open(shot.out, create=False, read_only=True) as log:
        day = read_day(log, specs=specs())
    sheets = sheets_of(day)
    day = replace(day, findings=wrap(day, sheets=sheets))
    paths = write_handoff(day, shot.out / "report", sheets=sheets, specs=specs())
    return {path.name: path.read_text("utf-8") for path in paths}


def test_each_file_says_what_its_reader_asks_for(texts: dict[str, str]) -> None:
    page, retouch = texts["photographer.html"], texts["retouch.md"]
    assert "accepted at <b>SB_0002.dng</b>" in page
    assert "SB_0003 missing" in page
    assert "still needs a dark frame" in page
    assert "- Clean plate, the set without the product: `SB_0001.dng`" in retouch
    assert "**label**: burnt in every colour" in retouch
    names = [json.loads(line)["file"]["name"] for line in texts["frames.jsonl"].splitlines()]
    assert names == ["SB_0001.dng", "SB_0002.dng", "SB_0004.dng"]
    assert "SB_0003 missing: 1 frame" in texts["counts.csv"]


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="GNU coreutils' sha256sum is not installed")
def test_the_checksums_are_those_of_the_files(shot: Day, texts: dict[str, str]) -> None:
    assert texts["sha256sums.txt"].count("\n") == 3
    command = ["sha256sum", "-c", "--strict", "--quiet", str(shot.out / "report" / "sha256sums.txt")]
    assert subprocess.run(command, cwd=shot.folder, check=False).returncode == 0


def test_captures_are_not_touched_and_need_not_be_there(shot: Day) -> None:
    before = [(p.name, p.stat().st_mtime_ns, p.read_bytes()) for p in sorted(shot.folder.iterdir())]
    first = handed_on(shot)
    assert [(p.name, p.stat().st_mtime_ns, p.read_bytes()) for p in sorted(shot.folder.iterdir())] == before
    shutil.rmtree(shot.folder)
    assert handed_on(shot) == first
