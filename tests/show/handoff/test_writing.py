"""The hand-off lands whole, never among the captures, and replaces what was there in one step a file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from qc.day import Day
from qc.errors import UsageError
from qc.measure import specs
from qc.show.handoff import write_handoff
from qc.show.handoff.writing import write_files
from tests.show.handoff.days import SHEETS, day, frame

FILES = ["photographer.html", "retouch.md", "frames.csv", "counts.csv", "frames.jsonl", "sha256sums.txt"]


def in_folder(root: Path) -> Day:
    one = frame(1, folder="sub/")
    file = replace(one.result.file, path=str(root / "sub" / "SB_0001.dng"))
    return day(replace(one, result=replace(one.result, file=file)))


def test_six_files_are_written_and_nothing_else(tmp_path: Path) -> None:
    report = tmp_path / "bottles.qc" / "report"
    paths = write_handoff(in_folder(tmp_path / "bottles"), report, sheets=SHEETS, specs=specs())
    assert [path.name for path in paths] == FILES
    assert sorted(path.name for path in report.iterdir()) == sorted(FILES)


def test_the_same_day_gives_the_same_bytes(tmp_path: Path) -> None:
    of = in_folder(tmp_path / "bottles")
    first = [path.read_bytes() for path in write_handoff(of, tmp_path / "a", sheets=SHEETS, specs=specs())]
    for _ in range(2):
        again = [path.read_bytes() for path in write_handoff(of, tmp_path / "b", sheets=SHEETS, specs=specs())]
        assert again == first


@pytest.mark.parametrize("below", ["", "sub", "sub/report", "report"])
def test_a_folder_among_the_captures_is_refused_and_nothing_is_made(tmp_path: Path, below: str) -> None:
    root = tmp_path / "bottles"
    (root / "sub").mkdir(parents=True)
    before = sorted(root.rglob("*"))
    with pytest.raises(UsageError, match="would lie among the captures"):
        write_handoff(in_folder(root), root / below, sheets=SHEETS, specs=specs())
    assert sorted(root.rglob("*")) == before


def test_a_day_without_captures_is_handed_on_too(tmp_path: Path) -> None:
    paths = write_handoff(Day(captures=()), tmp_path / "report", sheets={}, specs=specs())
    assert "No captures" in paths[0].read_text("utf-8")
    assert paths[5].read_bytes() == b""


def test_what_stood_there_stays_when_a_file_cannot_be_finished(tmp_path: Path) -> None:
    (tmp_path / "frames.csv").write_bytes(b"of yesterday")

    def full() -> Iterator[bytes]:
        yield b"half"
        raise OSError(28, "No space left on device")

    with pytest.raises(UsageError, match=r"frames\.csv: cannot be written: No space left on device"):
        write_files(tmp_path, {"frames.csv": full()})
    assert [(path.name, path.read_bytes()) for path in tmp_path.iterdir()] == [("frames.csv", b"of yesterday")]
