from __future__ import annotations

import os
import shutil
import weakref
from pathlib import Path
from typing import Any

import pytest

from qc.day import DayFinding
from qc.digest import Digest
from qc.errors import LogError, UsageError
from qc.log import digests
from qc.reading import Level
from qc.series.wrap import sheets_of
from qc.show.report import report_again, write_report
from qc.show.report.names import mark_of
from tests.show.report.made import all_specs, burnt, captured, day_of, logged, reported, truncated


def files(folder: Path) -> dict[str, bytes]:
    return {str(p.relative_to(folder)): p.read_bytes() for p in folder.rglob("*") if p.is_file()}


def test_a_report_is_one_folder_with_all_it_needs(tmp_path: Path) -> None:
    index = reported(tmp_path / "bottles.qc", [captured(1), truncated(2)])
    assert index == tmp_path / "bottles.qc" / "report" / "index.html"
    there = {name.partition("/")[0] for name in files(index.parent)}
    beside = {"photographer.html", "retouch.md", "frames.csv", "counts.csv", "frames.jsonl", "sha256sums.txt"}
    page = {"index.html", "report.css", "report.js", "plotly.min.js", "pictures", "frames"}
    assert there == beside | page


def test_the_same_log_gives_the_same_report(tmp_path: Path) -> None:
    out = tmp_path / "bottles.qc"
    captures = [captured(1), captured(2, causes=[burnt(0.4)], area=0.4)]
    first = files(reported(out, captures).parent)
    shutil.rmtree(out / "report")
    report_again(out)
    again = files(out / "report")
    # only `report_again` asks for the day's findings
    assert {name for name in first if first[name] != again.get(name)} <= {"index.html"}
    assert first.keys() == again.keys()


def test_what_an_earlier_report_left_goes_and_what_others_put_there_stays(tmp_path: Path) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(1)])
    index = report_again(out).index
    mark = mark_of(captured(2).content)
    old = [index.parent / "pictures" / f"{mark}.jpg", index.parent / "frames" / f"{mark}.js"]
    died, working = (index.parent / "frames" / f".{mark}.js.{pid}.part" for pid in (1, 2))
    mine = index.parent / "pictures" / "mine.jpg"
    for path in (*old, died, working, mine):
        path.write_bytes(b"1")
    os.utime(died, (0, 0))
    report_again(out)
    assert [path.exists() for path in (*old, died, working, mine)] == [False, False, False, True, True]


def test_one_digest_at_a_time_is_in_memory(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(number) for number in range(1, 21)])
    day = day_of(out)
    alive: list[int] = []
    kept: list[weakref.ref[Any]] = []
    read = digests.read

    def counted(place: Path, name: str) -> Digest | None:
        alive.append(sum(one() is not None for one in kept))
        found = read(place, name)
        if found is not None:
            kept.append(weakref.ref(found.preview))
        return found

    monkeypatch.setattr(digests, "read", counted)
    write_report(out, day=day, sheets=sheets_of(day), specs=all_specs())
    assert len(alive) == 20
    assert max(alive) <= 1


def test_lost_and_damaged_digests_are_counted_in_words_and_the_numbers_stay(tmp_path: Path) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(number) for number in range(1, 5)] + [truncated(5)])
    (out / digests.name_of(captured(2).content)).unlink()
    (out / digests.name_of(captured(3).content)).write_bytes(b"qc.digest/1\nrubbish")
    page = report_again(out).index.read_text("utf-8")
    assert "The pictures of 2 frames are lost" in page
    assert page.count('href="#frame=SB_0002.dng"') == 2, "in that sentence and in the list"
    frame = (out / "report" / "frames" / f"{mark_of(captured(3).content)}.js").read_text("ascii")
    assert "Its picture is lost: damaged digest" in frame
    assert "label" in frame


def test_captures_are_not_needed(tmp_path: Path) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(1)])
    assert not (tmp_path / "bottles").exists()
    made = report_again(out)
    assert made.index.is_file()
    assert not (tmp_path / "bottles").exists()
    assert (made.levels, made.at_halt) == ({Level.CLEAR: 1}, False)


def test_findings_of_the_day_lead_to_their_frames(tmp_path: Path) -> None:
    finding = DayFinding(
        code="missing_numbers", level=Level.WARN, text="<b>0002</b> is missing", contents=(captured(1).content,)
    )
    page = reported(tmp_path / "bottles.qc", [captured(1)], [finding]).read_text("utf-8")
    assert "&lt;b&gt;0002&lt;/b&gt; is missing" in page
    assert page.count('href="#frame=SB_0001.dng"') == 2


def test_an_output_folder_without_log_or_captures_is_refused(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="no log"):
        report_again(tmp_path / "none.qc")
    with pytest.raises(UsageError, match="no captures are logged"):
        report_again(logged(tmp_path / "empty.qc", []))


def test_a_full_disk_leaves_the_old_page(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(1)])
    index = report_again(out).index
    before = index.read_bytes()

    def full(self: Path, _data: bytes) -> int:
        raise OSError(28, os.strerror(28), str(self))

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(UsageError, match="cannot be written: No space left on device"):
        report_again(out)
    assert index.read_bytes() == before
