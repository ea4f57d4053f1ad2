"""What the log adds, inside a transaction that its caller began: rows only, which were made before."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Sequence
from typing import Any

from qc.event import now
from qc.log.additions import Addition
from qc.log.rows import Row

Found = Any
"""One row of a query as `sqlite3` gives it."""


def put(db: sqlite3.Connection, addition: Addition) -> bool:
    """Add what is not there yet; returns whether anything was."""
    changed = addition.arrival is not None and _put_arrival(db, addition.arrival, addition.replaces)
    if addition.sheet is not None:
        columns = _columns(addition.sheet)
        db.execute(f"INSERT INTO sheets {columns} ON CONFLICT DO NOTHING", addition.sheet)
    measurement, new = _put_measurement(db, addition.measurement, addition.readings)
    verdict = _put_verdict(db, addition.verdict | {"measurement": measurement})
    judged = _judge(db, addition.measurement["content"], addition.test, verdict)
    return changed or new or judged


def put_event(db: sqlite3.Connection, row: Row) -> int:
    """Add an event; returns its number."""
    return _insert(db, "events", row)


def find_measurement(db: sqlite3.Connection, row: Row) -> Found | None:
    """Return number and digest of the measurement with the same key and state, or None."""
    return db.execute(
        "SELECT id, digest FROM measurements WHERE content = :content AND lit = :lit AND methods = :methods"
        " AND zones = :zones AND baseline = :baseline AND state = :state",
        row,
    ).fetchone()


def _put_arrival(db: sqlite3.Connection, row: Row, replaces: Sequence[str]) -> bool:
    known = db.execute(
        "SELECT id, companions, state, detail FROM arrivals"
        " WHERE path = :path AND stamp = :stamp AND content = :content",
        row,
    ).fetchone()
    if known is not None:
        return _amend_arrival(db, known, row)
    before = db.execute("SELECT content FROM arrivals WHERE path = :path ORDER BY id DESC LIMIT 1", row).fetchone()
    replaced = before[0] if before is not None and before[0] != row["content"] else None
    number = _insert(db, "arrivals", row | {"replaces": replaced})
    for content in dict.fromkeys(replaces):
        if content not in (replaced, row["content"]):
            _insert(db, "replaced", {"arrival": number, "content": content})
    return True


def _amend_arrival(db: sqlite3.Connection, known: Found, row: Row) -> bool:
    """Note what has become known of an arrival since: a further companion, or that the file stays incomplete."""
    number, companions, state, detail = known
    names = list(dict.fromkeys([*json.loads(companions), *json.loads(row["companions"])]))
    amended = {"companions": json.dumps(names), "state": row["state"], "detail": row["detail"]}
    if amended == {"companions": companions, "state": state, "detail": detail}:
        return False
    db.execute(
        "UPDATE arrivals SET companions = :companions, state = :state, detail = :detail WHERE id = :id",
        amended | {"id": number},
    )
    return True


def _put_measurement(db: sqlite3.Connection, row: Row, readings: Sequence[Row]) -> tuple[int, bool]:
    known = find_measurement(db, row)
    if known is None:
        number = _insert(db, "measurements", row)
        for reading in readings:
            _insert(db, "readings", reading | {"measurement": number})
        return number, True
    number, digest = known
    if digest is None and row["digest"] is not None:
        db.execute("UPDATE measurements SET digest = ?, digest_lost = NULL WHERE id = ?", (row["digest"], number))
        return number, True
    return number, False


def _put_verdict(db: sqlite3.Connection, row: Row) -> int:
    known = db.execute(
        "SELECT id FROM verdicts WHERE measurement = :measurement AND limits = :limits", row
    ).fetchone()
    return _insert(db, "verdicts", row) if known is None else int(known[0])


def _judge(db: sqlite3.Connection, content: str, test: str, verdict: int) -> bool:
    """Make a verdict the current one, unless it is."""
    newest = db.execute(
        "SELECT verdict FROM judgements WHERE content = ? AND test = ? ORDER BY id DESC LIMIT 1", (content, test)
    ).fetchone()
    if newest is not None and newest[0] == verdict:
        return False
    _insert(db, "judgements", {"content": content, "test": test, "verdict": verdict, "at": now()})
    return True


def _insert(db: sqlite3.Connection, table: str, row: Row) -> int:
    number = db.execute(f"INSERT INTO {table} {_columns(row)}", row).lastrowid
    assert number is not None
    return number


def _columns(row: Row) -> str:
    return f"({', '.join(row)}) VALUES ({', '.join(f':{name}' for name in row)})"
