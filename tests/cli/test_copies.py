from __future__ import annotations

import os
import shutil
from pathlib import Path

import pytest

from tests.cli.conftest import Run, subprocess_of
from tests.intake.logged import Day


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    day = Day(tmp_path / "bottles")
    for number in (1, 2, 3):
        day.shoot(f"SB_{number:04}.dng", seed=number)
    shutil.copytree(day.folder, tmp_path / "second")
    return day


def test_a_good_copy_is_one_line_and_status_0(run: Run, day: Day, tmp_path: Path) -> None:
    done = run("copies", day.folder, tmp_path / "second")
    assert (done.exit_code, done.stdout) == (0, "3 files equal; 0.0 GB read\n")
    assert done.stderr == f"{tmp_path}/second lies on the same disk as the captures\n"
    assert run("copies", day.out, tmp_path / "second").stdout == done.stdout


def test_what_is_wrong_stands_on_a_line_each_and_gives_status_1(run: Run, day: Day, tmp_path: Path) -> None:
    second = tmp_path / "second"
    (second / "SB_0001.dng").unlink()
    data = bytearray((second / "SB_0002.dng").read_bytes())
    data[-1] ^= 1
    (second / "SB_0002.dng").write_bytes(data)
    (second / "SB_0042.dng").write_bytes(b"of another day")
    done = run("copies", day.folder, second)
    assert done.exit_code == 1
    assert done.stdout.splitlines() == [
        "missing   SB_0001.dng",
        "differs   SB_0002.dng: other bytes than when it was logged",
        "extra     1 file that the log does not know: SB_0042.dng",
        "1 file equal, 1 missing, 1 differing; 0.0 GB read",
    ]


def test_a_folder_too_high_up_is_told_once(run: Run, day: Day, tmp_path: Path) -> None:
    (tmp_path / "drive").mkdir()
    (tmp_path / "second").rename(tmp_path / "drive" / "bottles")
    done = run("copies", day.folder, tmp_path / "drive")
    assert done.exit_code == 0
    assert done.stdout.splitlines() == [
        "all of it lies under bottles: compare with that folder",
        "no files equal, 3 under another name; 0.0 GB read",
    ]


def test_what_is_only_counted_is_named_when_asked_for(run: Run, day: Day, tmp_path: Path) -> None:
    for number in range(50, 55):
        (tmp_path / "second" / f"SB_{number:04}.dng").write_bytes(bytes([number]))
    said = run("copies", day.folder, tmp_path / "second").stdout
    assert "5 files that the log does not know: SB_0050.dng, SB_0051.dng, SB_0052.dng and 2 more\n" in said
    assert "extra     SB_0054.dng\n" in run("copies", day.folder, tmp_path / "second", "-v").stdout


def test_the_captures_themselves_are_no_copy(run: Run, day: Day) -> None:
    done = run("copies", day.folder, day.folder)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "this is the folder of the captures itself; name its copy\n" in done.stderr


@pytest.mark.parametrize("words", [("bottles", "nowhere"), ("nowhere", "second")])
def test_wrong_use_is_one_line_on_stderr_and_status_2(
    run: Run, day: Day, tmp_path: Path, words: tuple[str, str]
) -> None:
    del day
    done = run("copies", *(tmp_path / word for word in words))
    assert (done.exit_code, done.stdout) == (2, "")
    assert "nowhere" in done.stderr
    assert done.stderr.count("\n") == 1


def test_a_log_without_captures_has_nothing_to_compare_with(run: Run, tmp_path: Path) -> None:
    from qc.log.log import Log

    Log.open(tmp_path / "bottles.qc").close()
    (tmp_path / "second").mkdir()
    done = run("copies", tmp_path / "bottles", tmp_path / "second")
    assert (done.exit_code, done.stderr) == (2, f"{tmp_path}/bottles.qc: the log holds no captures\n")


def test_odd_names_are_printed_on_one_line(day: Day, tmp_path: Path) -> None:
    odd = os.fsdecode(b"\xff <b>\n.dng")
    (tmp_path / "second" / odd).write_bytes(b"extra")
    process = subprocess_of("copies", str(day.folder), str(tmp_path / "second"))
    out, err = process.communicate(timeout=60)
    assert (process.returncode, err.count(b"\n")) == (0, 1)
    assert out.splitlines()[0] == rb"extra     1 file that the log does not know: \xff <b>\n.dng"


def test_progress_is_told_on_stderr(day: Day, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, run: Run) -> None:
    monkeypatch.setattr("qc_cli.copies.EVERY_S", {True: 0.0, False: 0.0})
    done = run("copies", day.folder, tmp_path / "second")
    assert "3 of 3 files, 0.0 of 0.0 GB" in done.stderr
    assert done.stdout == "3 files equal; 0.0 GB read\n"
