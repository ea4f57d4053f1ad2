"""Read a set sheet: every mistake in one message, each with its line and field."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from qc.container.source import digest_of
from qc.errors import SheetError, printable
from qc.reading import Preset
from qc.sheet.brief import D55
from qc.sheet.checks import Problem, cross_problems, near
from qc.sheet.lines import KeyPath, Lines
from qc.sheet.model import LimitTable, SetTable, SheetTables, ZoneTable
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone


def read_sheet(path: str | os.PathLike[str]) -> Sheet:
    """Read a ``*.set.toml`` file.

    Parameters
    ----------
    path : str or os.PathLike
        The sheet.

    Returns
    -------
    Sheet

    Raises
    ------
    SheetError
        With every mistake found; a sheet is never half-applied.
    """
    try:
        data = Path(path).read_bytes()
    except OSError as error:
        raise SheetError(path, [f"cannot be read: {error.strerror or error}"]) from error
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SheetError(path, [f"line {line}: not UTF-8 text"]) from error
    return parse_sheet(text, path=path, digest=digest_of(data))


def parse_sheet(text: str, *, path: str | os.PathLike[str] = "sheet", digest: str | None = None) -> Sheet:
    """Make a sheet from its text; `path` is for messages and for `Sheet.path`. Raises as `read_sheet`."""
    from qc.measure import specs

    text = text.replace("\r\n", "\n")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SheetError(path, [_syntax(str(error))]) from error
    tables, problems = _shape(raw)
    problems += cross_problems(raw, specs())
    if tables is None or problems:
        raise SheetError(path, _placed(problems, raw, Lines(text)))
    return _sheet(tables, printable(path), digest)


def _syntax(message: str) -> str:
    said, _, place = message.removesuffix(")").partition(" (at ")
    line = place.partition(",")[0] if place.startswith("line") else "last line"
    return f"{line}: not TOML: {said[:1].lower()}{said[1:]}"


def _shape(raw: Mapping[str, Any]) -> tuple[SheetTables | None, list[Problem]]:
    try:
        return SheetTables.model_validate(raw), []
    except ValidationError as error:
        found = [_problem(e["type"], e["loc"], e["msg"], e["input"], e.get("ctx", {})) for e in error.errors()]
        return None, [problem for problem in found if problem is not None]


def _problem(kind: str, place: KeyPath, said: str, value: object, context: Mapping[str, Any]) -> Problem | None:
    """Turn one of pydantic's errors into our words; None where `cross_problems` says it better."""
    *outer, last = place
    if kind == "extra_forbidden":
        if "limits" in outer and isinstance(value, dict):
            return None  # the name of a reading without its quotes
        known = _fields(place)
        return place, "unknown key" + (near(last, known) or f"; there are {', '.join(known)}")
    if isinstance(last, int) and kind in ("missing", "too_short", "too_long"):
        return tuple(outer), "has too few numbers"
    if kind == "missing":
        return tuple(outer), f'has no "{last}"'
    if kind == "too_long":
        return place, "has too many numbers"
    if kind in ("enum", "literal_error"):
        expected = str(context["expected"]).replace("'", '"')
        return place, f"{_shown(value)} is none of {expected}{near(value, expected.split(chr(34))[1::2])}"
    if kind == "value_error":
        return place, str(context["error"])
    wanted = _WANTED.get(kind)
    if wanted is not None:
        return place, f"must be {wanted}, not {_shown(value)}"
    return place, said.replace("Input should", "must")


_WANTED = {
    "float_type": "a number",
    "float_parsing": "a number",
    "finite_number": "a number",
    "string_type": "text",
    "string_too_short": "text",
    "tuple_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _fields(place: KeyPath) -> Iterable[str]:
    if "limits" in place[:-1]:
        return LimitTable.model_fields
    if len(place) == 1:
        return SheetTables.model_fields
    return SetTable.model_fields if place[0] == "set" else ZoneTable.model_fields


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _placed(problems: Sequence[Problem], raw: Mapping[str, Any], lines: Lines) -> list[str]:
    unique = dict.fromkeys((lines.of(place), _said(place, raw), words) for place, words in problems)
    return [f"line {line}{place}: {words}" for line, place, words in sorted(unique)]


def _said(place: KeyPath, raw: Mapping[str, Any]) -> str:
    """Say a place as the technician knows it: the zone by its name, then the keys."""
    keys: Sequence[str | int] = place
    said = []
    if len(place) > 1 and place[0] == "zone":
        number = int(place[1])
        name = raw["zone"][number].get("name") if isinstance(raw["zone"][number], dict) else None
        said.append(f'zone "{name}"' if isinstance(name, str) else f"zone {number + 1}")
        keys = place[2:]
    # positions inside a list are left out: the line shows the list
    said += [key for key in keys if isinstance(key, str)]
    return "".join(f", {part}" for part in said)


def _sheet(tables: SheetTables, path: str, digest: str | None) -> Sheet:
    about = tables.set
    return Sheet(
        path=path,
        digest=digest,
        name=about.name,
        preset=about.preset,
        light=about.light,
        baseline=about.baseline,
        captures=about.captures,
        sync_limit_s=about.sync_limit,
        needs=about.needs,
        flash_white=about.flash_white or D55,
        magnification=about.magnification,
        pixel_pitch_um=about.pixel_pitch_um,
        circle_px=about.circle_px,
        zones=tuple(_zone(zone) for zone in tables.zone),
        limits=_presets(tables.limits),
        zone_limits={zone.name: _presets(zone.limits) for zone in tables.zone if zone.limits},
    )


def _zone(table: ZoneTable) -> Zone:
    facts = {"budget": table.budget, "lightness": table.lightness}
    if table.box is not None:
        return Zone.from_box(table.name, table.role, table.box, reference=table.reference, **facts)
    assert table.points is not None
    return Zone(name=table.name, role=table.role, points=table.points, reference=table.reference, **facts)


def _presets(tables: Mapping[str, LimitTable]) -> Mapping[str, Preset]:
    return {name: Preset(note=t.note, warn=t.warn, halt=t.halt) for name, t in tables.items()}
