"""A log opens in any folder, on any kind of disk, for several at once, and reads flat in memory."""

from __future__ import annotations

import sqlite3
import tracemalloc
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path
from threading import Barrier

import pytest

from qc import disk
from qc.log.log import Log
from tests.log.made import captured, content, measured
from tests.sheet.toys import SPECS


def on_disk_of_kind(kind: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"any / {kind} rw 0 0\n")
    monkeypatch.setattr(disk, "MOUNTS", mounts)


def journal(path: Path) -> str:
    with closing(sqlite3.connect(path)) as db:
        return str(db.execute("PRAGMA journal_mode").fetchone()[0])


@pytest.mark.parametrize("name", ["day 1.qc", "50 % off?.qc", "#1&mode=ro.qc", "bottle \udcff.qc", "Töpfe\n標.qc"])
def test_a_log_opens_in_a_folder_of_any_name(tmp_path: Path, name: str) -> None:
    with Log.open(tmp_path / name) as log:
        log.add(captured(1))
    with Log.open(tmp_path / name, read_only=True) as log:
        assert [c.content for c in log.captures()] == [content(1)]
        assert log.digest(content(1)) is not None
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_the_write_ahead_log_is_used_on_local_disks_only_and_follows_a_log_that_is_moved(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    out = tmp_path / "day.qc"
    for number, (kind, wanted) in enumerate([("nfs4", "delete"), ("ext4", "wal"), ("cifs", "delete")]):
        on_disk_of_kind(kind, tmp_path, monkeypatch)
        with Log.open(out) as log:
            log.add(captured(number))
            assert journal(log.path) == wanted
            assert (out / "log.sqlite3-shm").exists() is (wanted == "wal")
    with Log.open(out) as log:
        assert len(list(log.captures())) == 3


@pytest.mark.parametrize("kind", ["ext4", "nfs4"])
def test_several_that_make_the_same_log_at_the_same_moment_all_succeed(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    on_disk_of_kind(kind, tmp_path, monkeypatch)
    together = Barrier(4)

    def begin(number: int, out: Path) -> None:
        together.wait(timeout=60)
        with Log.open(out) as log:
            log.add(captured(number))

    with ThreadPoolExecutor(4) as pool:
        for out in (tmp_path / f"day {again}.qc" for again in range(10)):
            list(pool.map(begin, range(4), [out] * 4))
            with Log.open(out) as log:
                assert {c.content for c in log.captures()} == {content(number) for number in range(4)}


def test_reading_a_long_day_needs_no_more_memory_than_reading_a_short_one(tmp_path: Path) -> None:
    many = measured(0).readings * 12

    def peak(log: Log, days: range) -> int:
        for number in days:
            log.add(captured(number, result=measured(number, readings=many)))
        tracemalloc.start()
        try:
            assert sum(1 for _ in log.entries(SPECS)) == days.stop
            return tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()

    with Log.open(tmp_path / "day.qc") as log:
        list(log.entries(SPECS))  # what is imported on first use is not the log's
        short = peak(log, range(40))
        long = peak(log, range(40, 240))
    one_document = 12_000
    assert long < short + 20 * one_document
