"""Say what is wrong with a TOML file that people write: every mistake with its line and field."""

from __future__ import annotations

import os
import tomllib
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from qc.errors import SheetError, printable
from qc.sheet.checks import Problem, near
from qc.sheet.lines import KeyPath, Lines

Fields = Callable[[KeyPath], Iterable[str]]
"""The keys that may stand where a key stands."""

Tables = TypeVar("Tables", bound=BaseModel)


def read_bytes(path: str | os.PathLike[str]) -> bytes:
    """Return the bytes of a file; one that cannot be read is a `SheetError`."""
    try:
        return Path(path).read_bytes()
    except OSError as error:
        raise SheetError(path, [f"cannot be read: {error.strerror or error}"]) from error


def as_text(data: bytes, path: str | os.PathLike[str]) -> str:
    """Return the text of a file's bytes, line ends as they are; what is not UTF-8 is a `SheetError`."""
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise SheetError(path, [f"line {line}: not UTF-8 text"]) from error


def as_toml(text: str, path: str | os.PathLike[str]) -> dict[str, Any]:
    """Return the tables of a text; what is not TOML is a `SheetError`."""
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise SheetError(path, [_syntax(str(error))]) from error


def shape(raw: Mapping[str, Any], model: type[Tables], fields: Fields) -> tuple[Tables | None, list[Problem]]:
    """Check tables against their model.

    Parameters
    ----------
    raw : mapping
        As the TOML reader gives them.
    model : type
        Their shape.
    fields : callable
        Which keys may stand at a place, for "did you mean".

    Returns
    -------
    (model or None, list of Problem)
        None when there is any problem.
    """
    try:
        return model.model_validate(raw), []
    except ValidationError as error:
        found = [
            _problem(e["type"], e["loc"], e["msg"], e["input"], e.get("ctx", {}), fields) for e in error.errors()
        ]
        return None, [problem for problem in found if problem is not None]


def placed(problems: Iterable[Problem], raw: Mapping[str, Any], text: str) -> list[str]:
    """Return problems as people read them, in the order of their lines, each once and each one line."""
    lines = Lines(text)
    unique = dict.fromkeys((lines.of(place), _said(place, raw), words) for place, words in problems)
    return [printable(f"line {line}{place}: {words}") for line, place, words in sorted(unique)]


def _syntax(message: str) -> str:
    said, _, place = message.removesuffix(")").partition(" (at ")
    line = place.partition(",")[0] if place.startswith("line") else "last line"
    return f"{line}: not TOML: {said[:1].lower()}{said[1:]}"


def _problem(
    kind: str, place: KeyPath, said: str, value: object, context: Mapping[str, Any], fields: Fields
) -> Problem | None:
    """Turn one of pydantic's errors into our words; None where `cross_problems` says it better."""
    *outer, last = place
    if kind == "extra_forbidden":
        if "limits" in outer and isinstance(value, dict):
            return None  # the name of a reading without its quotes
        known = fields(place)
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
    "datetime_type": "a date and time",
    "datetime_parsing": "a date and time",
    "datetime_from_date_parsing": "a date and time",
    "model_type": "a table",
    "model_attributes_type": "a table",
}


def _shown(value: object) -> str:
    text = f'"{value}"' if isinstance(value, str) else str(value)
    return text if len(text) <= 40 else text[:37] + "..."


def _said(place: KeyPath, raw: Mapping[str, Any]) -> str:
    """Say a place as the technician knows it: the zone by its name, then the keys."""
    keys: Sequence[str | int] = place
    said = []
    if len(place) > 1 and place[0] in ("zone", "accepted"):
        table, number = raw[place[0]], int(place[1])
        name = table[number].get("name") if isinstance(table[number], dict) else None
        said.append(f'{place[0]} "{name}"' if isinstance(name, str) else f"{place[0]} {number + 1}")
        keys = place[2:]
    # positions inside a list are left out: the line shows the list
    said += [key for key in keys if isinstance(key, str)]
    return "".join(f", {part}" for part in said)
