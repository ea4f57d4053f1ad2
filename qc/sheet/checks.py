"""What a sheet's single fields cannot tell: names used twice, limits that limit nothing, roles that do not fit."""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from qc.reading import ReadingSpec, Spec, Worse
from qc.sheet.lines import KeyPath
from qc.sheet.zones import Role

Problem = tuple[KeyPath, str]
"""Where, and what is wrong in words."""

SEVERITIES = ("note", "warn", "halt")

NEEDS = ("dark", "patch", "clean plate", "baseline")
"""What a set may need before it is struck."""

FRAME = "frame"
"""The word for the whole picture: no zone may be called so, since nobody could tell the two apart."""


def near(word: object, known: Iterable[str]) -> str:
    """Return "; did you mean …?" when a known word is near, else nothing."""
    close = difflib.get_close_matches(str(word), list(known), n=1, cutoff=0.6)
    return f'; did you mean "{close[0]}"?' if close else ""


def cross_problems(raw: Mapping[str, Any], specs: Sequence[Spec]) -> list[Problem]:
    """Return every problem that lies between fields.

    Parameters
    ----------
    raw : mapping
        The sheet as the TOML reader gives it; fields of a wrong type are passed over, since the check of
        shapes names them.
    specs : sequence of Spec
        Measurements whose readings may have limits.

    Returns
    -------
    list of Problem
    """
    readings = {reading.name: reading for spec in specs for reading in spec.readings}
    problems = list(_limits(("limits",), raw.get("limits"), readings, None))
    problems += _needs(raw.get("set"))
    tables = raw.get("zone")
    zones = [(n, z) for n, z in enumerate(tables) if isinstance(z, dict)] if isinstance(tables, list) else []
    problems += _names(zones)
    for number, zone in zones:
        problems += _zone(("zone", number), zone)
        problems += _limits(("zone", number, "limits"), zone.get("limits"), readings, _role(zone))
    return problems


def _needs(about: object) -> Iterator[Problem]:
    needs = about.get("needs") if isinstance(about, dict) else None
    for number, need in enumerate(needs if isinstance(needs, list) else ()):
        if isinstance(need, str) and need and need not in NEEDS:
            known = ", ".join(f'"{word}"' for word in NEEDS)
            yield ("set", "needs", number), f'"{need}" is none of {known}{near(need, NEEDS)}'


def _names(zones: Sequence[tuple[int, Mapping[str, Any]]]) -> Iterator[Problem]:
    first: dict[str, int] = {}
    for number, zone in zones:
        name = zone.get("name")
        if name == FRAME:
            yield ("zone", number, "name"), '"frame" is the whole picture; call the zone something else'
        elif isinstance(name, str) and first.setdefault(name, number) != number:
            yield ("zone", number, "name"), "another zone has this name already"


def _zone(place: KeyPath, zone: Mapping[str, Any]) -> Iterator[Problem]:
    if ("box" in zone) == ("points" in zone):
        both = "box" in zone
        yield place, "has both a box and points; keep one" if both else "needs a box or points"
    role = _role(zone)
    if role is None:
        return
    if "budget" in zone and role is not Role.ALLOW:
        yield (*place, "budget"), f'only an "allow" zone has a budget, and this one is "{role}"'
    for key in ("reference", "lightness"):
        if key in zone and role is not Role.PATCH:
            yield (*place, key), f'only a "patch" zone has a {key}, and this one is "{role}"'


def _limits(
    place: KeyPath, tables: object, readings: Mapping[str, ReadingSpec], role: Role | None
) -> Iterator[Problem]:
    if not isinstance(tables, dict):
        return
    for name, table in tables.items():
        here = (*place, name)
        if name not in readings:
            yield here, _unknown(name, readings)
            continue
        reading = readings[name]
        if reading.worse is None:
            yield here, "is a bare fact that has no limit" + _limited_sibling(name, readings)
        elif role is not None and role not in reading.per_zone:
            yield here, f'is not measured in a "{role}" zone' + _where(reading)
        elif isinstance(table, dict):
            yield from _order(here, table, reading.worse)


def _unknown(name: str, readings: Mapping[str, ReadingSpec]) -> str:
    if any(known.startswith(f"{name}.") for known in readings):
        return f'put the whole name of the reading in quotes: "{name}.…"'
    return "no reading has this name" + near(name, readings)


def _limited_sibling(name: str, readings: Mapping[str, ReadingSpec]) -> str:
    family = name.partition(".")[0] + "."
    siblings = [n for n, r in readings.items() if n.startswith(family) and r.limits]
    return f"; limits hang on {', '.join(siblings)}" if siblings else ""


def _where(reading: ReadingSpec) -> str:
    if not reading.per_zone:
        return ", only in the frame"
    return f", only in {' and '.join(reading.per_zone)} zones"


def _order(place: KeyPath, table: Mapping[str, Any], worse: Worse) -> Iterator[Problem]:
    bars = [(s, table[s]) for s in SEVERITIES if isinstance(table.get(s), (int, float))]
    for severity, bar in bars:
        if worse == "either" and bar < 0:
            yield (*place, severity), "a limit that holds both ways cannot be below 0"
    for (milder, low), (graver, high) in itertools.pairwise(bars):
        if (low < high) if worse == "low" else (low > high):
            yield (*place, milder), f"{milder} {low} would come after {graver} {high}"


def _role(zone: Mapping[str, Any]) -> Role | None:
    try:
        return Role(zone.get("role", ""))
    except ValueError:
        return None
