"""What the last captures of a set measured, for lines over time: a few numbers each, never whole results."""

from __future__ import annotations

import os
import sqlite3
import tomllib
from collections.abc import Collection
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.log.rows import light_of_blob, order_of_row
from qc.reading import Level, Reading, Reason, Unit
from qc.series.entry import Order


@dataclass(frozen=True, slots=True, kw_only=True)
class Lately:
    """One capture of a set, as far as lines over time need it.

    Attributes
    ----------
    content : str
        What it is known by.
    name : str
        File name, as the operating system gives it.
    order : Order
        Where it stands in the day.
    level : Level
        Of its own verdict.
    readings : tuple of Reading
        Those that were asked for, without the doubts about their ±.
    light : ndarray of float32, shape (rows, columns), or None
        Mean light of coarse tiles.
    sheet_text : str or None
        What it was judged by, word for word.
    sheet_digest : str
        By which its result knows that sheet; empty for none.
    """

    content: str
    name: str
    order: Order
    level: Level
    readings: tuple[Reading, ...] = ()
    light: NDArray[np.float32] | None = field(default=None, compare=False)
    sheet_text: str | None = None
    sheet_digest: str = ""


ARRIVALS = (
    "SELECT a.content, a.file_name, a.ordered FROM standing AS s JOIN arrivals AS a ON a.id = s.id"
    " ORDER BY a.taken DESC, a.number DESC, a.id DESC"
)
JUDGED = (
    "SELECT measurement, level, sheet_name, sheet, sheet_digest FROM judged WHERE content = ? AND test = 'capture'"
)

READINGS = (
    "SELECT name, zone, value, plus_minus, bound, unit, reason, reason_text FROM readings"
    " WHERE measurement = ? AND name IN ({marks}) ORDER BY position"
)

_Row = Any
"""A row of the database, by name."""


def lately(db: sqlite3.Connection, content: str, names: Collection[str], most: int) -> tuple[Lately, ...]:
    """Return the last captures of the set that one belongs to, in the order taken.

    Parameters
    ----------
    db : sqlite3.Connection
        Of the log.
    content : str
        The one.
    names : collection of str
        Catalogue names of the readings that are wanted.
    most : int
        How many captures at most. Where the one is not among so many, those up to it.

    Returns
    -------
    tuple of Lately
        Empty when no path holds it. Captures of the very same moment stand by the counter in their names.
    """
    texts = _Texts(db)
    own = db.execute(JUDGED, (content,)).fetchone()
    chosen: list[tuple[_Row, _Row]] = []
    seen = False
    for arrival in db.execute(ARRIVALS) if own is not None else ():
        judged = db.execute(JUDGED, (arrival["content"],)).fetchone()
        if judged is None or texts.set_of(judged) != texts.set_of(own) or _again(arrival, chosen):
            continue
        if arrival["content"] == content:
            seen = True
            chosen = chosen if len(chosen) < most else []
        if len(chosen) < most:
            chosen.append((arrival, judged))
        if seen and len(chosen) == most:
            break
    told = [_lately(db, arrival, judged, names, texts) for arrival, judged in chosen] if seen else []
    return tuple(sorted(told, key=lambda one: (one.order, one.content)))


class _Texts:
    """The texts of sheets, each read once."""

    def __init__(self, db: sqlite3.Connection) -> None:
        self._db = db
        self._known: dict[str | None, str | None] = {None: None}

    def of(self, judged: _Row) -> str | None:
        """Return the text that a capture was judged by."""
        key = judged["sheet"]
        if key not in self._known:
            row = self._db.execute("SELECT text FROM sheets WHERE digest = ?", (key,)).fetchone()
            self._known[key] = None if row is None else row["text"]
        return self._known[key]

    def set_of(self, judged: _Row) -> str:
        """Return what its set is known by: as `qc.series.wrap.sheets.set_of`, without reading all of the sheet."""
        return judged["sheet_name"] or _captures_of(self.of(judged))


@lru_cache(maxsize=64)
def _captures_of(text: str | None) -> str:
    try:
        return str(tomllib.loads(text or "").get("set", {}).get("captures", ""))
    except tomllib.TOMLDecodeError:  # kept word for word, from a version that read it
        return ""


def _again(arrival: _Row, chosen: list[tuple[_Row, _Row]]) -> bool:
    """Tell whether the same pixels came under another name just before."""
    return bool(chosen) and chosen[-1][0]["content"] == arrival["content"]


def _lately(db: sqlite3.Connection, arrival: _Row, judged: _Row, names: Collection[str], texts: _Texts) -> Lately:
    measurement = judged["measurement"]
    light = db.execute("SELECT light FROM measurements WHERE id = ?", (measurement,)).fetchone()
    found = db.execute(READINGS.format(marks=", ".join("?" * len(names))), (measurement, *sorted(names)))
    return Lately(
        content=arrival["content"],
        name=os.fsdecode(arrival["file_name"]),
        order=order_of_row(arrival),
        level=Level(judged["level"]),
        readings=tuple(map(_reading, found)),
        light=light_of_blob(light["light"]),
        sheet_text=texts.of(judged),
        sheet_digest=judged["sheet_digest"] or "",
    )


def _reading(row: _Row) -> Reading:
    return Reading(
        name=row["name"],
        unit=Unit(row["unit"]),
        zone=row["zone"],
        value=row["value"],
        plus_minus=row["plus_minus"],
        bound=row["bound"],
        reason=None if row["reason"] is None else Reason(row["reason"], row["reason_text"] or ""),
    )
