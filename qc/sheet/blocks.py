"""Zones written as ``[[zone]]`` blocks, changed where they stand in the text of a sheet.

A zone's lines go from its header to its last key, tables of its own included. What is not said by these lines is
not touched: everything is cut and put in by whole statements, and a statement keeps the note behind it.
"""

from __future__ import annotations

import itertools
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence

from qc.sheet.lines import Statement, lines_of, statements
from qc.sheet.model import ZoneTable
from qc.sheet.spelling import Value, respelled, spelled, spelled_zone

FACTS = tuple(key for key in ZoneTable.model_fields if key != "limits")
"""The keys of a zone that are its facts, in the order in which they are written."""

Changes = Mapping[str, Value | None]
"""Facts with their new values; None takes the fact away."""

_Cut = tuple[int, int, str]
"""Lines from, up to but not, and what comes in their place."""


def with_changes(text: str, changes: Mapping[int, Changes]) -> str:
    """Return the text with facts of zones changed, each zone by its position in the sheet."""
    lines, whole = lines_of(text), list(statements(text))
    cuts: list[_Cut] = []
    for number, facts in changes.items():
        inside = [one for one in whole if one.table == ("zone", number) and not one.header]
        own = {key: one for one in inside for key in one.says}
        cuts += _swapped(lines, own, facts)
        cuts += _changed(lines, own, _without_swap(own, facts), line_end(text))
    return _cut(lines, cuts, line_end(text))


def without_zone(text: str, number: int) -> str:
    """Return the text without a zone, its tables, and the notes above it that are clearly its own.

    Notes stand directly above the header and are parted by a blank line from what is above them. Those above the
    first zone may be about all of them: they go only where they say its name. Notes in which something is
    commented out stay, and so does what stands below the zone.
    """
    lines, whole = lines_of(text), list(statements(text))
    parts: list[list[int]] = []
    for position, one in enumerate(whole):
        if one.table[:2] == ("zone", number):
            if not parts or parts[-1][-1] != position - 1:
                parts.append([])
            parts[-1].append(position)
    name = next(str(one.says["name"]) for one in whole if one.table == ("zone", number) and "name" in one.says)
    cuts = []
    for part in parts:
        first, end = whole[part[0]].first, whole[part[-1]].end
        if part is parts[0]:
            above = whole[part[0] - 1].end if part[0] else 0
            first -= _notes(["", *lines[above:first]] if above == 0 else lines[above:first], name, number == 0)
        cuts.append((*_with_gap(lines, first, end), ""))
    return _cut(lines, cuts, "\n")


def with_zone(text: str, facts: Mapping[str, Value]) -> str:
    """Return the text with one more zone after its last line."""
    end = line_end(text)
    gap = end if text.endswith("\n") or not text else end + end
    return text + gap + spelled_zone(facts).replace("\n", end)


def line_end(text: str) -> str:
    """Return how most lines of a text end; a line feed where there is no line."""
    return "\r\n" if 2 * text.count("\r\n") > text.count("\n") else "\n"


def _places(own: Mapping[str, Statement], facts: Changes) -> tuple[str, str] | None:
    """Return the key of the place that is there and of the one that comes for it, where it changes its kind."""
    for old, new in (("box", "points"), ("points", "box")):
        if old in own and old in facts and facts[old] is None and facts.get(new) is not None:
            return old, new
    return None


def _swapped(lines: Sequence[str], own: Mapping[str, Statement], facts: Changes) -> Iterator[_Cut]:
    places = _places(own, facts)
    if places is not None:
        old, new = places
        value = facts[new]
        assert value is not None
        yield own[old].first, own[old].end, respelled(_said(lines, own[old]), value, key=new)


def _without_swap(own: Mapping[str, Statement], facts: Changes) -> Changes:
    places = _places(own, facts) or ()
    return {key: facts[key] for key in FACTS if key in facts and key not in places}


def _changed(lines: Sequence[str], own: Mapping[str, Statement], facts: Changes, end: str) -> Iterator[_Cut]:
    for key, value in facts.items():
        there = own.get(key)
        if there is not None:
            yield there.first, there.end, "" if value is None else respelled(_said(lines, there), value)
        elif value is not None:
            before = [own[earlier] for earlier in FACTS[: FACTS.index(key)] if earlier in own][-1]
            indent = re.match(r"[ \t]*", lines[before.first])
            assert indent is not None
            yield before.end, before.end, f"{indent[0]}{key} = {spelled(value)}{end}"


def _said(lines: Sequence[str], statement: Statement) -> str:
    return "".join(lines[statement.first : statement.end])


def _cut(lines: Sequence[str], cuts: Sequence[_Cut], end: str) -> str:
    """Put each text in the place of its lines; those for the same place in their order."""
    done, at = "", 0
    for first, after, said in sorted(cuts, key=lambda cut: cut[:2]):
        done += "".join(lines[at:first])
        if said and done and not done.endswith("\n"):
            done += end  # the last line of the sheet had no end
        done, at = done + said, after
    return done + "".join(lines[at:])


def _notes(above: Sequence[str], name: str, first: bool) -> int:
    """Return how many lines above a zone are notes that go with it; `above` ends a sheet's head or a statement."""
    notes = list(itertools.takewhile(bool, (line.strip() for line in reversed(above))))
    if len(notes) == len(above) or any(map(_is_commented_out, notes)):
        return 0
    says_name = re.compile(rf"(?<!\w){re.escape(name)}(?!\w)", re.IGNORECASE)
    return 0 if first and not any(map(says_name.search, notes)) else len(notes)


def _is_commented_out(note: str) -> bool:
    try:
        return bool(tomllib.loads(note.lstrip("#").strip()))
    except tomllib.TOMLDecodeError:
        return False


def _with_gap(lines: Sequence[str], first: int, end: int) -> tuple[int, int]:
    """Take one blank line along where the cut would leave two."""
    above = first == 0 or not lines[first - 1].strip()
    if above and end < len(lines) and not lines[end].strip():
        return first, end + 1
    if above and end == len(lines) and first > 0:
        return first - 1, end
    return first, end
