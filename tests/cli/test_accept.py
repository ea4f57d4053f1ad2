from __future__ import annotations

import re
from pathlib import Path

import pytest

from qc.intake.place import announce
from qc.sheet.accepted_file import read_accepted
from tests.cli.conftest import Run, subprocess_of
from tests.intake.logged import SHEET, Day


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    """A folder with a good frame and then a burnt one, and the current folder in it."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    day = Day(tmp_path / "bottles")
    (day.out / "a.set.toml").write_text(SHEET)
    day.shoot("SB_0001.dng")
    day.shoot("SB_0002.dng", burnt=True)
    monkeypatch.chdir(day.folder)
    return day


LABEL = re.compile(
    r"accepted: label burnt up to \d+\.\d\d % \(was 0\.2\), from SB_0002\.dng; holds for it and what follows\n"
)


def test_the_first_alarm_of_the_last_capture_is_accepted_and_confirmed_in_one_line(run: Run, day: Day) -> None:
    done = run("sheet", "accept")
    assert (done.exit_code, done.stderr) == (0, "")
    assert LABEL.fullmatch(done.stdout)
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1


def test_capture_reading_and_zone_can_be_named(run: Run, day: Day, monkeypatch: pytest.MonkeyPatch) -> None:
    day.shoot("SB_0003.dng")
    monkeypatch.chdir(day.folder.parent)
    words = ("--reading", "highlights.unintended_area")
    done = run("sheet", "accept", day.folder / "SB_0002.dng", *words, "--zone", "frame")
    assert re.fullmatch(r"accepted: burnt up to .*, from SB_0002\.dng; holds for it and .*\n", done.stdout)
    done = run("sheet", "accept", "SB_0002.dng", *words, "--zone", "label", "--folder", day.folder)
    assert LABEL.fullmatch(done.stdout)
    assert [one.zone for one in read_accepted(day.out / "a.accepted.toml")] == [None, "label"]


def test_what_was_accepted_can_be_read_over_like_a_sheet(run: Run, day: Day) -> None:
    run("sheet", "accept")
    accepted = day.out / "a.accepted.toml"
    assert run("sheet", "check", accepted).stdout == f"{accepted}: good; 1 accepted\n"
    accepted.write_text(accepted.read_text().replace("value", "valeu"))
    done = run("sheet", "check", accepted, day.out / "a.set.toml")
    assert done.exit_code == 2
    assert f'{accepted}: line 7, accepted 1, valeu: unknown key; did you mean "value"?\n' in done.stderr
    assert done.stdout.startswith(f"{day.out / 'a.set.toml'}: good")


def test_undo_takes_the_last_act_back_and_then_says_that_there_is_none(run: Run, day: Day) -> None:
    run("sheet", "accept")
    run("role", "baseline")
    assert run("sheet", "undo").stdout == "undone: SB_0002.dng is the baseline\n"
    done = run("sheet", "undo")
    assert re.fullmatch(
        r"undone: label burnt up to .* % \(was 0\.2\), .*; holds for it and what follows\n", done.stdout
    )
    assert read_accepted(day.out / "a.accepted.toml") == ()
    done = run("sheet", "undo")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.endswith("nothing to undo\n")


def test_the_running_watch_is_the_one_that_is_meant(
    run: Run, day: Day, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.chdir(tmp_path)
    with announce(day.folder, day.out):
        assert LABEL.fullmatch(run("sheet", "accept").stdout)
        assert run("sheet", "undo").exit_code == 0
        with announce(tmp_path / "vases", tmp_path / "vases.qc"):
            done = run("sheet", "accept")
            assert done.exit_code == 2
            assert "2 watches are running" in done.stderr


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("SB_0001.dng",), "SB_0001.dng: no alarm that waits for an answer"),
        (("SB_0009.dng",), "SB_0009.dng: not in the log"),
        (("--reading", "highlights.unintended"), 'did you mean "highlights.unintended_area"'),
        (("--zone", "neck"), "no alarm in zone neck; its alarms: label burnt"),
        (("--folder", "/nowhere"), "there is no log here"),
    ],
)
def test_wrong_use_is_one_line_on_stderr_and_nothing_is_changed(
    run: Run, day: Day, words: tuple[str, ...], said: str
) -> None:
    done = run("sheet", "accept", *words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
    assert done.stderr.count("\n") == 1
    assert not list(day.out.glob("*.accepted.toml*"))


def test_it_works_as_a_process_of_its_own(day: Day, tmp_path: Path) -> None:
    process = subprocess_of("sheet", "accept", "--folder", str(day.folder), env={"XDG_STATE_HOME": str(tmp_path)})
    said, complaints = process.communicate(timeout=60)
    assert (process.returncode, complaints) == (0, b"")
    assert LABEL.fullmatch(said.decode())


@pytest.mark.parametrize("words", [("sheet", "accept"), ("sheet", "undo"), ("sheet",)])
def test_help_fits_80_columns(run: Run, words: tuple[str, ...]) -> None:
    text = run(*words, "--help").stdout
    assert text.startswith("Usage:")
    assert max(map(len, text.splitlines())) <= 80
