"""`Addition`: all the rows of one transaction, made before it begins: only the disk can fail within it."""

from __future__ import annotations

import os
from dataclasses import dataclass

from qc.log.keys import Key, methods_text, sheet_key, zones_digest
from qc.log.rows import (
    Captured,
    Row,
    arrival_row,
    measurement_row,
    plain_text,
    reading_rows,
    verdict_row,
)
from qc.result import Result
from qc.sheet.sheet import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class Addition:
    """The rows of one capture, or of one ambient test, which has no arrival.

    Attributes
    ----------
    arrival : dict or None
        See `qc.log.rows.arrival_row`.
    replaces : tuple of str
        Contents under other paths that it stands for.
    measurement : dict
        See `qc.log.rows.measurement_row`.
    readings : list of dict
        See `qc.log.rows.reading_rows`.
    verdict, sheet : dict, dict or None
        The verdict, and the sheet it names.
    test : str
        ``"capture"`` or ``"ambient"``.
    """

    arrival: Row | None
    replaces: tuple[str, ...] = ()
    measurement: Row
    readings: list[Row]
    verdict: Row
    sheet: Row | None
    test: str


def addition_of(captured: Captured) -> Addition:
    """Return the rows of a capture."""
    result = captured.result
    sheet = _sheet_row(captured.sheet_text, captured.sheet_path, result.sheet_name)
    others = (*captured.replaces, *([result.replaces] if result.replaces else []))
    return Addition(
        arrival=arrival_row(captured),
        replaces=tuple(dict.fromkeys(others)),
        measurement=measurement_row(
            result, captured.key, content=captured.content, light=captured.light, took_s=captured.took_s
        ),
        readings=reading_rows(result),
        verdict=verdict_row(result, captured.limits, sheet["digest"] if sheet else None),
        sheet=sheet,
        test="capture",
    )


def ambient_addition(
    result: Result,
    *,
    dark: str,
    lit: str,
    limits: str,
    sheet: Sheet | None,
    sheet_text: str | None,
    text: str,
    took_s: float,
) -> Addition:
    """Return the rows of an ambient test; see `qc.log.log.Log.add_ambient`."""
    row = _sheet_row(sheet_text, None, result.sheet_name)
    key = Key(content=dark, methods=methods_text(result.made_by.methods), zones=zones_digest(sheet))
    measurement = measurement_row(result, key, content=dark, lit=lit, light=None, took_s=took_s)
    return Addition(
        arrival=None,
        measurement=measurement | {"told": plain_text(text)},
        readings=reading_rows(result),
        verdict=verdict_row(result, limits, row["digest"] if row else None),
        sheet=row,
        test="ambient",
    )


def _sheet_row(text: str | None, path: str | None, name: str | None) -> Row | None:
    if text is None:
        return None
    return {
        "digest": sheet_key(text),
        "path": None if path is None else os.fsencode(path),
        "name": plain_text(name),
        "text": plain_text(text),
    }
