"""However a watch ends, its log holds each capture wholly or not at all; and two may write at once."""

from __future__ import annotations

import random
import signal
import sqlite3
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from qc.digest import Digest
from qc.log.log import Log
from tests.log.keep_adding import noted
from tests.log.made import captured, content

ROOT = Path(__file__).parents[2]


def adder(out: Path, first: int, *more: str) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", "tests.log.keep_adding", str(out), str(first), *more]
    return subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, text=True)


def check_whole(out: Path) -> set[str]:
    """Check that nothing in the log is half written; returns the contents it holds."""
    db = sqlite3.connect(out / "log.sqlite3")
    try:
        assert db.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert db.execute("PRAGMA foreign_key_check").fetchall() == []
        arrived = [row[0] for row in db.execute("SELECT content FROM arrivals")]
        assert len(arrived) == len(set(arrived))
        assert arrived == [row[0] for row in db.execute("SELECT content FROM measurements WHERE lit = ''")]
        assert sorted(arrived) == sorted(row[0] for row in db.execute("SELECT content FROM current"))
        assert sorted(arrived) == sorted(row[0] for row in db.execute("SELECT content FROM events"))
        joined = "measurements AS m LEFT JOIN readings AS r ON r.measurement = m.id GROUP BY m.id"
        rows = db.execute(f"SELECT count(r.position) FROM {joined}")
        assert {row[0] for row in rows} <= {len(captured(0).result.readings)}
        names = [row[0] for row in db.execute("SELECT digest FROM measurements")]
    finally:
        db.close()
    for name in names:
        assert Digest.from_bytes((out / name).read_bytes()).full_size == (36, 24)
    return set(arrived)


def test_a_log_holds_each_capture_wholly_or_not_at_all_whenever_its_watch_is_killed(tmp_path: Path) -> None:
    out, chance, told = tmp_path / "day.qc", random.Random(7), 0
    for first in (0, 1000, 2000, 3000, 4000, 5000):
        with adder(out, first) as process:
            assert process.stdout is not None
            assert process.stdout.readline() == f"{first}\n"  # it is in the middle of adding now
            time.sleep(chance.uniform(0.0, 0.15))
            process.send_signal(signal.SIGKILL)
            said = [first, *map(int, process.stdout.read().split())]
        held = check_whole(out)
        told += len(said)
        assert {content(number) for number in said} <= held  # what was told is there: at most one more is
        assert told <= len(held) <= told + 1
        told = len(held)
        with Log.open(out) as log:  # the next watch adds the rest, and what it adds twice is there once
            for number in range(first, first + 3):
                log.add(noted(number))
                told += content(number) not in held
            assert len(list(log.captures())) == told


@pytest.mark.parametrize(("kind", "journal"), [("ext4", "wal"), ("nfs4", "delete")])
def test_two_processes_that_write_at_once_both_succeed(tmp_path: Path, kind: str, journal: str) -> None:
    out, mounts = tmp_path / "day.qc", tmp_path / "mounts"
    mounts.write_text(f"any / {kind} rw 0 0\n")
    adders = [adder(out, first, "40", str(mounts)) for first in (0, 1000)]
    for process in adders:
        said, _ = process.communicate(timeout=100)
        assert process.returncode == 0
        assert len(said.split()) == 40
    assert len(check_whole(out)) == 80
    with sqlite3.connect(out / "log.sqlite3") as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == (journal,)
    db.close()


def test_two_logs_in_one_process_may_add_the_same_capture_at_once(tmp_path: Path) -> None:
    def add_all(_: int) -> None:
        with Log.open(tmp_path / "day.qc") as log:
            for capture in range(20):
                log.add(noted(capture))

    with ThreadPoolExecutor(3) as pool:
        list(pool.map(add_all, range(3)))
    assert len(check_whole(tmp_path / "day.qc")) == 20


def test_threads_may_share_one_log(tmp_path: Path) -> None:
    with Log.open(tmp_path / "day.qc") as log, ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda number: log.add(captured(number % 10)), range(40)))
        assert {c.content for c in log.captures()} == {content(number) for number in range(10)}
        assert len(log.arrivals()) == 10
