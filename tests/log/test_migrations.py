"""A log is brought up to date step by step, each step with its record or not at all."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from qc.errors import LogError
from qc.log import migrations
from qc.log.log import Log
from qc.log.migrations import MIGRATIONS, migrate
from tests.log.made import captured, content

LOG = Path("log.sqlite3")

OLDEST = 1
"""Version of the oldest log there is."""


def blank() -> sqlite3.Connection:
    return sqlite3.connect(":memory:", isolation_level=None)


def of_version(version: int, monkeypatch: pytest.MonkeyPatch) -> sqlite3.Connection:
    db = blank()
    with monkeypatch.context() as past:
        past.setattr(migrations, "MIGRATIONS", MIGRATIONS[:version])
        migrate(db, LOG)
    return db


def schema(db: sqlite3.Connection) -> set[tuple[str, str, str]]:
    return set(db.execute("SELECT type, name, coalesce(sql, '') FROM sqlite_master"))


def test_a_blank_log_gets_every_step_and_its_record() -> None:
    db = blank()
    migrate(db, LOG)
    assert db.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)
    recorded = db.execute("SELECT version, name FROM migrations ORDER BY version").fetchall()
    assert recorded == [(number, step.__name__) for number, step in enumerate(MIGRATIONS, 1)]


def test_a_log_that_is_up_to_date_is_left_alone() -> None:
    db = blank()
    migrate(db, LOG)
    before = schema(db), db.total_changes
    migrate(db, LOG)
    assert (schema(db), db.total_changes) == before


@pytest.mark.parametrize("version", range(OLDEST, len(MIGRATIONS) + 1))
def test_a_log_of_any_version_ends_with_the_tables_of_a_blank_one(
    version: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    old, new = of_version(version, monkeypatch), blank()
    migrate(old, LOG)
    migrate(new, LOG)
    assert schema(old) == schema(new)


def test_what_an_older_log_holds_is_there_after_a_further_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with Log.open(tmp_path) as log:
        log.add(captured(1))

    def further(db: sqlite3.Connection) -> None:
        db.execute("ALTER TABLE arrivals ADD COLUMN seen_by TEXT")

    monkeypatch.setattr(migrations, "MIGRATIONS", (*MIGRATIONS, further))
    with pytest.raises(LogError, match="written by an older framegauge"):
        Log.open(tmp_path, read_only=True)
    with Log.open(tmp_path) as log:
        assert [c.content for c in log.captures()] == [content(1)]
    with sqlite3.connect(tmp_path / "log.sqlite3") as db:
        assert db.execute("SELECT max(m.version), m.name, seen_by FROM migrations AS m, arrivals").fetchone() == (
            len(MIGRATIONS) + 1,
            "further",
            None,
        )
    db.close()


def test_a_step_that_fails_leaves_the_log_at_the_step_before(monkeypatch: pytest.MonkeyPatch) -> None:
    db = blank()
    migrate(db, LOG)
    before = schema(db)

    def breaks(db: sqlite3.Connection) -> None:
        db.execute("CREATE TABLE half (id INTEGER)")
        db.execute("CREATE TABLE arrivals (id INTEGER)")

    monkeypatch.setattr(migrations, "MIGRATIONS", (*MIGRATIONS, breaks))
    with pytest.raises(sqlite3.OperationalError, match="already exists"):
        migrate(db, LOG)
    assert schema(db) == before
    assert db.execute("SELECT max(version) FROM migrations").fetchone() == (len(MIGRATIONS),)
    assert db.execute("PRAGMA user_version").fetchone() == (len(MIGRATIONS),)


def test_a_log_of_a_newer_framegauge_is_refused_in_one_line_and_left_alone(tmp_path: Path) -> None:
    Log.open(tmp_path).close()
    path = tmp_path / "log.sqlite3"
    with sqlite3.connect(path) as db:
        db.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    db.close()
    before = path.read_bytes()
    with pytest.raises(LogError) as caught:
        Log.open(tmp_path)
    assert str(caught.value) == (
        f"{path}: was written by a newer framegauge"
        f" (log version {len(MIGRATIONS) + 1}; up to {len(MIGRATIONS)} is known here)"
    )
    assert path.read_bytes() == before


def test_a_database_of_another_program_is_refused_and_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "log.sqlite3"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE prices (id INTEGER)")
    db.close()
    before = path.read_bytes()
    with pytest.raises(LogError, match="the database of another program, not a log"):
        Log.open(tmp_path)
    assert path.read_bytes() == before
