from __future__ import annotations

from pathlib import Path

import pytest

from qc.intake.place import announce
from tests.cli.conftest import Run
from tests.intake.logged import Day


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    day = Day(tmp_path / "bottles")
    day.shoot("SB_0001.dng")
    day.shoot("SB_0002.dng")
    return day


def test_one_word_is_the_role_of_the_last_capture(run: Run, day: Day) -> None:
    done = run("role", "dark", "--folder", day.folder)
    assert (done.exit_code, done.stdout, done.stderr) == (0, "role: SB_0002.dng is a dark frame\n", "")
    (event,) = day.events("role")
    assert event.data["purpose"] == "dark"


def test_two_words_are_the_capture_and_its_role(run: Run, day: Day) -> None:
    for capture in ("SB_0001.dng", day.folder / "SB_0001.dng"):
        done = run("role", capture, "clean-plate", "--folder", day.folder)
        assert (done.exit_code, done.stdout) == (0, "role: SB_0001.dng is a clean plate\n")


def test_the_folder_is_that_of_the_capture_the_current_one_or_the_running_watchs(
    run: Run, day: Day, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    said = (0, "role: SB_0001.dng is left out\n")
    done = run("role", day.folder / "SB_0001.dng", "leave-out")
    assert (done.exit_code, done.stdout) == said
    with announce(day.folder, day.out):
        done = run("role", "SB_0001.dng", "leave-out")
        assert (done.exit_code, done.stdout) == said
    monkeypatch.chdir(day.folder)
    done = run("role", "SB_0001.dng", "leave-out")
    assert (done.exit_code, done.stdout) == said
    done = run("role", "SB_0001.dng", "leave-out", "--folder", tmp_path / "elsewhere", "--out", day.out)
    assert (done.exit_code, done.stdout) == said


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("drak",), "did you mean"),
        (("SB_0001.dng",), "no role is called"),
        (("SB_0009.dng", "dark"), "SB_0009.dng: not in the log"),
        (("SB_0001.dng", "dark", "patch"), "one capture and one role at a time"),
    ],
)
def test_wrong_use_is_one_line_on_stderr(
    run: Run, day: Day, monkeypatch: pytest.MonkeyPatch, words: tuple[str, ...], said: str
) -> None:
    monkeypatch.chdir(day.folder)
    done = run("role", *words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert day.events("role") == []


def test_without_a_log_anywhere_it_asks_for_the_folder(run: Run, day: Day) -> None:
    del day
    done = run("role", "dark")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == ("no watch is running and there is no log here: name the watched folder with --folder\n")


def test_help_names_every_role_and_the_optional_capture_within_80_columns(run: Run) -> None:
    from qc.series.entry import Purpose

    text = run("role", "--help").stdout
    assert "role [OPTIONS] [CAPTURE] ROLE\n" in text
    for purpose in Purpose:
        assert f"    {purpose} " in text
    assert max(map(len, text.splitlines())) <= 80
