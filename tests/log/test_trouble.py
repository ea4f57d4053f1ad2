"""When the log cannot be written it says so in one line, holds nothing half, and goes on when the disk is well."""

from __future__ import annotations

import errno
import json
import os
import shutil
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from qc.errors import LogError
from qc.log import connect, digests, rows
from qc.log.log import Log
from tests.log.made import captured, content, judged, measured
from tests.log.test_log import at
from tests.sheet.toys import SPECS

ROOT = Path(__file__).parents[2]


@contextmanager
def held(path: Path) -> Iterator[None]:
    """Hold the log as another program would."""
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        yield
        other.execute("ROLLBACK")


def cause(path: Path, **how: Any) -> str:
    with pytest.raises(LogError) as caught:
        Log.open(path, **how)
    assert "\n" not in str(caught.value)
    return str(caught.value)


@pytest.fixture(scope="module")
def small_disk(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What the log did on a small disk that filled up and became read-only."""
    if shutil.which("unshare") is None:
        pytest.skip("no unshare: a small disk cannot be made here")
    folder = tmp_path_factory.mktemp("small")
    script = 'mount -t tmpfs -o size=16m tmpfs "$1" && exec "$0" -m tests.log.small_disk "$1"'
    command = ["unshare", "--user", "--map-root-user", "--mount", "sh", "-c", script, sys.executable, str(folder)]
    if subprocess.run(
        [*command[:4], "mount", "-t", "tmpfs", "tmpfs", str(folder)], capture_output=True
    ).returncode:
        pytest.skip("no namespaces of one's own here: a small disk cannot be mounted")
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    seen: dict[str, Any] = json.loads(done.stdout)
    seen["log"] = f"{folder}/day.qc/log.sqlite3"
    return seen


def test_a_full_disk_is_said_and_nothing_of_the_capture_is_there(small_disk: dict[str, Any]) -> None:
    assert set(small_disk["full"]) == {f"{small_disk['log']}: the disk is full"}
    assert small_disk["full_event"] == f"{small_disk['log']}: the disk is full"
    assert small_disk["held_when_full"] == ["SB_0001.dng"]


def test_the_same_log_goes_on_when_there_is_room_again(small_disk: dict[str, Any]) -> None:
    assert set(small_disk["well_again"]) == {"well"}
    assert small_disk["held"] == [f"SB_{number:04}.dng" for number in range(1, 60)]
    assert small_disk["digests"] == 59


def test_a_disk_that_may_not_be_written_is_said(small_disk: dict[str, Any]) -> None:
    said = f"{small_disk['log']}: the log or its folder may not be written"
    assert small_disk["read_only"] == small_disk["read_only_again"] == small_disk["open_read_only_disk"] == said
    assert small_disk["writable_again"] == "well"
    assert small_disk["held_at_last"] == 60


def test_a_log_at_rest_is_read_from_a_disk_that_may_not_be_written(small_disk: dict[str, Any]) -> None:
    assert small_disk["read_from_read_only_disk"] == small_disk["held"]


def test_a_log_that_outgrows_its_room_in_the_middle_of_a_capture_holds_nothing_of_it(tmp_path: Path) -> None:
    many = measured(2, readings=measured(2).readings * 400)
    with Log.open(tmp_path / "day.qc") as log:
        log.add(captured(1))
        with log._disk.asked() as db:
            pages = db.execute("PRAGMA page_count").fetchone()[0]
            db.execute(f"PRAGMA max_page_count = {pages + 2}")
        with pytest.raises(LogError, match="the disk is full"):
            log.add(captured(2, result=many))
        assert [c.content for c in log.captures()] == [content(1)]
        log.add(captured(2, result=many))
        assert [c.content for c in log.captures()] == [content(1), content(2)]


def test_another_program_that_holds_the_log_is_waited_for_and_then_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connect, "BUSY_S", 0.05)
    with Log.open(tmp_path) as log:
        log.add(captured(1))
        with held(log.path), pytest.raises(LogError, match="another program has held the log for more than 5 s"):
            log.add(captured(2))
        log.add(captured(2))
        assert [c.content for c in log.captures()] == [content(1), content(2)]


def test_a_file_that_is_no_database_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite3"
    path.write_text("bottles, front\n" * 500)
    assert cause(tmp_path) == f"{path}: is not a log: no SQLite database"
    assert cause(tmp_path, read_only=True) == f"{path}: is not a log: no SQLite database"
    assert path.read_text() == "bottles, front\n" * 500


def test_a_damaged_log_is_said(tmp_path: Path) -> None:
    with Log.open(tmp_path) as log:
        for number in range(30):
            log.add(captured(number))
    with log.path.open("r+b") as file:
        file.seek(4096 * 3)
        file.write(b"\xaa" * 4096 * 60)
    with (
        pytest.raises(LogError, match=r"log\.sqlite3: the log is damaged: .*malformed"),
        Log.open(tmp_path) as log,
    ):
        list(log.captures())


def test_a_folder_or_file_in_the_way_is_said(tmp_path: Path) -> None:
    (tmp_path / "a.qc").write_text("")
    assert cause(tmp_path / "a.qc") == f"{tmp_path}/a.qc: is no folder that a log could lie in"
    (tmp_path / "b.qc" / "log.sqlite3").mkdir(parents=True)
    assert cause(tmp_path / "b.qc").startswith(f"{tmp_path}/b.qc/log.sqlite3: cannot be opened")


def test_a_log_that_is_not_there_is_made_only_when_asked_and_never_below_a_missing_folder(tmp_path: Path) -> None:
    path = tmp_path / "day.qc" / "log.sqlite3"
    assert cause(tmp_path / "day.qc", create=False) == f"{path}: there is no log here"
    assert cause(tmp_path / "day.qc", read_only=True) == f"{path}: there is no log here"
    assert "No such file" in cause(tmp_path / "pulled drive" / "day.qc")
    assert list(tmp_path.iterdir()) == []
    (tmp_path / "log.sqlite3").write_bytes(b"")
    assert "there is no log here: the file is blank" in cause(tmp_path, read_only=True)


def test_a_log_that_is_removed_while_it_is_used_is_said_and_then_made_anew(tmp_path: Path) -> None:
    with Log.open(tmp_path / "day.qc") as log:
        log.add(captured(1))
        shutil.rmtree(log.out)
        with pytest.raises(LogError, match="was removed while it was in use"):
            log.add(captured(2))
        log.add(captured(2))
        assert [c.content for c in log.captures()] == [content(2)]


def test_a_log_that_is_replaced_while_it_is_used_is_written_in_its_new_place(tmp_path: Path) -> None:
    with Log.open(tmp_path / "other") as other:
        other.add(captured(9))
    with Log.open(tmp_path / "day.qc") as log:
        log.add(captured(1))
        for file in log.out.glob("log.sqlite3*"):
            file.unlink()
        shutil.copy(other.path, log.path)
        log.add(captured(2))
        assert [c.content for c in log.captures()] == [content(9), content(2)]


def test_a_closed_log_says_so(tmp_path: Path) -> None:
    log = Log.open(tmp_path)
    log.close()
    log.close()
    with pytest.raises(LogError, match="was closed"):
        log.events()


def test_reading_only_leaves_the_log_as_it_is(tmp_path: Path) -> None:
    with Log.open(tmp_path) as log:
        log.add(captured(1))
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert log.path in before
    with Log.open(tmp_path, read_only=True) as log:
        assert [entry.content for entry in log.entries(SPECS)] == [content(1)]
        with pytest.raises(LogError, match="may not be written"):
            log.event(at())
    assert {path: path.read_bytes() for path in before} == before


def test_a_capture_whose_picture_cannot_be_kept_is_logged_and_that_is_said_once(tmp_path: Path) -> None:
    (tmp_path / "digests").write_text("in the way")
    with Log.open(tmp_path) as log:
        told = [log.add(captured(number)) for number in (1, 2)]
        assert [[event.kind for event in events] for events in told] == [["log_lost"], []]
        assert told[0][0].text == (
            "the picture of SB_0001.dng cannot be kept: File exists; its figures are logged"
        )
        assert [c.content for c in log.captures()] == [content(1), content(2)]
        (tmp_path / "digests").unlink()
        told = [log.add(captured(number)) for number in (2, 1, 1)]
        assert [[event.kind for event in events] for events in told] == [["log_back"], [], []]
        assert log.digest(content(1)) is not None
        assert [event.kind for _, event in log.events()] == ["log_lost", "log_back"]
    with closing(sqlite3.connect(log.path)) as db:
        assert set(db.execute("SELECT digest IS NULL, digest_lost FROM measurements")) == {(0, None)}


def test_why_a_picture_is_missing_stands_with_its_measurement(tmp_path: Path) -> None:
    (tmp_path / "digests").write_text("in the way")
    with Log.open(tmp_path) as log:
        log.add(captured(1))
        assert log.digest(content(2)) is None
    with closing(sqlite3.connect(log.path)) as db:
        assert db.execute("SELECT digest, digest_lost FROM measurements").fetchall() == [(None, "File exists")]


def test_a_picture_that_does_not_fit_leaves_nothing_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with Log.open(tmp_path) as log:
        (event,) = log.add(captured(1))
    assert event.data == {"part": "digests", "cause": "No space left on device"}
    assert [path for path in (tmp_path / "digests").rglob("*") if path.is_file()] == []


def test_a_damaged_digest_is_said_by_its_name(tmp_path: Path) -> None:
    with Log.open(tmp_path) as log:
        log.add(captured(1))
        path = tmp_path / digests.name_of(content(1))
        path.write_bytes(path.read_bytes()[:-9])
        with pytest.raises(LogError, match="damaged digest") as caught:
            log.digest(content(1))
        assert str(caught.value).startswith(str(path))


def test_what_a_killed_watch_left_unfinished_is_removed_later(tmp_path: Path) -> None:
    (tmp_path / "digests").mkdir()
    old, new = tmp_path / "digests" / "00.1.unfinished", tmp_path / "digests" / "00.2.unfinished"
    for path in (old, new):
        path.write_bytes(b"half")
    os.utime(old, (0, 0))
    Log.open(tmp_path).close()
    assert (old.exists(), new.exists()) == (False, True)


def test_a_fault_of_ours_does_not_pass_for_a_log_that_cannot_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Log.open(tmp_path) as log:
        one = captured(1)
        with monkeypatch.context() as faulty:
            faulty.setattr(rows, "plain_text", lambda _: None)
            with pytest.raises(sqlite3.IntegrityError, match="NOT NULL"):
                log.add(one)
        assert list(log.captures()) == []
        log.add(one)
        log.add(judged(replace(one, key=one.key), one.result.verdict.level, "blake2b:22"))
        assert [c.content for c in log.captures()] == [content(1)]
