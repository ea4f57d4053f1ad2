"""`qc watch --page` as a user starts it: the same link each time, states, acts; the watch goes on without it."""

from __future__ import annotations

import http.client
import json
import os
import queue
import re
import shutil
import signal
import socket
import subprocess
import sys
import threading
import time
import webbrowser
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pytest

from qc.intake.updates import Heartbeat
from qc.pages.follow.view import ANSWERED
from qc_cli import browser
from qc_cli.page import Paged
from tests.cli.conftest import SHEET, Run, environment, subprocess_of
from tests.cli.test_watch import terminal
from tests.pages.asking import Asker

PATIENCE_S = 90.0

LINK = re.compile(r"page: http://([^/]+):(\d+)/\?key=([A-Za-z0-9_-]+)")


@dataclass
class Started:
    """A watch with a page, its lines as they come."""

    process: subprocess.Popen[bytes]
    out: queue.SimpleQueue[str] = field(default_factory=queue.SimpleQueue)
    err: queue.SimpleQueue[str] = field(default_factory=queue.SimpleQueue)
    told: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        ends = ((self.process.stdout, self.out), (self.process.stderr, self.err))
        self.readers = [threading.Thread(target=_read, args=end, daemon=True) for end in ends]
        for reader in self.readers:
            reader.start()

    def line(self, wanted: str, lines: queue.SimpleQueue[str] | None = None) -> str:
        """Wait for a line in which something stands."""
        while True:
            line = (lines or self.err).get(timeout=PATIENCE_S)
            self.told.append(line)
            if wanted in line:
                return line

    def link(self) -> re.Match[str]:
        found = LINK.search(self.line("page: http://"))
        assert found is not None
        return found

    def end(self) -> int:
        self.process.send_signal(signal.SIGTERM)
        return self.process.wait(PATIENCE_S)

    def all_told(self) -> list[str]:
        """Return every line, once the watch has ended."""
        for reader in self.readers:
            reader.join(PATIENCE_S)
        for lines in (self.out, self.err):
            while not lines.empty():
                self.told.append(lines.get())
        return self.told


def _read(stream: Any, lines: queue.SimpleQueue[str]) -> None:
    with stream:
        for line in stream:
            lines.put(line.decode())


@contextmanager
def started(tmp_path: Path, *words: str) -> Iterator[Started]:
    """Start a watch over ``bottles``, which has a sheet, in a state folder of the test's own."""
    folder = tmp_path / "bottles"
    folder.mkdir(exist_ok=True)
    (tmp_path / "bottles.set.toml").write_text(SHEET)
    home = {"XDG_STATE_HOME": str(tmp_path / "state"), "DISPLAY": "", "WAYLAND_DISPLAY": ""}
    process = subprocess_of("watch", str(folder), "--sheet", str(tmp_path / "bottles.set.toml"), *words, env=home)
    watch = Started(process)
    try:
        yield watch
    finally:
        if process.poll() is None:
            process.kill()
        process.wait()
        watch.all_told()


@contextmanager
def states(asker: Asker) -> Iterator[Callable[[Callable[[Any], bool]], Any]]:
    """Follow a page; yields what waits for a state of some kind."""
    link = http.client.HTTPConnection("127.0.0.1", asker.port, timeout=PATIENCE_S)
    link.request("GET", "/now", headers={"Cookie": f"qc-{asker.port}={asker.key}"})
    stream = link.getresponse()

    def until(wanted: Callable[[Any], bool]) -> Any:
        while line := stream.readline():
            if line.startswith(b"data: ") and wanted(state := json.loads(line[6:])):
                return state
        raise AssertionError("the stream ended")

    try:
        yield until
    finally:
        link.close()


def asker_of(link: Mapping[int, str] | re.Match[str]) -> Asker:
    return Asker(int(link[2]), key=link[3])


def number_is(number: str) -> Callable[[Any], bool]:
    return lambda state: state["frame"] is not None and state["frame"]["name"] == number


def judged(name: str) -> Callable[[Any], bool]:
    return lambda state: number_is(name)(state) and not state["frame"]["looking"]


def test_a_capture_is_shown_answered_and_undone_on_the_page_and_said_once_on_the_pipe(
    tmp_path: Path, frames: Path
) -> None:
    with started(tmp_path, "--page") as watch:
        ask = asker_of(watch.link())
        with states(ask) as until:
            assert until(lambda _: True)["frame"] is None
            shutil.copy(frames / "burnt.dng", tmp_path / "bottles")
            state = until(judged("burnt.dng"))
            frame = state["frame"]
            assert (frame["level"], state["strip"][0]["level"]) == ("halt", "halt")
            assert frame["reason"].startswith("label burnt")
            picture = ask(frame["picture"])
            assert (picture.status, picture.headers["content-type"]) == (200, "image/jpeg")
            assert ask(frame["mark"]).headers["content-type"] == "image/svg+xml"
            assert ask(f"/details/{frame['key']}").status == 200
            alarm = state["alarms"][0]
            assert alarm["question"].startswith("burnt.dng, halt: label burnt")
            assert alarm["answers"][0]["said"].startswith("intended: accept ")

            answer = ask.post("/act", {"act": "answer", "about": alarm["about"]})
            assert answer.status == 200, answer.json
            assert answer.json["said"].startswith("answered: label burnt")
            state = until(lambda state: bool(state["said"]))
            assert state["alarms"] == []
            until(lambda state: state["frame"]["level"] != "halt")

            again = ask.post("/act", {"act": "answer", "about": alarm["about"]})
            assert (again.status, again.json["said"]) == (409, ANSWERED)

            assert ask.post("/act", {"act": "undo"}).json["said"].startswith("undone: label burnt")
            state = until(lambda state: state["frame"]["level"] == "halt" and bool(state["alarms"]))
            assert state["alarms"][0]["about"] == alarm["about"]
            watch.line("undone: label burnt", watch.out)
            assert watch.end() == 1
            assert until(lambda state: state["watch"] == "ended")["frame"]["level"] == "halt"
        for said in ("answered: label burnt", "undone: label burnt"):
            assert sum(said in line for line in watch.all_told()) == 1, watch.told
    assert sorted(path.name for path in (tmp_path / "bottles").iterdir()) == ["burnt.dng"]


def test_a_good_frame_is_made_the_baseline_and_a_burnt_one_that_is_goes_on_waiting(
    tmp_path: Path, frames: Path
) -> None:
    with started(tmp_path, "--page") as watch:
        ask = asker_of(watch.link())
        with states(ask) as until:
            shutil.copy(frames / "good.dng", tmp_path / "bottles")
            state = until(lambda state: judged("good.dng")(state) and state["newest"] is not None)
            assert (state["alarms"], state["newest"]["question"]) == ([], "good.dng, clear")
            asked = {"act": "baseline", "about": state["newest"]["about"]}
            assert ask.post("/act", asked).json["said"] == "role: good.dng is the baseline"
            state = until(lambda state: bool(state["said"]))
            refused = ask.post("/act", {"act": "answer", "about": state["newest"]["about"]})
            assert (refused.status, refused.json["said"]) == (409, "seen, will be shot again: for an alarm")

            shutil.copy(frames / "burnt.dng", tmp_path / "bottles")
            state = until(lambda state: bool(state["alarms"]))
            about = state["alarms"][0]["about"]
            assert ask.post("/act", {"act": "baseline", "about": about}).status == 200
            watch.line("role: burnt.dng is the baseline", watch.out)
            state = until(lambda state: bool(state["said"]))
            assert [one["about"] for one in state["alarms"]] == [about]

            shutil.copy(frames / "lit.dng", tmp_path / "bottles")
            state = until(judged("lit.dng"))
            assert [one["about"] for one in state["alarms"]] == [about]
            assert [(one["name"], one["level"]) for one in state["open"]] == [("burnt", "halt")]
        assert watch.end() == 1


def test_a_sheet_that_is_saved_meanwhile_is_said_on_the_page_until_the_next_frame(
    tmp_path: Path, frames: Path
) -> None:
    sheet = tmp_path / "bottles.set.toml"
    with started(tmp_path, "--page") as watch:
        with states(asker_of(watch.link())) as until:
            shutil.copy(frames / "good.dng", tmp_path / "bottles")
            until(judged("good.dng"))
            sheet.write_text(SHEET + '[[zone]]\nname = "neck"\nrole = "protect"\nbox = [0.1, 0.1, 0.2, 0.2]\n')
            told = until(lambda state: bool(state["said"]))["said"][-1]["text"]
            assert told.startswith("set sheet bottles.set.toml changed: ")
            assert told.endswith("; holds from the next frame")
            sheet.write_text("[[zone]]\n")
            told = until(lambda state: "mistakes" in "".join(one["text"] for one in state["said"]))
            assert [one["what"] for one in told["heart"]["troubles"]] in ([], ["sheet"])
            shutil.copy(frames / "lit.dng", tmp_path / "bottles")
            assert until(judged("lit.dng"))["said"] == []
        assert watch.end() == 0


def test_a_watch_that_is_started_again_has_the_same_link_and_its_page_catches_up(
    tmp_path: Path, frames: Path
) -> None:
    shutil.copytree(frames, tmp_path / "bottles", ignore=shutil.ignore_patterns("lit*", "dark*", "good*"))
    with started(tmp_path, "--page") as watch:
        first = watch.link()[0]
        with states(asker_of(LINK.search(first) or {})) as until:
            until(judged("burnt.dng"))
        watch.end()
    with started(tmp_path, "--page") as watch:
        link = watch.link()
        assert link[0] == first
        with states(asker_of(link)) as until:
            frame = until(judged("burnt.dng"))["frame"]
        assert (frame["level"], frame["reason"][:11]) == ("halt", "label burnt")
        assert asker_of(link)(frame["picture"]).status == 200
        assert asker_of(link)(frame["mark"]).status == 200
        watch.end()


def test_after_a_kill_the_same_link_is_there_again(tmp_path: Path) -> None:
    with started(tmp_path, "--page") as watch:
        first = watch.link()[0]
        with states(asker_of(LINK.search(first) or {})) as until:
            until(lambda _: True)
            watch.process.kill()
            watch.process.wait()
    with started(tmp_path, "--page") as watch:
        assert watch.link()[0] == first


def test_a_port_that_is_taken_since_is_said_and_another_one_is_used(tmp_path: Path) -> None:
    with started(tmp_path, "--page") as watch:
        kept = int(watch.link()[2])
        watch.end()
    with socket.create_server(("127.0.0.1", kept)), started(tmp_path, "--page") as watch:
        link = watch.link()
        assert int(link[2]) != kept
        assert str(kept) in watch.line("is taken")
        watch.end()
    with started(tmp_path, "--page") as watch:  # whoever listens at the old port may have been sent the old key
        assert watch.link()[0] == link[0]


def test_a_port_that_was_named_and_is_taken_is_one_line_and_status_2(tmp_path: Path) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        with started(tmp_path, "--page", "--port", port) as watch:
            out, err = watch.process.wait(PATIENCE_S), watch.line("")
    assert out == 2
    assert err.startswith(f"127.0.0.1, port {port}: ")
    assert watch.all_told() == [err]


@pytest.mark.parametrize("words", [("--port", "8123"), ("--host", "0.0.0.0"), ("--no-open",)])
def test_what_goes_with_a_page_alone_is_one_line_and_status_2(
    run: Run, tmp_path: Path, words: tuple[str, ...]
) -> None:
    done = run("watch", tmp_path, *words)
    assert (done.exit_code, done.stderr) == (2, "--port, --host, --new-link and --no-open go with --page\n")


def test_json_lines_have_the_page_beside_them_and_each_event_once(tmp_path: Path, frames: Path) -> None:
    with started(tmp_path, "--page", "--json") as watch:
        ask = asker_of(watch.link())
        with states(ask) as until:
            shutil.copy(frames / "burnt.dng", tmp_path / "bottles")
            about = until(lambda state: bool(state["alarms"]))["alarms"][0]["about"]
            assert ask.post("/act", {"act": "answer", "about": about}).status == 200
        watch.line('"answered"', watch.out)
        assert watch.end() == 0
    documents = [json.loads(line) for line in watch.all_told() if line.startswith("{")]
    assert [one["kind"] for one in documents if one["schema"] == "qc.event/1"].count("answered") == 1


def test_beyond_this_machine_the_link_and_what_that_means_are_said(tmp_path: Path) -> None:
    with started(tmp_path, "--page", "--host", "0.0.0.0") as watch:
        assert watch.link()[1] not in ("0.0.0.0", "127.0.0.1")
        said = watch.line("can see the pictures")
        assert "not encrypted" in said
        here = watch.line("acting stays with this machine")
        found = re.search(r"http://127\.0\.0\.1:(\d+)/\?key=(\S+)", here)
        assert found is not None
        ask = Asker(int(found[1]), key=found[2])
        assert ask("/", cookie=None).status == 403
        assert ask(f"/?key={found[2]}", cookie=None).status == 200
        with states(ask) as until:
            assert until(lambda _: True)["may_act"] is True
        watch.end()


def test_without_a_page_nothing_of_it_is_imported() -> None:
    code = (
        "import sys; from typer.testing import CliRunner; from qc_cli.app import app\n"
        "done = CliRunner().invoke(app, ['watch', 'no-such-folder'])\n"
        "assert done.exit_code == 2, done.output\n"
        "assert CliRunner().invoke(app, ['watch', '--help']).exit_code == 0\n"
        "print([name for name in sys.modules if name.split('.')[0] in ('starlette', 'uvicorn', 'anyio')])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, env=environment(), check=False)
    assert (done.stdout.strip(), done.stderr) == (b"[]", b"")


DAY = """
from tests.show import scripted_day as day
from tests.pages.follow import pictured_day
import qc.pages.follow.view, qc.pages.serve
{}
import sys; sys.argv += ['--pace', '0.02']
day.main(pictured_day.show)
"""


def scripted(tmp_path: Path, change: str) -> subprocess.CompletedProcess[bytes]:
    home = environment(XDG_STATE_HOME=str(tmp_path))
    command = [sys.executable, "-c", DAY.format(change)]
    return subprocess.run(command, capture_output=True, env=home, check=False, timeout=PATIENCE_S)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (
            "qc.pages.follow.view.state_of = lambda *_: 1 / 0",
            "internal fault of the page, please report it: ZeroDivisionError: division by zero",
        ),
        ("qc.pages.serve.Served._run = lambda self: None", "the page is not served any more"),
    ],
)
def test_a_page_that_fails_is_told_once_and_the_watch_goes_on_to_its_end(
    tmp_path: Path, change: str, said: str
) -> None:
    done = scripted(tmp_path, change)
    err = done.stderr.decode().splitlines()
    assert [line for line in err if said in line] == [f"{said}; the watch goes on without it"]
    assert "25 frames: 18 clear, 2 note, 3 warn, 2 halt" in done.stderr.decode()
    assert done.returncode == 1


def test_a_page_that_does_not_follow_any_more_is_not_served_any_more() -> None:
    done: list[str] = []

    class Failing:
        def take(self, *_: object) -> None:
            raise ValueError("first\nsecond")

        def close(self) -> None:
            done.append("closed")

    class Server:
        runs = True

        def stop(self) -> None:
            done.append("stopped")

    class Beside:
        def say_lines(self, lines: Sequence[str], *, whole: bool = False) -> None:
            assert not whole
            done.extend(lines)

    paged = Paged(Failing(), Server(), queue.SimpleQueue(), Beside())  # type: ignore[arg-type]  # stand for those
    for _ in range(3):
        paged.take(Heartbeat(), ())
    assert done[:2] == ["closed", "stopped"]
    assert len(done) == 3
    assert "ValueError: first second; the watch goes on without it" in done[2]


def test_a_fault_of_the_server_is_told_once_however_often_it_comes() -> None:
    told: list[str] = []

    class Beside:
        def say_lines(self, lines: Sequence[str], *, whole: bool = False) -> None:
            assert not whole
            told.extend(lines)

    faults: queue.SimpleQueue[str] = queue.SimpleQueue()
    paged = Paged(None, None, faults, Beside())  # type: ignore[arg-type]  # neither is asked
    for fault in ("one", "one", "other", "one"):
        faults.put(fault)
    paged.tell_faults()
    assert told == ["one", "other", "one"]


def test_on_a_terminal_the_link_stands_above_the_region_in_one_piece_and_the_terminal_is_left_clean(
    tmp_path: Path,
) -> None:
    code = DAY.format("")
    with terminal("-c", code, columns=50, env={"XDG_STATE_HOME": str(tmp_path)}) as screen:
        screen.until("SB_0001.dng")
        assert LINK.search(screen.text)
        assert screen.end() == 1
        assert screen.is_left_clean()


def test_what_is_done_on_the_page_is_said_once_on_the_terminal_and_the_other_way_round(
    tmp_path: Path, frames: Path
) -> None:
    folder = tmp_path / "bottles"
    folder.mkdir()
    (tmp_path / "bottles.set.toml").write_text(SHEET)
    shutil.copy(frames / "burnt.dng", folder)
    command = ("-m", "qc_cli.app", "watch", str(folder), "--sheet", str(tmp_path / "bottles.set.toml"), "--page")
    home = {"XDG_STATE_HOME": str(tmp_path / "state"), "DISPLAY": "", "WAYLAND_DISPLAY": ""}
    with terminal(*command, columns=160, env=home) as screen:
        screen.until("0 waiting")
        link = LINK.search(screen.text)
        assert link is not None
        ask = asker_of(link)
        with states(ask) as until:
            about = until(lambda state: bool(state["alarms"]))["alarms"][0]["about"]
            assert ask.post("/act", {"act": "answer", "about": about}).status == 200
            screen.until("answered: label burnt")
            until(lambda state: state["frame"]["level"] != "halt")
            screen.press("u")
            screen.until("undone: label burnt")
            state = until(lambda state: len(state["said"]) == 2 and bool(state["alarms"]))
            assert [one["text"].partition(":")[0] for one in state["said"]] == ["answered", "undone"]
            until(lambda state: state["frame"]["level"] == "halt")
        screen.press("q")
        assert screen.end() == 1
        assert screen.is_left_clean()
        for said in ("answered: label burnt", "undone: label burnt"):
            assert screen.text.count(said) == 1


@pytest.mark.parametrize(
    ("screens", "system", "found", "opens"),
    [
        ({}, "linux", webbrowser.BackgroundBrowser("xdg-open"), False),
        ({"DISPLAY": ""}, "linux", webbrowser.BackgroundBrowser("xdg-open"), False),
        ({"DISPLAY": ":0"}, "linux", webbrowser.BackgroundBrowser("xdg-open"), True),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", webbrowser.BackgroundBrowser("xdg-open"), True),
        ({"DISPLAY": ":0"}, "linux", webbrowser.GenericBrowser("one-in-the-terminal"), False),
        ({"DISPLAY": ":0"}, "linux", None, False),
        ({}, "darwin", None, True),
        ({}, "win32", None, True),
    ],
)
def test_a_browser_is_opened_only_in_a_window_of_its_own(
    screens: dict[str, str], system: str, found: object, opens: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    def get() -> object:
        if found is None:
            raise webbrowser.Error("none")
        return found

    monkeypatch.setattr(webbrowser, "get", get)
    assert browser.can_open(screens, system) is opens


@pytest.mark.parametrize("words", [(), ("--no-open",)])
def test_on_a_terminal_with_a_screen_the_page_is_opened_unless_that_is_not_wanted(
    tmp_path: Path, words: tuple[str, ...]
) -> None:
    (tmp_path / "bottles").mkdir()
    told = tmp_path / "opened"
    opener = tmp_path / "opener"
    opener.write_text(f'#!/bin/sh\necho "$1" > {told}.part; mv {told}.part {told}\n')
    opener.chmod(0o755)
    env = {"XDG_STATE_HOME": str(tmp_path / "state"), "DISPLAY": ":99", "BROWSER": f"{opener} %s &"}
    command = ("-m", "qc_cli.app", "watch", str(tmp_path / "bottles"), "--page", *words)
    with terminal(*command, columns=200, env=env) as screen:
        screen.until("0 waiting")
        link = LINK.search(screen.text)
        assert link is not None
        for _ in range(600 if not words else 20):
            if told.exists():
                break
            time.sleep(0.05)
        screen.press("q")
        assert screen.end() == 0
    assert told.exists() is not bool(words)
    if not words:
        assert f"page: {told.read_text().strip()}" == link[0]


def test_what_a_browser_writes_goes_nowhere_and_nobody_waits_for_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    told = tmp_path / "link"
    noisy = tmp_path / "noisy"
    noisy.write_text(f'#!/bin/sh\necho noise; echo noise >&2; echo "$1" > {told}.part; mv {told}.part {told}\n')
    noisy.chmod(0o755)
    monkeypatch.setenv("BROWSER", f"{noisy} %s")
    browser.open_link("http://127.0.0.1:1/?key=x")
    opening = [thread for thread in threading.enumerate() if thread.name == "browser"]
    for thread in opening:
        thread.join(PATIENCE_S)
    assert told.read_text() == "http://127.0.0.1:1/?key=x\n"
    assert capfd.readouterr() == ("", "")
    assert os.environ["BROWSER"].endswith("%s")
