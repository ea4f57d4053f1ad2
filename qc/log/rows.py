"""Between the house's types and the log's rows: the only place where a value becomes a column or comes back.

SQLite would take a numpy scalar as a blob and NaN as NULL, and refuses text with bytes that are not UTF-8. So
every number passes through `float` or `int` here, documents through the JSON contract, and names go in as bytes.
"""

from __future__ import annotations

import io
import json
import os
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.contract import from_json, json_line, verdict_json, verdict_of
from qc.errors import printable
from qc.event import Event, now
from qc.intake.updates import Stamp
from qc.log.keys import Key, known_as, stamp_text
from qc.reading import Level
from qc.result import FileFacts, Result
from qc.series.entry import Order

Row = dict[str, Any]
"""Columns by name."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Captured:
    """All that one transaction of the log holds of a capture.

    Attributes
    ----------
    result : Result
        Measured and judged; with its digest where there was a frame.
    path : str
        What the watch knows the file by, as the operating system gives names.
    stamp : Stamp or None
        State of the file that was measured; None when it was gone.
    key : Key
        What the measurement is known by; without a content the log takes `qc.log.keys.known_as`.
    limits : str
        Digest of the limits of the verdict (`qc.log.keys.limits_digest`).
    sheet_text, sheet_path : str or None
        Text of the set sheet with what was accepted, and where the sheet lies.
    complaints : str
        What the decoder wrote to stderr.
    light : ndarray of float32, shape (rows, columns), or None
        `qc.series.order.light_of` of the digest.
    order : Order
        Where the capture stands in the day.
    took_s : float
        Seconds that measuring took.
    events : tuple of Event
        What is to stand in the timeline together with it; not written again when nothing is new.
    arrived_at : str or None
        Local time with offset; None for now.
    replaces : tuple of str
        Contents under other paths that this capture stands for from now on, such as the JPEG that came before its
        raw. What the same path held before is found without it.
    """

    result: Result
    path: str
    stamp: Stamp | None
    key: Key
    limits: str
    sheet_text: str | None = None
    sheet_path: str | None = None
    complaints: str = ""
    light: NDArray[np.float32] | None = field(default=None, compare=False)
    order: Order
    took_s: float
    events: tuple[Event, ...] = ()
    arrived_at: str | None = None
    replaces: tuple[str, ...] = ()

    @property
    def content(self) -> str:
        """What the log knows the capture by."""
        return self.key.content or known_as(self.result.file.content, self.path, self.stamp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Logged:
    """One capture as the log holds it.

    Attributes
    ----------
    content : str
        What it is known by.
    result : Result
        With its current verdict, and the file's facts of its first arrival that still stands; no digest.
    path : str
        Of that arrival.
    paths : tuple of str
        Every path it arrived under, oldest first.
    held : tuple of str
        Those of `paths` that still hold it, oldest first.
    order : Order
        Where it stands in the day.
    arrived_at : str
        When.
    replaced : bool
        Whether no path holds it any more: another content came under its name, or a raw took its place.
    light : ndarray of float32, shape (rows, columns), or None
        Mean light of coarse tiles.
    complaints : str
        What the decoder wrote to stderr.
    took_s : float
        Seconds that measuring took.
    sheet_text : str or None
        What the current verdict was judged by, word for word.
    ambient : Result or None
        The newest ambient test of this dark frame, with its current verdict.
    ambient_lit : str or None
        Content of the lit frame of that test.
    ambient_text : str
        Its figures in words.
    """

    content: str
    result: Result
    path: str
    paths: tuple[str, ...]
    held: tuple[str, ...] = ()
    order: Order
    arrived_at: str
    replaced: bool
    light: NDArray[np.float32] | None = field(default=None, compare=False)
    complaints: str = ""
    took_s: float = 0.0
    sheet_text: str | None = None
    ambient: Result | None = None
    ambient_lit: str | None = None
    ambient_text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Judged:
    """What the current verdict of a capture, or of a dark frame's ambient test, was given by.

    Attributes
    ----------
    key : Key
        Of the measurement.
    limits : str
        Digest of the limits.
    lit : str
        Content of the lit frame of an ambient test; empty for a capture.
    """

    key: Key
    limits: str
    lit: str = ""


def arrival_row(captured: Captured) -> Row:
    """Return the row of an arrival."""
    file, order = captured.result.file, captured.order
    return {
        "path": os.fsencode(captured.path),
        "place": os.fsencode(file.path),
        "file_name": os.fsencode(file.name),
        "name": printable(file.name),
        "stamp": stamp_text(captured.stamp),
        "content": captured.content,
        "bytes": int(file.bytes),
        "state": file.state,
        "detail": plain_text(file.detail),
        "companions": json.dumps(file.companions),
        "arrived_at": captured.arrived_at or now(),
        "ordered": json.dumps([plain_text(order[0]), order[1], int(order[2]), int(order[3])]),
        "taken": plain_text(order[0]),
        "number": int(order[2]),
        "complaints": plain_text(captured.complaints),
    }


def measurement_row(
    result: Result, key: Key, *, content: str, lit: str = "", light: NDArray[np.float32] | None, took_s: float
) -> Row:
    """Return the row of a measurement, without its digest."""
    return {
        "content": content,
        "lit": lit,
        "methods": key.methods or "",
        "zones": key.zones or "",
        "baseline": key.baseline or "",
        "state": result.file.state,
        "document": json_line(result),
        "light": None if light is None else light_blob(light),
        "decoder": plain_text(result.made_by.decoder),
        "took_s": float(took_s),
        "measured_at": result.measured_at,
        "told": "",
        "digest": None,
        "digest_lost": None,
    }


def reading_rows(result: Result) -> list[Row]:
    """Return a row for each reading, without the number of their measurement."""
    return [
        {
            "position": position,
            "name": reading.name,
            "zone": reading.zone,
            "value": None if reading.value is None else float(reading.value),
            "plus_minus": None if reading.plus_minus is None else float(reading.plus_minus),
            "bound": reading.bound,
            "unit": str(reading.unit),
            "reason": reading.reason.code if reading.reason else None,
            "reason_text": plain_text(reading.reason.text) if reading.reason else None,
            "doubt": plain_text(str(reading.doubt)) if reading.doubt else None,
        }
        for position, reading in enumerate(result.readings)
    ]


def verdict_row(result: Result, limits: str, sheet: str | None) -> Row:
    """Return the row of a verdict, without the number of its measurement."""
    return {
        "limits": limits,
        "level": str(result.verdict.level),
        "causes": json.dumps(verdict_json(result.verdict), allow_nan=False),
        "sheet": sheet,
        "sheet_name": plain_text(result.sheet_name),
        "sheet_digest": result.sheet_digest,
    }


def event_row(event: Event) -> Row:
    """Return the row of an event."""
    return {
        "kind": event.kind,
        "at": event.at,
        "content": event.content,
        "level": None if event.level is None else str(event.level),
        "document": json_line(event),
    }


def event_of(document: str) -> Event:
    """Read the event that `event_row` wrote."""
    said = json.loads(document)
    level = None if said["level"] is None else Level(said["level"])
    keys = ("kind", "at", "text", "name", "content", "data")
    return Event(level=level, **{key: said[key] for key in keys})


def result_of(row: Mapping[str, Any]) -> Result:
    """Read a measurement's result; a verdict's columns beside it stand in place of what the document says."""
    result = from_json(json.loads(row["document"]))
    if row["causes"] is None:
        return result
    return replace(
        result,
        verdict=verdict_of(json.loads(row["causes"])),
        sheet_name=row["sheet_name"],
        sheet_digest=row["sheet_digest"],
    )


def file_of(arrival: Mapping[str, Any], said: FileFacts) -> FileFacts:
    """Return a file's facts as they were at one arrival; `said` is what its result says of its bytes."""
    place = os.fsdecode(arrival["place"])
    return FileFacts(
        path=place,
        name=os.fsdecode(arrival["file_name"]),
        bytes=arrival["bytes"],
        content=said.content,
        sha256=said.sha256,
        state=arrival["state"],
        detail=arrival["detail"],
        companions=tuple(json.loads(arrival["companions"])),
    )


def order_of_row(arrival: Mapping[str, Any]) -> Order:
    """Return where an arrival stands in the day."""
    taken, name, number, part = json.loads(arrival["ordered"])
    return taken, name, number, part


def light_blob(light: NDArray[np.float32]) -> bytes:
    """Return an array as npy, without pickles."""
    buffer = io.BytesIO()
    np.save(buffer, np.ascontiguousarray(light, dtype=np.float32), allow_pickle=False)
    return buffer.getvalue()


def light_of_blob(blob: bytes | None) -> NDArray[np.float32] | None:
    """Read what `light_blob` wrote."""
    if blob is None:
        return None
    light: NDArray[np.float32] = np.load(io.BytesIO(blob), allow_pickle=False)
    return light


@lru_cache(maxsize=64)
def lit_by_flash(sheet_text: str | None) -> bool:
    """Tell whether a set is lit by flash: it is, unless its sheet says that the light is continuous."""
    try:
        said = tomllib.loads(sheet_text or "").get("set", {})
    except tomllib.TOMLDecodeError:  # kept word for word, from a version that read it
        return True
    return bool(said.get("light") != "continuous")


def plain_text(text: str | None) -> str | None:
    """Return text as UTF-8 can hold it: bytes of a file name that are none are shown."""
    return None if text is None else text.encode("utf-8", "backslashreplace").decode("utf-8")
