"""`kill -9` in a burst: after a new start every capture is in the log, once, and none half written."""

from __future__ import annotations

import json
import os
import signal
import sqlite3
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Any

import pytest

from qc.log.log import Log
from qc.pipeline import measure_capture
from tests.watch.running import PATIENCE_S, capture, snapshot

BURST = 40
COMMAND = "from qc_cli.app import main; main()"

pytestmark = [
    pytest.mark.timeout(300),
    pytest.mark.skipif(not hasattr(os, "killpg"), reason="this system has no process groups to kill and ask for"),
]


class Process:
    """`qc watch FOLDER --json` in a process group of its own, its lines kept in a file."""

    def __init__(self, folder: Path, lines: Path) -> None:
        self.lines = lines
        self._complaints = lines.with_suffix(".stderr")
        with lines.open("wb") as told, self._complaints.open("wb") as complaints:
            self._process = subprocess.Popen(
                [sys.executable, "-X", "faulthandler", "-c", COMMAND, "watch", str(folder), "--json"],
                stdout=told,
                stderr=complaints,
                start_new_session=True,
            )

    def told(self) -> list[dict[str, Any]]:
        """Return every whole line told so far."""
        whole, _, _ = self.lines.read_bytes().rpartition(b"\n")
        return [json.loads(line) for line in whole.splitlines()]

    def results(self) -> list[str]:
        """Return the names of the captures told so far."""
        return [line["file"]["name"] for line in self.told() if line["schema"] == "qc.capture/1"]

    def until(self, happened: Callable[[], bool], what: str) -> None:
        """Wait until something has happened while the process lives."""
        end = time.monotonic() + PATIENCE_S
        while not happened():
            assert self._process.poll() is None, f"ended before: {what}: {self._complaints.read_text()}"
            assert time.monotonic() < end, f"never: {what}; told {self.results()}"
            time.sleep(0.01)

    def listens(self) -> None:
        self.until(lambda: any(line.get("kind") == "started" for line in self.told()), "started")

    def kill(self) -> None:
        """Kill the watch alone, as kill -9 does, and wait until none of its workers is left."""
        self._process.kill()
        self._process.wait()
        self._wait_for_workers()

    def end(self) -> int:
        """Ask the watch to end, once it listens to that."""
        self.listens()
        self._process.send_signal(signal.SIGTERM)
        try:
            code = self._process.wait(PATIENCE_S)
        except subprocess.TimeoutExpired:
            self._process.send_signal(signal.SIGABRT)  # faulthandler says where it stands
            self._process.wait()
            raise AssertionError(f"the watch did not end: {self._complaints.read_text()}") from None
        self._wait_for_workers()
        return code

    def clean_up(self) -> None:
        """Leave nothing running whatever happened."""
        try:
            os.killpg(self._process.pid, signal.SIGKILL)
        except ProcessLookupError:
            return
        self._process.wait(PATIENCE_S)

    def _wait_for_workers(self) -> None:
        end = time.monotonic() + PATIENCE_S
        while _alive(self._process.pid):
            assert time.monotonic() < end, "workers outlive their watch"
            time.sleep(0.02)


def _alive(group: int) -> bool:
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


@contextmanager
def running(folder: Path, lines: Path) -> Iterator[Process]:
    process = Process(folder, lines)
    try:
        yield process
    finally:
        process.clean_up()


def put(folder: Path, numbers: range) -> None:
    for number in numbers:
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))


def logged(out: Path) -> list[str]:
    """Return the names of all captures in the log, as a reader beside the running watch sees them."""
    with Log.open(out, create=False, read_only=True) as log:
        return [entry.name for entry in log.entries()]


def check_log(folder: Path, out: Path) -> None:
    """Hold the log against the folder: every capture once, whole in all its parts."""
    names = sorted(path.name for path in folder.iterdir())
    assert Counter(logged(out)) == Counter(names)
    with closing(sqlite3.connect(f"file:{out / 'log.sqlite3'}?mode=ro", uri=True)) as db:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
    with Log.open(out, create=False, read_only=True) as log:
        for name in names:
            expected = measure_capture(folder / name)
            found = log.find(name)
            assert found is not None, name
            result = found[0]
            assert result.file.content == expected.file.content
            assert result.readings == expected.readings
            assert result.verdict == expected.verdict
            assert len(log.by_content(str(expected.file.content))) == 1
            assert log.digest(str(expected.file.content)) is not None
    assert not [path for path in out.rglob("*") if path.is_file() and path.name.endswith((".part", ".tmp"))]


@pytest.mark.parametrize("told", [0, 7, 20, 39])
def test_killed_in_a_burst_and_started_again_the_log_has_every_capture_once(told: int, tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    with running(folder, tmp_path / "first.jsonl") as watch:
        watch.listens()
        put(folder, range(BURST))
        watch.until(lambda: len(watch.results()) >= told, f"{told} captures told")
        watch.kill()
        before = watch.results()
    with running(folder, tmp_path / "second.jsonl") as watch:
        watch.until(lambda: len(set(logged_or_none(tmp_path / "captures.qc"))) >= BURST, "all captures logged")
        assert watch.end() in (0, 1)
        after = watch.results()
    check_log(folder, tmp_path / "captures.qc")
    assert not set(before) & set(after), "told by both"
    assert max(Counter(before + after).values()) == 1


def test_killed_again_and_again_it_still_gets_through_the_burst(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    put(folder, range(BURST))
    for number in range(4):
        with running(folder, tmp_path / f"{number}.jsonl") as watch:
            watch.until(lambda watch=watch: len(watch.results()) >= 3, "three more captures told")  # type: ignore[misc]  # bound now
            watch.kill()
    with running(folder, tmp_path / "last.jsonl") as watch:
        watch.until(lambda: len(set(logged_or_none(tmp_path / "captures.qc"))) >= BURST, "all captures logged")
        assert watch.end() in (0, 1)
    check_log(folder, tmp_path / "captures.qc")


def test_captures_that_came_while_no_watch_ran_are_measured_by_the_next(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    with running(folder, tmp_path / "first.jsonl") as watch:
        watch.listens()
        put(folder, range(10))
        watch.until(lambda: len(watch.results()) >= 5, "five captures told")
        watch.kill()
    put(folder, range(10, BURST))
    before = snapshot(folder)
    with running(folder, tmp_path / "second.jsonl") as watch:
        watch.until(lambda: len(set(logged_or_none(tmp_path / "captures.qc"))) >= BURST, "all captures logged")
        assert watch.end() in (0, 1)
    check_log(folder, tmp_path / "captures.qc")
    assert snapshot(folder) == before


def logged_or_none(out: Path) -> list[str]:
    """Return what is logged; nothing where there is no log yet."""
    return logged(out) if (out / "log.sqlite3").exists() else []
