"""What the log is asked, on a connection whose rows go by name; nothing here writes.

Long answers are read one capture at a time, so that a day of thousands stays flat in memory and no reader holds
up the writer.
"""

from __future__ import annotations

import json
import os
import sqlite3
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from qc.log.keys import Key
from qc.log.rows import Judged, Logged, file_of, light_of_blob, order_of_row, result_of
from qc.result import Result

MEASURED = (
    "SELECT m.document, m.light, m.took_s, m.told, m.lit, c.causes, c.sheet_name, c.sheet_digest, s.text"
    " FROM judged AS c JOIN measurements AS m ON m.id = c.measurement LEFT JOIN sheets AS s ON s.digest = c.sheet"
    " WHERE c.content = ? AND c.test = ?"
)
"""The current measurement of a content, with its verdict and what it was judged by."""


def contents(db: sqlite3.Connection) -> list[str]:
    """Return every content, in the order of first arrival."""
    rows = db.execute("SELECT content FROM arrivals GROUP BY content ORDER BY min(id)")
    return [row["content"] for row in rows]


def logged(db: sqlite3.Connection, content: str) -> Logged | None:
    """Return one capture with its current verdict, or None."""
    arrivals = db.execute("SELECT * FROM arrivals WHERE content = ? ORDER BY id", (content,)).fetchall()
    measured = db.execute(MEASURED, (content, "capture")).fetchone()
    if not arrivals or measured is None:
        return None
    standing = {row["id"] for row in db.execute("SELECT id FROM standing WHERE content = ?", (content,))}
    arrival = next((a for a in arrivals if a["id"] in standing), arrivals[0])
    ambient = db.execute(MEASURED, (content, "ambient")).fetchone()
    return Logged(
        content=content,
        result=_at(result_of(measured), arrival),
        path=os.fsdecode(arrival["path"]),
        paths=_paths(arrivals),
        held=_paths(a for a in arrivals if a["id"] in standing),
        order=order_of_row(arrival),
        arrived_at=arrival["arrived_at"],
        replaced=not standing,
        light=light_of_blob(measured["light"]),
        complaints=arrival["complaints"],
        took_s=measured["took_s"],
        sheet_text=measured["text"],
        ambient=None if ambient is None else result_of(ambient),
        ambient_lit=None if ambient is None else ambient["lit"],
        ambient_text="" if ambient is None else ambient["told"],
    )


def measured(db: sqlite3.Connection, key: Key, lit: str = "") -> Result | None:
    """Return the newest result with a key as it was first judged, or None."""
    row = db.execute(
        "SELECT document, NULL AS causes FROM measurements WHERE lit = ? AND content = ? AND methods = ?"
        " AND zones = ? AND baseline = ? ORDER BY id DESC LIMIT 1",
        (lit, key.content, key.methods or "", key.zones or "", key.baseline or ""),
    ).fetchone()
    return None if row is None else result_of(row)


def judged(db: sqlite3.Connection, content: str, test: str) -> Judged | None:
    """Return what the current verdict of a content was given by, or None."""
    row = db.execute(
        "SELECT m.methods, m.zones, m.baseline, m.lit, c.limits FROM judged AS c"
        " JOIN measurements AS m ON m.id = c.measurement WHERE c.content = ? AND c.test = ?",
        (content, test),
    ).fetchone()
    if row is None:
        return None
    parts = {name: row[name] or None for name in ("methods", "zones", "baseline")}
    return Judged(key=Key(content=content, **parts), limits=row["limits"], lit=row["lit"])


def last(db: sqlite3.Connection) -> tuple[Result, str] | None:
    """Return the capture that was seen last, with its current verdict and path, or None.

    Seen, not measured: after a start those that lay there already are measured behind the new ones.
    """
    newest = "SELECT * FROM arrivals ORDER BY julianday(arrived_at) DESC, number DESC, id DESC LIMIT 1"
    arrival = db.execute(newest).fetchone()
    return None if arrival is None else _told(db, arrival)


def find(db: sqlite3.Connection, name: str) -> tuple[Result, str] | None:
    """Return the newest capture of a path, else of a file name, else with a companion of that name, or None."""
    encoded = {"name": os.fsencode(name), "quoted": json.dumps(name)}
    for where in (
        "path = :name OR place = :name",
        "file_name = :name",
        "companions != '[]' AND instr(companions, :quoted) > 0",
    ):
        question = f"SELECT * FROM arrivals WHERE {where} ORDER BY id DESC LIMIT 1"
        if (row := db.execute(question, encoded).fetchone()) is not None:
            return _told(db, row)
    return None


def _told(db: sqlite3.Connection, arrival: Any) -> tuple[Result, str]:
    measured = db.execute(MEASURED, (arrival["content"], "capture")).fetchone()
    return _at(result_of(measured), arrival), os.fsdecode(arrival["path"])


def _paths(arrivals: Iterable[Any]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(os.fsdecode(a["path"]) for a in arrivals))


def _at(result: Result, arrival: Any) -> Result:
    """Return a result as of one arrival of its content."""
    return replace(result, file=file_of(arrival, result.file), replaces=arrival["replaces"])
