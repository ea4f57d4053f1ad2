"""Read and write ``NAME.accepted.toml``: what captures showed and was accepted as intended, one table each.

People may read it, and may take a table out or change a bar by hand; mistakes are reported like a sheet's.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from qc.errors import SheetError
from qc.sheet.accepted import Acceptance
from qc.sheet.checks import Problem, near
from qc.sheet.lines import KeyPath, Lines, lines_of
from qc.sheet.model import AcceptedTable, AcceptedTables
from qc.sheet.problems import as_text, as_toml, placed, read_bytes, shape

if TYPE_CHECKING:
    from tomlkit import TOMLDocument
    from tomlkit.items import AoT, Table

_HEAD = """\
What captures of this set showed and was accepted as intended: from each table on, the limit of that reading at
that place is its bar. `qc sheet accept` adds one, `qc sheet undo` takes the last one back.
"""


def read_accepted(path: str | os.PathLike[str]) -> tuple[Acceptance, ...]:
    """Read what was accepted for a set.

    Parameters
    ----------
    path : str or os.PathLike
        ``NAME.accepted.toml``; where there is no such file nothing was accepted.

    Returns
    -------
    tuple of Acceptance
        In the order of the file.

    Raises
    ------
    SheetError
        With every mistake found; the file is never half-applied.
    """
    if not Path(path).exists():
        return ()
    return parse_accepted(as_text(read_bytes(path), path), path=path)


def parse_accepted(text: str, *, path: str | os.PathLike[str] = "accepted") -> tuple[Acceptance, ...]:
    """Make acceptances from their text; `path` is for messages. Raises as `read_accepted`."""
    text = text.replace("\r\n", "\n")
    raw = as_toml(text, path)
    tables, problems = shape(raw, AcceptedTables, _fields)
    problems += _readings(raw)
    if tables is None or problems:
        raise SheetError(path, placed(problems, raw, text))
    return tuple(_acceptance(table) for table in tables.accepted)


def with_accepted(text: str, acceptance: Acceptance) -> str:
    """Return the text of the file with one more acceptance at its end; what a person wrote in it stays."""
    import tomlkit

    document = tomlkit.parse(text) if text.strip() else _empty()
    tables = document.get("accepted")
    if tables is None or not len(tables):
        document.pop("accepted", None)
        tables = document["accepted"] = tomlkit.aot()
    tables.append(_table(acceptance))
    return tomlkit.dumps(document)


def without_accepted(text: str, acceptance: Acceptance) -> str:
    """Return the text without one acceptance, whatever its bar is by now; as it is when it is not there."""
    there = list(parse_accepted(text))
    found = [number for number, one in enumerate(there) if one.same_as(acceptance)]
    if not found:
        return text
    del there[found[-1]]
    return _without_lines(text, found[-1], tuple(there)) or _without_table(text, found[-1])


def _without_lines(text: str, number: int, left: tuple[Acceptance, ...]) -> str | None:
    """Cut a table out from header to last key, so that every note around it stays; None where that fails."""
    lines, places = lines_of(text), Lines(text)
    table = as_toml(text, "accepted")["accepted"][number]
    first = places.of(("accepted", number))
    last = max(places.of(("accepted", number, key)) for key in table)
    gap = bool(lines[last:]) and not lines[last].strip()
    cut = "".join(lines[: first - 1] + lines[last + gap :])
    try:
        return cut if parse_accepted(cut) == left else None
    except SheetError:
        return None  # tables written on one line, or a value over several


def _without_table(text: str, number: int) -> str:
    import tomlkit

    document = tomlkit.parse(text)
    tables: AoT = document["accepted"]
    del tables[number]
    if not len(tables):
        del document["accepted"]
    return tomlkit.dumps(document)


def _empty() -> TOMLDocument:
    import tomlkit

    document = tomlkit.document()
    for line in _HEAD.splitlines():
        document.add(tomlkit.comment(line))
    document.add(tomlkit.nl())
    return document


def _table(acceptance: Acceptance) -> Table:
    import tomlkit

    table = tomlkit.table()
    for key in AcceptedTable.model_fields:
        value = getattr(acceptance, key)
        if value is not None:
            table.add(key, datetime.fromisoformat(value) if key == "at" else value)
    table.add(tomlkit.nl())
    return table


def _acceptance(table: AcceptedTable) -> Acceptance:
    facts = table.model_dump()
    return Acceptance(**facts | {"at": table.at.isoformat(timespec="milliseconds")})


def _fields(place: KeyPath) -> Iterable[str]:
    return AcceptedTables.model_fields if len(place) == 1 else AcceptedTable.model_fields


def _readings(raw: Mapping[str, Any]) -> Iterator[Problem]:
    from qc.measure import specs

    known = {reading.name: reading for spec in specs() for reading in spec.readings}
    tables = raw.get("accepted")
    for number, table in enumerate(tables if isinstance(tables, list) else ()):
        name = table.get("reading") if isinstance(table, dict) else None
        if not isinstance(name, str) or not name:
            continue
        place = ("accepted", number, "reading")
        if name not in known:
            yield place, f'no reading is called "{name}"' + near(name, known)
        elif known[name].worse is None:
            yield place, f'"{name}" is a bare fact that has no limit'
