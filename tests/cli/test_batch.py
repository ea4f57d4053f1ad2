"""`qc batch` as a user starts it: on a pipe, on a terminal, as JSON Lines, stopped, and how it ends."""

from __future__ import annotations

import json
import re
import shutil
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from qc.errors import LogError
from qc.log.log import Log
from qc_cli.meter import Meter
from tests.cli.conftest import Run, environment, scene, subprocess_of, write
from tests.watch.running import PATIENCE_S, capture

pytestmark = pytest.mark.timeout(300)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with two good captures and a cut one."""
    made = tmp_path / "bottles"
    made.mkdir()
    for number in range(2):
        (made / f"SB_{number:04d}.dng").write_bytes(capture(number))
    (made / "SB_0002.dng").write_bytes(capture(2)[:9000])
    return made


def test_frames_that_need_a_decision_are_told_and_the_sum_is_beside_them(folder: Path, run: Run) -> None:
    done = run("batch", folder, "--jobs", 1)
    assert done.exit_code == 1
    lines = done.stdout.splitlines()
    assert len(lines) == 1
    assert "SB_0002.dng" in lines[0]
    assert "halt" in lines[0]
    assert "truncated" in lines[0]
    assert without_progress(done.stderr) == [
        "judged: whole files, frames without a picture, changed settings, jumps of light",
        "only shown as numbers: highlights, sharpness, colour, ambient light",
        f"to have those judged: qc sheet draw --folder {folder} (zones on the last frame make a set sheet)",
        "3 frames: 1 halt, 2 unjudged",
        "halt: SB_0002.dng",
        "3 measured, 0 known from before",
        f"log: {folder}.qc",
        f"report: {folder}.qc/report/index.html",
    ]
    assert (folder.with_name("bottles.qc") / "report" / "index.html").is_file()


def test_all_frames_are_told_when_asked_for_in_the_order_taken(folder: Path, run: Run) -> None:
    done = run("batch", folder, "-v", "--preset", "series", "--jobs", 1)
    assert [line.split()[1] for line in done.stdout.splitlines()] == ["SB_0000.dng", "SB_0001.dng", "SB_0002.dng"]
    assert "to have those judged" not in done.stderr


def test_what_is_wrong_with_the_day_is_told_after_its_frames(folder: Path, run: Run) -> None:
    (folder / "SB_0002.dng").unlink()
    for number in (7, 8):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    done = run("batch", folder, "-v", "--jobs", 1)
    *frames, finding = done.stdout.splitlines()
    assert len(frames) == 4
    assert finding.startswith("the day ")
    assert "SB_0002" in finding
    assert "SB_0006" in finding


def test_a_second_run_says_the_same_and_that_nothing_was_measured(folder: Path, run: Run) -> None:
    first = run("batch", folder, "--jobs", 1)
    second = run("batch", folder)
    assert second.stdout == first.stdout
    assert second.exit_code == first.exit_code
    assert "0 measured, 3 known from before" in second.stderr


def test_of_a_folder_that_was_copied_with_its_log_it_says_that_nothing_was_measured(
    folder: Path, run: Run
) -> None:
    run("batch", folder, "--jobs", 1)
    for name in ("bottles", "bottles.qc"):
        shutil.copytree(folder.with_name(name), folder.with_name(f"drive{name.removeprefix('bottles')}"))
    moved = run("batch", folder.with_name("drive"), "--jobs", 1)
    assert "0 measured, 3 read and known, 0 known from before" in moved.stderr


def test_a_clear_day_ends_with_0(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    (folder / "SB_0001.dng").write_bytes(capture(1))
    done = run("batch", folder, "--preset", "loose", "--jobs", 1)
    assert (done.exit_code, done.stdout) == (0, "")


def test_a_protected_highlight_that_is_burnt_ends_with_1(tmp_path: Path, run: Run, sheet: Path) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    write(folder / "SB_0001.dng", scene(burnt=True))
    done = run("batch", folder, "--sheet", sheet, "--jobs", 1)
    assert done.exit_code == 1
    assert "label burnt" in done.stdout


def test_json_lines_hold_each_capture_once_with_its_standing_and_the_events(folder: Path, run: Run) -> None:
    run("batch", folder, "--jobs", 1)
    (folder / "SB_0001.dng").unlink()
    done = run("batch", folder, "--json")
    documents = [json.loads(line) for line in done.stdout.splitlines()]
    captures = [one for one in documents if one["schema"] == "qc.capture/1"]
    assert [one["file"]["name"] for one in captures] == ["SB_0000.dng", "SB_0002.dng"]
    assert [one["standing"]["level"] for one in captures] == ["unjudged", "halt"]
    events = [one for one in documents if one["schema"] == "qc.event/1"]
    assert [(one["kind"], one["name"]) for one in events] == [("gone", "SB_0001.dng")]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nowhere",), "no such folder"),
        ((".", "--jobs", "0"), "--jobs"),
        ((".", "--sheet", "none.set.toml"), "none.set.toml"),
        ((".", "--scheduler", "no address"), "no scheduler answers there"),
        ((".", "--black", "3"), "--mosaic"),
    ],
)
def test_wrong_use_is_one_line_and_2(
    words: tuple[str, ...], said: str, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    monkeypatch.chdir(folder)
    done = run("batch", *words)
    assert done.exit_code == 2
    assert said in done.stderr
    assert done.stdout == ""


def test_a_folder_without_captures_is_said_and_2(tmp_path: Path, run: Run) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    done = run("batch", folder)
    assert done.exit_code == 2
    assert done.stderr == f"{folder}: no captures\n"


def test_a_log_that_is_something_else_is_one_line_and_2(folder: Path, run: Run) -> None:
    out = folder.with_name("bottles.qc")
    out.mkdir()
    (out / "log.sqlite3").write_text("no log at all, and long enough to be looked at")
    done = run("batch", folder)
    assert done.exit_code == 2
    assert "log.sqlite3" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_bad_sheet_of_one_of_several_sets_ends_with_2_and_is_told_in_full(folder: Path, run: Run) -> None:
    below = folder / "top"
    below.mkdir()
    (below / "ST_0001.dng").write_bytes(capture(7))
    (below / "top.set.toml").write_text('[set]\npreset = "none"\n')
    done = run("batch", folder, "--jobs", 1)
    assert done.exit_code == 2
    assert "top.set.toml" in done.stderr
    assert "preset" in done.stderr


def test_ctrl_c_finishes_what_is_running_says_how_far_it_came_and_ends_with_130(tmp_path: Path) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    for number in range(60):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    out = tmp_path / "bottles.qc"
    process = subprocess_of("batch", str(folder), "--jobs", "1")
    until = time.monotonic() + PATIENCE_S
    while logged(out) < 5:
        assert process.poll() is None, process.communicate()
        assert time.monotonic() < until, "it never began"
        time.sleep(0.01)
    process.send_signal(signal.SIGINT)
    told, said = process.communicate(timeout=PATIENCE_S)
    count = logged(out)
    assert process.returncode == 130
    assert told == b""
    stopped = f"stopped: {count} of 60 measured and logged; run it again to go on"
    assert without_progress(said.decode()) == [stopped]
    again = subprocess_of("batch", str(folder), "--jobs", "1")
    _, said = again.communicate(timeout=PATIENCE_S)
    assert f"{60 - count} measured, {count} known from before" in said.decode()


def without_progress(said: str) -> list[str]:
    """Return lines of stderr but for those that a slow machine gets while it waits."""
    return [line for line in said.splitlines() if not re.match(r"\d+ of \d+ measured", line)]


def logged(out: Path) -> int:
    try:
        with Log.open(out, create=False, read_only=True) as log:
            return len(log.arrivals())
    except LogError:  # it is being made
        return 0


def test_a_closed_pipe_ends_it_quietly(folder: Path) -> None:
    process = subprocess_of("batch", str(folder), "--json")
    assert process.stdout is not None
    process.stdout.close()
    process.stdout = None
    _, said = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 141
    assert b"Traceback" not in said


def test_on_no_terminal_progress_is_a_plain_line_now_and_then(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    clock = [100.0]
    monkeypatch.setattr("time.monotonic", lambda: clock[0])
    with Meter() as shown:
        for second in range(26):
            clock[0] = 100.0 + second
            shown.show(f"{second} of 26 measured")
    assert capsys.readouterr().err == "10 of 26 measured\n20 of 26 measured\n"


def test_on_a_terminal_progress_renews_itself_and_leaves_nothing(folder: Path) -> None:
    pytest.importorskip("termios", reason="terminals as POSIX has them")
    from tests.cli.test_watch import terminal

    with terminal("-m", "qc_cli.app", "batch", str(folder), "--jobs", "1", columns=100) as screen:
        assert screen.end() == 1
        assert screen.is_left_clean()
    assert "of 3 measured" in screen.text
    shown = [line for line in final_lines(screen.text) if line]
    assert not [line for line in shown if "of 3 measured" in line], "gone when it has ended"
    assert [line for line in shown if line.startswith("log: ")]
    assert len([line for line in shown if "SB_0002.dng" in line and "truncated" in line]) == 1


def final_lines(text: str) -> list[str]:
    """Return what stands on a terminal in the end, as far as our own use of it goes."""
    lines, row = [""], 0
    for part in re.findall(r"\x1b\[[0-9;?]*[A-Za-z]|\r|\n|[^\x1b\r\n]+", text):
        if part == "\n":
            row += 1
            lines += [""] * (row + 1 - len(lines))
        elif part == "\r":
            pass
        elif part.endswith("A") and part.startswith("\x1b"):
            row -= int(part[2:-1] or 1)
        elif part.endswith("K") and part.startswith("\x1b"):
            lines[row] = ""
        elif not part.startswith("\x1b"):
            lines[row] += part
    return lines


def test_help_of_the_command_imports_neither_decoders_nor_measurements() -> None:
    code = (
        "import sys; sys.argv[1:] = ['batch', '--help']\n"
        "from qc_cli.app import app\n"
        "try: app()\n"
        "except SystemExit: pass\n"
        "heavy = ('rawpy', 'scipy', 'colour', 'cv2', 'distributed', 'rich')\n"
        "print([name for name in heavy if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", code], env=environment(), capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "[]"
    assert "--scheduler" in done.stdout
