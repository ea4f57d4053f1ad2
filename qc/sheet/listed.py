"""Zones written as one list, ``zone = [{name = "label", …}, …]``, changed where they stand in a sheet's text."""

from __future__ import annotations

import tomllib
from collections.abc import Collection, Mapping, Sequence

from qc.sheet.blocks import Changes
from qc.sheet.lines import Statement, lines_of, statements
from qc.sheet.spelling import Value, notes_of, respell, spelled


def list_of_zones(text: str) -> Statement | None:
    """Return the statement that holds the zones; None where there is none, and zones are blocks."""
    found = (one for one in statements(text) if not one.table and not one.header and "zone" in one.says)
    return next(found, None)


def with_list(
    text: str,
    statement: Statement,
    changes: Mapping[int, Changes],
    removed: Collection[int],
    added: Sequence[Mapping[str, Value]],
) -> str | None:
    """Return the text with the list changed; None where a note in it would be lost or the list come out wrong.

    Parameters
    ----------
    text : str
        Of the sheet.
    statement : Statement
        From `list_of_zones`.
    changes : mapping
        Facts by position in the list.
    removed : collection of int
        Positions in the list. The note behind such a zone goes with it.
    added : sequence of mapping
        Facts of the zones that come at its end.
    """
    lines = lines_of(text)
    before = "".join(lines[statement.first : statement.end])
    after = _edited(before, changes, removed, added)
    if after is None or not _keeps_notes(notes_of(before), notes_of(after), len(removed)):
        return None
    return "".join([*lines[: statement.first], after, *lines[statement.end :]])


def _edited(
    said: str, changes: Mapping[int, Changes], removed: Collection[int], added: Sequence[Mapping[str, Value]]
) -> str | None:
    import tomlkit

    document = tomlkit.parse(said)
    zones = document["zone"]
    for number, facts in changes.items():
        for key, value in facts.items():
            if value is None:
                del zones[number][key]
            elif key in zones[number]:
                zones[number][key] = tomlkit.value(respell(zones[number].item(key), value))
            else:
                zones[number][key] = tomlkit.value(spelled(value))
    for number in sorted(removed, reverse=True):
        del zones[number]
    for facts in added:
        zones.append(
            tomlkit.value("{" + ", ".join(f"{key} = {spelled(fact)}" for key, fact in facts.items()) + "}")
        )
    after = document.as_string()
    try:
        tomllib.loads(after)
    except tomllib.TOMLDecodeError:
        return None
    return after


def _keeps_notes(before: Sequence[str], after: Sequence[str], removed: int) -> bool:
    rest = iter(before)
    return len(before) - len(after) <= removed and all(note in rest for note in after)
