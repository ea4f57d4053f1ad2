from __future__ import annotations

import shutil
from pathlib import Path

from tests.cli.conftest import Run
from tests.intake.logged import Day
from tests.show.report.made import burnt, captured, logged


def test_a_report_is_made_from_the_output_folder_or_the_watched_one(run: Run, tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles")
    day.shoot("SB_0001.dng")
    day.shoot("SB_0002.dng")
    index = day.out / "report" / "index.html"
    for folder in (day.out, day.folder):
        shutil.rmtree(day.out / "report", ignore_errors=True)
        done = run("report", folder)
        said = f"2 frames, 0 at halt, 0 at warn; the report is {index}\n"
        assert (done.exit_code, done.stdout, done.stderr) == (0, said, "")
        assert "SB_0002.dng" in index.read_text("utf-8")
    shutil.rmtree(day.folder)
    assert run("report", day.out).exit_code == 0, "captures are not needed"


def test_an_output_folder_of_any_name_will_do(run: Run, tmp_path: Path) -> None:
    out = logged(tmp_path / "wrapped", [captured(1)])
    assert run("report", out).exit_code == 0
    assert (out / "report" / "index.html").is_file()


def test_a_frame_at_halt_gives_status_1(run: Run, tmp_path: Path) -> None:
    out = logged(tmp_path / "bottles.qc", [captured(1), captured(2, causes=[burnt(0.4)], area=0.4)])
    done = run("report", out)
    assert done.exit_code == 1
    assert done.stdout.startswith("2 frames, 1 at halt, 0 at warn; ")


def test_without_a_log_there_is_one_line_and_status_2(run: Run, tmp_path: Path) -> None:
    done = run("report", tmp_path / "bottles.qc")
    assert (done.exit_code, done.stdout) == (2, "")
    (line,) = done.stderr.splitlines()
    assert "no log" in line
    assert not (tmp_path / "bottles.qc").exists()
