"""`qc watch` as a user starts it: on a terminal, on a pipe, as JSON Lines, and how it ends."""

from __future__ import annotations

import codecs
import contextlib
import json
import os
import pty
import re
import select
import shutil
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from qc_cli.keys import can_read_keys, keys_of
from tests.cli.conftest import ROOT, SHEET, Run, environment, subprocess_of

termios = pytest.importorskip("termios", reason="terminals as POSIX has them")

PATIENCE_S = 60.0
"""How long a test waits for what must come before it gives up."""

DAY = ("-m", "tests.show.scripted_day", "--pace", "0.02")

CONTROL = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")


class Terminal:
    """A command on a pseudo-terminal."""

    def __init__(self, *words: str, columns: int = 80, env: dict[str, str] | None = None) -> None:
        import fcntl

        self.leader, self.follower = pty.openpty()
        fcntl.ioctl(self.follower, termios.TIOCSWINSZ, struct.pack("HHHH", 30, columns, 0, 0))
        self.before = termios.tcgetattr(self.follower)
        clean = {
            key: value for key, value in environment(**(env or {})).items() if key not in ("COLUMNS", "LINES")
        }
        self.process = subprocess.Popen(
            [sys.executable, *words],
            stdin=self.follower,
            stdout=self.follower,
            stderr=self.follower,
            env=clean | {"TERM": "xterm-256color"},
            cwd=ROOT,
            start_new_session=True,
        )
        self.text = ""
        self._decode = codecs.getincrementaldecoder("utf-8")().decode  # a read may end inside a sign

    def until(self, wanted: str) -> str:
        """Read until something stands there, or fail."""
        since = len(self.text)
        give_up = time.monotonic() + PATIENCE_S
        while wanted not in self.text[since:]:
            assert time.monotonic() < give_up, f"{wanted!r} never came: {self.text[-2000:]!r}"
            if select.select([self.leader], [], [], 0.1)[0]:
                self.text += self._decode(os.read(self.leader, 65536))
        return self.text[since:]

    def press(self, keys: str) -> None:
        os.write(self.leader, keys.encode())

    def end(self) -> int:
        """Read to the end and return the exit status."""
        give_up = time.monotonic() + PATIENCE_S
        while self.process.poll() is None or select.select([self.leader], [], [], 0)[0]:
            assert time.monotonic() < give_up, "it never ended"
            if select.select([self.leader], [], [], 0.1)[0]:
                self.text += self._decode(os.read(self.leader, 65536))
        return self.process.wait()

    def is_left_clean(self) -> bool:
        """Tell whether the terminal is as it was: its modes, and its cursor shown."""
        shown = self.text.rfind("\x1b[?25h") >= self.text.rfind("\x1b[?25l")
        return shown and termios.tcgetattr(self.follower) == self.before

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        os.close(self.leader)
        os.close(self.follower)


@contextlib.contextmanager
def terminal(*words: str, columns: int = 80, env: dict[str, str] | None = None) -> Iterator[Terminal]:
    opened = Terminal(*words, columns=columns, env=env)
    try:
        yield opened
    finally:
        opened.close()


def scripted(*words: str) -> subprocess.CompletedProcess[bytes]:
    command = [sys.executable, *DAY, *words]
    return subprocess.run(
        command, capture_output=True, env=environment(), cwd=ROOT, check=False, stdin=subprocess.DEVNULL
    )


# -- the scripted day, shown


@pytest.mark.parametrize("columns", [80, 160])
def test_a_terminal_gets_one_line_a_frame_that_fits_and_is_left_clean(columns: int) -> None:
    with terminal(*DAY, columns=columns) as screen:
        assert screen.end() == 1  # a halt is open
        bare = CONTROL.sub("\n", screen.text)
        assert max(len(line) for line in bare.splitlines()) <= columns
        assert screen.text.count("SB_0012.dng  ") >= 1
        assert "25 frames: 18 clear, 2 note, 3 warn, 2 halt" in screen.text
        assert screen.is_left_clean()


def test_nothing_of_a_file_name_reaches_the_terminal_as_a_control() -> None:
    with terminal(*DAY) as screen:
        screen.end()
        assert "\x1b[31m" not in screen.text
        assert "\\x1b[31m" in screen.text


@pytest.mark.parametrize("how", ["--no-color", "NO_COLOR"])
def test_colour_can_be_turned_off(how: str) -> None:
    words = [*DAY, "--no-color"] if how == "--no-color" else DAY
    with terminal(*words, env={"NO_COLOR": "1"} if how == "NO_COLOR" else {}) as screen:
        screen.end()
        assert "█ halt" in screen.text
        assert not re.search(r"\x1b\[[0-9;]*(3[0-9]|4[0-9])[;m]", screen.text)


def test_keys_open_the_menu_answer_undo_and_end() -> None:
    with terminal("-m", "tests.show.scripted_day", "--pace", "0.15") as screen:
        screen.until("open      SB_0013.dng")
        screen.press("\r")
        screen.until("0  back")
        screen.press("4")
        screen.until("seen, will be shot again: ")
        screen.press("u")
        screen.until("undone: the last was taken back")
        screen.press("q")
        assert screen.end() == 1
        assert "log: in/bottles.qc" in screen.text
        assert screen.is_left_clean()


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_signal_ends_the_watch_in_order_and_leaves_the_terminal_clean(number: signal.Signals) -> None:
    with terminal("-m", "tests.show.scripted_day") as screen:
        screen.until("SB_0001.dng")
        screen.process.send_signal(number)
        assert screen.end() == 0
        assert "log: in/bottles.qc" in screen.text
        assert screen.is_left_clean()


def test_a_second_signal_leaves_at_once_and_the_terminal_is_clean_all_the_same() -> None:
    code = (
        "import time\n"
        "from tests.show import scripted_day as day\n"
        "day.Scripted.stop = lambda self: time.sleep(600)\n"  # a watch that cannot end
        "day.main()"
    )
    with terminal("-c", code) as screen:
        screen.until("SB_0001.dng")
        screen.process.send_signal(signal.SIGINT)
        time.sleep(0.5)
        screen.process.send_signal(signal.SIGINT)
        assert screen.end() == 130
        assert screen.is_left_clean()


def test_a_defect_leaves_the_terminal_clean() -> None:
    code = (
        "from tests.show import scripted_day as day\n"
        "day.Day.answered = lambda *_: 1 / 0\n"
        "import sys; sys.argv += ['--pace', '0.01']\n"
        "day.main()"
    )
    with terminal("-c", code) as screen:
        assert screen.end() == 1
        assert "ZeroDivisionError" in screen.text
        assert screen.is_left_clean()


def test_an_arrow_or_function_key_is_no_letter_of_its_sequence() -> None:
    assert keys_of("\x1bOu") == keys_of("\x1b[2~") == ""
    assert keys_of("\r1") == "\r1"
    assert keys_of("\x1b") == "\x1b"


@pytest.mark.parametrize("background", [False, True])
def test_in_the_background_no_keys_are_asked_for(background: bool, monkeypatch: pytest.MonkeyPatch) -> None:
    leader, follower = pty.openpty()
    with open(follower) as stdin:  # noqa: PTH123 - a descriptor, no path
        monkeypatch.setattr(sys, "stdin", stdin)
        monkeypatch.setattr(os, "tcgetpgrp", lambda _fd: os.getpgrp() + background)
        assert can_read_keys() is not background
    os.close(leader)


def test_a_pipe_gets_captures_on_stdout_and_the_rest_on_stderr() -> None:
    done = scripted("--no-sheet")
    out, err = done.stdout.decode().splitlines(), done.stderr.decode().splitlines()
    assert b"\x1b" not in done.stdout + done.stderr
    assert len([line for line in out if re.match(r"\d\d:\d\d:\d\d  SB_.* (clear|note|warn|halt)", line)]) >= 25
    assert any("SB_0019.dng is not complete yet" in line for line in out)
    assert any("cannot be read" in line for line in err)
    assert err[1].startswith("judged: ")
    assert err[-1] == "log: in/bottles.qc"


def test_a_pipe_is_told_once_what_is_wrong_with_the_sheet() -> None:
    code = (
        "from tests.show import scripted_day as day\n"
        "day.FULL['sheet_trouble'] = 'one.set.toml: line 3: no such role'\n"
        "import sys; sys.argv += ['--pace', '0']\n"
        "day.main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        env=environment(),
        cwd=ROOT,
        check=False,
        timeout=PATIENCE_S,
    )
    assert done.stderr.decode().count("one.set.toml: line 3: no such role") == 1


def test_at_60_columns_no_line_at_the_start_is_broken_inside_a_word() -> None:
    with terminal(*DAY, "--no-sheet", columns=60) as screen:
        screen.end()
        bare = CONTROL.sub("\n", screen.text)
        assert "settings," in bare.replace("\n", " ").split()
        assert max(len(line) for line in bare.splitlines()) < 60


def test_json_lines_are_one_document_a_line_and_each_capture_once() -> None:
    done = scripted("--json")
    documents = [json.loads(line) for line in done.stdout.splitlines()]
    captures = [document for document in documents if document["schema"] == "qc.capture/1"]
    assert len({document["file"]["content"] for document in captures}) == len(captures) == 25
    assert all(document["standing"]["level"] for document in captures)
    events = {document["kind"] for document in documents if document["schema"] == "qc.event/1"}
    assert {"started", "first_look", "series", "folder_lost", "log_lost", "ended"} <= events


def test_a_reader_that_goes_away_ends_it_quietly() -> None:
    command = [sys.executable, *DAY]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=environment(), cwd=ROOT
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        assert process.stdout.readline()
        process.stdout.close()
        assert process.wait(PATIENCE_S) == 141
        assert b"Traceback" not in process.stderr.read()


# -- the real command


def test_a_folder_that_is_not_there_is_one_line_and_status_2(run: Run, tmp_path: Path) -> None:
    done = run("watch", tmp_path / "nowhere")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr.count("\n") == 1
    assert "nowhere: no such folder" in done.stderr


def test_an_output_folder_among_the_captures_is_refused(run: Run, tmp_path: Path) -> None:
    done = run("watch", tmp_path, "--out", tmp_path / "qc")
    assert done.exit_code == 2
    assert done.stderr.count("\n") == 1


@pytest.mark.parametrize("words", [(), ("--json",)])
def test_captures_that_are_there_are_told_as_they_are_measured_and_sigterm_ends_it(
    frames: Path, tmp_path: Path, words: tuple[str, ...]
) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    for name in ("good.dng", "burnt.dng"):
        shutil.copy(frames / name, folder)
    process = subprocess_of("watch", str(folder), *words)
    assert process.stdout is not None
    told: list[bytes] = []
    while len(told) < 2:  # each line comes while the watch runs, not at its end
        line = process.stdout.readline()
        assert line, process.communicate()[1]
        if b"qc.capture/1" in line or (not words and b".dng " in line):
            told.append(line)
    process.send_signal(signal.SIGTERM)
    _, err = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert b"2 frames: 2 unjudged" in err
    names = {name for line in told for name in (b"good.dng", b"burnt.dng") if name in line}
    assert len(names) == 2
    assert sorted(path.name for path in folder.iterdir()) == ["burnt.dng", "good.dng"]


def test_on_a_terminal_a_good_frame_is_made_the_baseline_and_left_out(frames: Path, tmp_path: Path) -> None:
    folder, sheet = tmp_path / "bottles", tmp_path / "bottles.set.toml"
    folder.mkdir()
    sheet.write_text(SHEET)
    shutil.copy(frames / "good.dng", folder)
    with terminal("-m", "qc_cli.app", "watch", str(folder), columns=120) as screen:
        screen.until("last good.dng")
        screen.until("Enter: about the newest frame")
        screen.press("\r")
        screen.until("good.dng, clear")
        screen.press("5")
        screen.until("role: good.dng is the baseline")
        screen.press("\r3")
        screen.until("role: good.dng is left out")
        screen.press("q")
        assert screen.end() == 0
        assert screen.is_left_clean()


@pytest.mark.skipif(not hasattr(signal, "SIGHUP"), reason="this system knows no terminal that hangs up")
def test_a_terminal_that_is_closed_ends_the_watch_in_order(frames: Path, tmp_path: Path) -> None:
    import pty

    from qc.log.log import Log

    folder = tmp_path / "bottles"
    folder.mkdir()
    shutil.copy(frames / "good.dng", folder)
    child, terminal_end = pty.fork()
    if child == 0:
        command = [sys.executable, "-m", "qc_cli.app", "watch", str(folder)]
        os.execve(sys.executable, command, environment())
    shown = b""
    while b"good.dng" not in shown:
        shown += os.read(terminal_end, 4096)
    os.close(terminal_end)
    _, status = os.waitpid(child, 0)
    assert os.WIFEXITED(status), os.WTERMSIG(status)
    assert os.WEXITSTATUS(status) == 0
    with Log.open(tmp_path / "bottles.qc") as log:
        assert [event.kind for _, event in log.events()] == ["started", "ended"]
        assert [entry.name for entry in log.entries()] == ["good.dng"]
