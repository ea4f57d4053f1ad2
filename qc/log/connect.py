"""Opening the log's database, and its errors in our words."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

from qc.disk import is_network
from qc.errors import LogError
from qc.log.migrations import checked_version, migrate

BUSY_S = 5.0
"""Seconds to wait for another process that writes."""

DEFECTS = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.DataError, sqlite3.NotSupportedError)
"""Errors that say nothing of the disk: a fault of ours, which must not pass for a log that cannot be written."""

CAUSES = {
    sqlite3.SQLITE_FULL: "the disk is full",
    sqlite3.SQLITE_READONLY: "the log or its folder may not be written",
    sqlite3.SQLITE_BUSY: f"another program has held the log for more than {BUSY_S:.0f} s",
    sqlite3.SQLITE_LOCKED: f"another program has held the log for more than {BUSY_S:.0f} s",
    sqlite3.SQLITE_CANTOPEN: "cannot be opened: its folder is missing, or may not be read or written",
    sqlite3.SQLITE_PERM: "may not be opened",
    sqlite3.SQLITE_NOTADB: "is not a log: no SQLite database",
    sqlite3.SQLITE_CORRUPT: "the log is damaged",
}
"""By SQLite's primary result codes (https://www.sqlite.org/rescode.html)."""


def connect(path: Path, *, create: bool, read_only: bool) -> sqlite3.Connection:
    """Open a log, up to date, in autocommit mode and with rows that go by name.

    Parameters
    ----------
    path : Path
        Of the database. The folder that holds it is made when `create`; the one above that must exist: after a
        drive was pulled, a log must not grow in the place where it used to be mounted.
    create : bool
        Whether a missing log is made.
    read_only : bool
        Whether nothing of it is changed.

    Raises
    ------
    LogError
        When it is missing, newer, or of another program.
    sqlite3.Error, OSError
        For the disk's own troubles; `cause_of` says them.
    """
    if path.parent.exists() and not path.parent.is_dir():
        raise LogError(path.parent, "is no folder that a log could lie in")
    if create and not read_only:
        path.parent.mkdir(exist_ok=True)
    elif not path.exists():
        raise LogError(path, "there is no log here")
    db = _opened(path, "ro" if read_only else "rwc" if create else "rw")
    try:
        db.execute("PRAGMA foreign_keys = ON")
        checked_version(db, path)  # before anything of another program is touched
        if not read_only:
            _set_journal(db, path)
        migrate(db, path, read_only=read_only)
        if not read_only:
            _check_writable(db)
    except BaseException:
        db.close()
        raise
    return db


def cause_of(error: sqlite3.Error | OSError) -> str:
    """Return the cause of a failure in words."""
    if isinstance(error, OSError):
        return error.strerror or str(error)
    code = getattr(error, "sqlite_errorcode", None)
    said = CAUSES.get(code & 0xFF) if code is not None else None
    return said if said and code != sqlite3.SQLITE_CORRUPT else f"{said or 'the log fails'}: {error}"


def _opened(path: Path, mode: str) -> sqlite3.Connection:
    place = path.absolute().as_uri()  # a name that is not UTF-8 passes as a URI only
    db = _connection(f"{place}?mode={mode}")
    if mode != "ro":
        return db
    try:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError:
        db.close()
        if path.with_name(path.name + "-wal").exists():
            raise
        # a log at rest on a disk that nobody can write: without the shared memory that its journal asks for
        return _connection(f"{place}?mode=ro&immutable=1")
    except BaseException:
        db.close()
        raise
    return db


def _connection(uri: str) -> sqlite3.Connection:
    db = sqlite3.connect(uri, uri=True, timeout=BUSY_S, isolation_level=None, check_same_thread=False)
    db.row_factory = sqlite3.Row
    return db


def _check_writable(db: sqlite3.Connection) -> None:
    """Fail now where SQLite has opened a file that may not be written for reading only, without a word."""
    db.execute("BEGIN IMMEDIATE")
    db.execute("DELETE FROM migrations WHERE version < 0")
    db.execute("ROLLBACK")


def _set_journal(db: sqlite3.Connection, path: Path) -> None:
    """Use the write-ahead log where all readers share one memory, the rollback journal elsewhere."""
    wanted = "delete" if is_network(path) else "wal"
    with closing(db.execute("PRAGMA journal_mode")) as cursor:
        (mode,) = cursor.fetchone()
    if mode != wanted:
        db.execute(f"PRAGMA journal_mode = {wanted}").fetchone()
