"""The tables of the log, as ordered steps: each is applied together with its record, or not at all.

A step that was ever released is never changed; what is new is a further step at the end of `MIGRATIONS`.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from pathlib import Path

from qc.errors import LogError
from qc.event import now

APPLICATION = 0x46474C31
"""Mark by which a log is told from any other SQLite database (``application_id`` in its header)."""

FIRST_TABLES = (
    """
    CREATE TABLE migrations (
        version INTEGER PRIMARY KEY,
        name TEXT NOT NULL,
        applied_at TEXT NOT NULL
    )
    """,
    """
    CREATE TABLE sheets (            -- what captures were judged by, word for word
        digest TEXT PRIMARY KEY,     -- of the text: sheet and acceptances
        path BLOB,
        name TEXT,
        text TEXT NOT NULL
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE arrivals (          -- a path held a content: one row for each state of a file
        id INTEGER PRIMARY KEY,
        path BLOB NOT NULL,          -- os.fsencode of what the watch calls it
        place BLOB NOT NULL,         -- os.fsencode of where it was opened
        file_name BLOB NOT NULL,
        name TEXT NOT NULL,          -- the same, printable
        stamp TEXT NOT NULL,         -- size, time and number of the file; empty when it was gone
        content TEXT NOT NULL,       -- "blake2b:…", or "unread:…" where it could not be read
        bytes INTEGER NOT NULL,
        state TEXT NOT NULL,
        detail TEXT,
        companions TEXT NOT NULL,    -- JSON
        arrived_at TEXT NOT NULL,    -- when it was first seen
        ordered TEXT NOT NULL,       -- qc.series.entry.Order, JSON
        taken TEXT NOT NULL,         -- its first part
        number INTEGER NOT NULL,     -- its third: in which order files were noticed
        replaces TEXT,               -- what the path held before
        complaints TEXT NOT NULL,
        UNIQUE (path, stamp, content)
    )
    """,
    "CREATE INDEX arrivals_by_content ON arrivals (content)",
    "CREATE INDEX arrivals_by_name ON arrivals (file_name)",
    """
    CREATE TABLE replaced (          -- contents of other paths that an arrival stands for, as a raw for its JPEG
        arrival INTEGER NOT NULL REFERENCES arrivals (id),
        content TEXT NOT NULL,
        PRIMARY KEY (content, arrival)
    ) WITHOUT ROWID
    """,
    """
    CREATE TABLE measurements (      -- only ever added to
        id INTEGER PRIMARY KEY,
        content TEXT NOT NULL,       -- for an ambient test: the dark frame's
        lit TEXT NOT NULL,           -- for an ambient test: the lit frame's; else empty
        methods TEXT NOT NULL,
        zones TEXT NOT NULL,
        baseline TEXT NOT NULL,
        state TEXT NOT NULL,         -- a file that can be read today is measured though it could not yesterday
        document TEXT NOT NULL,      -- the whole result, JSON contract
        light BLOB,                  -- qc.series.order.light_of, as npy
        decoder TEXT,
        took_s REAL NOT NULL,
        measured_at TEXT NOT NULL,
        told TEXT NOT NULL,          -- for an ambient test: its figures in words
        digest TEXT,                 -- name of the digest beside the log; NULL without a picture
        digest_lost TEXT,            -- why it could not be written
        UNIQUE (content, lit, methods, zones, baseline, state)
    )
    """,
    """
    CREATE TABLE readings (
        measurement INTEGER NOT NULL REFERENCES measurements (id),
        position INTEGER NOT NULL,
        name TEXT NOT NULL,
        zone TEXT,
        value REAL CHECK (typeof(value) IN ('real', 'null')),
        plus_minus REAL CHECK (typeof(plus_minus) IN ('real', 'null')),
        bound TEXT,
        unit TEXT NOT NULL,
        reason TEXT CHECK ((reason IS NULL) = (value IS NOT NULL)),
        reason_text TEXT,
        doubt TEXT,
        PRIMARY KEY (measurement, position)
    ) WITHOUT ROWID
    """,
    "CREATE INDEX readings_by_name ON readings (name, zone)",
    """
    CREATE TABLE verdicts (
        id INTEGER PRIMARY KEY,
        measurement INTEGER NOT NULL REFERENCES measurements (id),
        limits TEXT NOT NULL,
        level TEXT NOT NULL,
        causes TEXT NOT NULL,        -- the contract's "verdict", JSON
        sheet TEXT REFERENCES sheets (digest),
        sheet_name TEXT,
        sheet_digest TEXT,           -- as the result says it
        UNIQUE (measurement, limits)
    )
    """,
    """
    CREATE TABLE judgements (        -- which verdict held from when on
        id INTEGER PRIMARY KEY,
        content TEXT NOT NULL,
        test TEXT NOT NULL CHECK (test IN ('capture', 'ambient')),
        verdict INTEGER NOT NULL REFERENCES verdicts (id),
        at TEXT NOT NULL
    )
    """,
    "CREATE INDEX judgements_by_content ON judgements (content, test)",
    """
    CREATE TABLE events (            -- the timeline; numbers are never used twice
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        kind TEXT NOT NULL,
        at TEXT NOT NULL,
        content TEXT,
        level TEXT,
        document TEXT NOT NULL       -- the whole event, JSON contract
    )
    """,
    """
    CREATE VIEW judged AS            -- the newest verdict of each capture and of each dark frame's ambient test
        SELECT j.content, j.test, m.lit, v.measurement, v.id AS verdict, v.level, v.limits, v.causes,
               v.sheet, v.sheet_name, v.sheet_digest, j.at
        FROM judgements AS j
        JOIN verdicts AS v ON v.id = j.verdict
        JOIN measurements AS m ON m.id = v.measurement
        WHERE j.id = (SELECT max(k.id) FROM judgements AS k WHERE k.content = j.content AND k.test = j.test)
    """,
    "CREATE VIEW current AS SELECT * FROM judged WHERE test = 'capture'",
    """
    CREATE VIEW standing AS          -- the arrivals whose content is still what its path holds
        SELECT a.id, a.content FROM arrivals AS a
        WHERE NOT EXISTS (SELECT 1 FROM arrivals AS b WHERE b.path = a.path AND b.id > a.id)
          AND NOT EXISTS (SELECT 1 FROM replaced AS r WHERE r.content = a.content AND r.arrival > a.id)
    """,
)


def first_tables(db: sqlite3.Connection) -> None:
    """Make the tables of a blank log."""
    db.execute(f"PRAGMA application_id = {APPLICATION}")
    for statement in FIRST_TABLES:
        db.execute(statement)


MIGRATIONS: tuple[Callable[[sqlite3.Connection], None], ...] = (first_tables,)
"""Every step so far; the version of a log is the number of steps it has seen."""


def migrate(db: sqlite3.Connection, path: Path, *, read_only: bool = False) -> None:
    """Bring a log up to date.

    Parameters
    ----------
    db : sqlite3.Connection
        In autocommit mode.
    path : Path
        Of the log, for the message.
    read_only : bool
        Whether an older log is refused instead.

    Raises
    ------
    LogError
        When it was written by a newer framegauge, or is the database of another program.
    """
    while (version := checked_version(db, path)) < len(MIGRATIONS):
        if read_only and version == 0:
            raise LogError(path, "there is no log here: the file is blank")
        if read_only:
            raise LogError(
                path, "was written by an older framegauge: open it once for writing to bring it up to date"
            )
        _step(db, version)


def _step(db: sqlite3.Connection, version: int) -> None:
    """Apply one step with its record, unless another process has done so meanwhile."""
    db.execute("BEGIN IMMEDIATE")
    try:
        if _version(db) == version:
            apply = MIGRATIONS[version]
            apply(db)
            row = (version + 1, apply.__name__, now())
            db.execute("INSERT INTO migrations (version, name, applied_at) VALUES (?, ?, ?)", row)
            db.execute(f"PRAGMA user_version = {version + 1}")
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def checked_version(db: sqlite3.Connection, path: Path) -> int:
    """Return how many steps a log has seen, 0 for a blank file; raises `LogError` as `migrate` does."""
    version = _version(db)
    (things,) = db.execute("SELECT count(*) FROM sqlite_master").fetchone()
    # the mark after the tables: another process may be making both at this moment, in one transaction
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    if things and mark != APPLICATION:
        raise LogError(path, "is the database of another program, not a log")
    if version > len(MIGRATIONS):
        raise LogError(
            path,
            f"was written by a newer framegauge (log version {version}; up to {len(MIGRATIONS)} is known here)",
        )
    return version


def _version(db: sqlite3.Connection) -> int:
    (version,) = db.execute("PRAGMA user_version").fetchone()
    return int(version)
