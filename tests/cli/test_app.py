"""What every command shares: help, start-up, pipes, interruptions, odd names."""

from __future__ import annotations

import contextlib
import json
import os
import pty
import re
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from tests.cli.conftest import Run, environment, subprocess_of

HEAVY = ("numpy", "rawpy", "flashraw", "scipy", "colour", "skimage", "cv2", "pydantic", "rich", "tifffile")


@pytest.mark.parametrize(
    "words", [(), ("check",), ("ambient",), ("watch",), ("sheet",), ("sheet", "zone"), ("explain",), ("demo",)]
)
def test_every_command_has_help_that_says_what_it_does(run: Run, words: tuple[str, ...]) -> None:
    done = run(*words, "--help")
    assert done.exit_code == 0
    assert len(done.stdout.split("\n\n")[1].strip()) > 30


def test_help_says_the_exit_status(run: Run) -> None:
    said = " ".join(run("--help").stdout.split())
    assert "0 done and nothing at halt; 1 done, something at halt or not measured; 2 wrong use" in said


def test_help_imports_nothing_heavy() -> None:
    code = (
        "import sys; sys.argv = ['qc', '--help']\nfrom qc_cli.app import main\n"
        f"try: main()\nexcept SystemExit: sys.stderr.write(str([m for m in {HEAVY} if m in sys.modules]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=environment(), check=True)
    assert b"check" in done.stdout
    assert done.stderr == b"[]"


@pytest.mark.parametrize(
    "words", [("chek",), ("check",), ("check", "--nonsense", "a.dng"), ("check", "--preset", "x", "a")]
)
def test_wrong_use_is_status_2_on_stderr_only(run: Run, words: tuple[str, ...]) -> None:
    done = run(*words)
    assert (done.exit_code, done.stdout) == (2, "")
    assert "Traceback" not in done.stderr


def test_the_version_is_said(run: Run) -> None:
    assert run("--version").stdout.startswith("framegauge")


def test_a_pipe_gets_plain_lines_however_narrow_the_screen(frames: Path) -> None:
    process = subprocess_of("check", str(frames / "good.dng"), env={"COLUMNS": "20"})
    out, err = process.communicate()
    assert (process.returncode, err) == (0, b"")
    assert b"\x1b" not in out
    assert out.decode().splitlines()[0].startswith("10:00:00  good.dng    unjudged    burnt 0.00 %")


def test_a_name_that_is_not_utf8_is_measured_and_shown_escaped(frames: Path, tmp_path: Path) -> None:
    odd = os.fsencode(tmp_path) + b"/caf\xe9.dng"
    shutil.copy(frames / "good.dng", os.fsdecode(odd))
    process = subprocess_of("check", odd)
    out, err = process.communicate()
    assert (process.returncode, err) == (0, b"")
    assert "caf\\xe9.dng" in out.decode()
    document = json.loads(subprocess_of("check", odd, "--json").communicate()[0])
    assert os.fsencode(document["file"]["name"]) == b"caf\xe9.dng"


@pytest.mark.parametrize("encoding", ["ascii", "latin-1"])
def test_a_stream_that_is_not_utf8_gets_escapes_not_an_error(frames: Path, encoding: str) -> None:
    process = subprocess_of(
        "check", str(frames / "good.dng"), env={"PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"}
    )
    out, err = process.communicate()
    assert (process.returncode, err) == (0, b"")
    assert b"good.dng" in out


def test_a_reader_that_goes_away_ends_it_quietly(frames: Path) -> None:
    process = subprocess_of("check", *[str(frames / "good.dng")] * 3)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == b""
    assert process.wait() == 141
    process.stderr.close()


def on_a_terminal(columns: int, *words: str) -> str:
    """Run the command on a pseudo-terminal and return what stands on it."""
    leader, follower = pty.openpty()
    env = environment(COLUMNS=str(columns), TERM="xterm-256color")
    command = [sys.executable, "-m", "qc_cli.app", *words]
    with subprocess.Popen(command, stdout=follower, stderr=subprocess.DEVNULL, env=env) as process:
        os.close(follower)
        read = b""
        with contextlib.suppress(OSError):  # how Linux says that the other end of a terminal is closed
            while part := os.read(leader, 65536):
                read += part
        process.wait()
    os.close(leader)
    return read.decode()


@pytest.mark.parametrize("columns", [60, 80, 160])
def test_a_terminal_gets_columns_that_fit_and_colour(frames: Path, sheet: Path, columns: int) -> None:
    screen = on_a_terminal(columns, "check", str(frames / "burnt.dng"), "--sheet", str(sheet))
    bare = re.sub(r"\x1b\[[0-9;]*m", "", screen)
    assert "█ halt" in bare
    assert bare != screen
    assert max(len(line) for line in bare.splitlines()) <= columns


@pytest.mark.parametrize("how", ["--no-color", "NO_COLOR"])
def test_colour_can_be_turned_off(frames: Path, sheet: Path, how: str, monkeypatch: pytest.MonkeyPatch) -> None:
    words = ["check", str(frames / "burnt.dng"), "--sheet", str(sheet)]
    if how == "NO_COLOR":
        monkeypatch.setenv("NO_COLOR", "1")
    else:
        words.append(how)
    assert not re.search(r"\x1b\[[0-9;]*(3[0-9]|4[0-9]|38)[;m]", on_a_terminal(80, *words))


def test_an_explanation_is_wrapped_on_a_terminal_and_whole_on_a_pipe(run: Run) -> None:
    assert max(len(line) for line in on_a_terminal(70, "explain", "highlights").splitlines()) <= 70
    assert max(len(line) for line in run("explain", "highlights").stdout.splitlines()) > 100


def test_an_interruption_ends_it_quietly_with_the_usual_status(frames: Path) -> None:
    process = subprocess_of("check", *[str(frames / "good.dng")] * 500)
    assert process.stdout is not None
    process.stdout.readline()
    process.send_signal(signal.SIGINT)
    _, err = process.communicate()
    assert (process.returncode, err) == (130, b"")
