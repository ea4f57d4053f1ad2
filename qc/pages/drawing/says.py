"""The readings of a zone as people read them beside it: four lines, and what its role is judged by."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from qc.judge import judge, spoken_phrase, telling
from qc.measure import reading_spec, specs
from qc.reading import Level, Reading, ReadingSpec
from qc.result import FileFacts
from qc.sheet.limits import Limit, resolve
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role, Zone
from qc.show.rows import spoken_error
from qc.show.text import clean
from qc.words import spoken_number

LINES: Final[Mapping[str, tuple[str, Role, tuple[str, ...]]]] = {
    "clipped": ("highlights", Role.WITNESS, ("highlights.clipped_area",)),
    "blur": ("sharpness", Role.SHARP, ("sharpness.blur",)),
    "cast": ("cast", Role.PATCH, ("cast.chroma", "cast.warm_cool", "cast.green_magenta")),
    "level": ("exposure", Role.WITNESS, ("exposure.level",)),
}
"""The lines of every zone: measurement, a role that it reads, readings. Without the first there is no line."""

_MAIN: Final[Mapping[Role, str]] = {Role.ALLOW: "highlights.intended_area", Role.PATCH: "cast.chroma"}
"""What a role is about, said with or without a limit."""

_HEADED: Final[Mapping[str, str]] = {"level": "mean light"}
"""What a phrase begins with that the head of its line says already, where that is not the head itself."""

Line = dict[str, Any]


def line(what: str, readings: Sequence[Reading], *, role: Role) -> Line:
    """Return one of `LINES` in words; where its number is missing, the reason.

    ``doubt`` says why there is no ±; a number that can have none has neither.

    Parameters
    ----------
    what : str
        Its key.
    readings : sequence of Reading
        What the measurement gave for the zone in the line's role.
    role : Role
        The zone's own: one that is no patch is not called one.
    """
    given = {reading.name: reading for reading in readings}
    first, *more = (given[name] for name in LINES[what][2])
    if first.reason is not None:
        return _line(what, _of_zone(first.reason.text, role), missing=True)
    told = [_short(first).removeprefix(f"{_HEADED.get(what, what)} ")]
    told += [_told(reading, reading_spec(reading.name)) for reading in more if reading.value is not None]
    said, doubt = ", ".join(told), _of_zone(first.doubt.text, role) if first.doubt else ""
    # a bound needs no ±: how far the number lies from it is not known anyhow
    return _line(what, f"{said} ±?" if doubt and first.bound is None else said, doubt=doubt)


def _of_zone(text: str, role: Role) -> str:
    return clean(text if role is Role.PATCH else text.replace("the patch", "the zone"))


def _short(reading: Reading) -> str:
    bare = reading if reading.bound is None else replace(reading, plus_minus=None)
    return _told(bare, reading_spec(reading.name))


def waiting(what: str) -> Line:
    """Return a line whose number takes longer."""
    return _line(what, "", missing=True, waiting=True)


def _line(what: str, said: str, *, missing: bool = False, waiting: bool = False, doubt: str = "") -> Line:
    return {"what": what, "said": said, "missing": missing, "waiting": waiting, "doubt": doubt}


def judged(zone: Zone, readings: Sequence[Reading], sheet: Sheet) -> list[Line]:
    """Return what a zone will be judged by, each with its limits and the level that the capture gives now.

    Parameters
    ----------
    zone : Zone
        As it is drawn.
    readings : sequence of Reading
        What is measured in it.
    sheet : Sheet
        With this zone in it.
    """
    limits = {place: limit for place, limit in resolve(specs(), sheet).items() if place[1] == zone.name}
    whole = FileFacts(path="", name="", state="whole")
    verdict = judge(whole, readings, (), specs=specs(), zones=(zone,), limits=limits)
    levels = {cause.reading: cause.level for cause in verdict.causes}
    return list(_judged(zone, readings, limits, levels))


def _judged(
    zone: Zone,
    readings: Sequence[Reading],
    limits: Mapping[tuple[str, str | None], Limit],
    levels: Mapping[str, Level],
) -> Iterator[Line]:
    for reading in readings:
        limit = limits.get((reading.name, zone.name))
        if limit is None and _MAIN.get(zone.role) != reading.name:
            continue
        spec = reading_spec(reading.name)
        unsaid = Level.UNMEASURED if reading.value is None else Level.CLEAR  # what was not read is not clear
        level = levels.get(reading.name, Level.UNJUDGED if limit is None else unsaid)
        if limit is not None and reading.value is not None and level is not Level.CLEAR:
            spec = telling(spec, reading.value, _passed(limit, level))
        if reading.reason is not None:
            said = f"{spec.spoken_name} not read: {clean(reading.reason.text)}"
        else:
            said = _told(reading, spec)
        yield {"said": said, "against": "" if limit is None else _bars(limit, spec), "level": level.value}


def _passed(limit: Limit, level: Level) -> float:
    bar = getattr(limit.values, level.value, None)
    return 0.0 if bar is None else float(bar)


def _bars(limit: Limit, spec: ReadingSpec) -> str:
    """Say the limits of a reading: "warn over 0.05, halt over 0.2", or the budget."""
    if limit.origin.endswith(", budget"):
        return f"budget {spoken_number(limit.values.warn or 0.0, spec.decimals)}"
    side = "under" if spec.worse == "low" else "over"
    bars = [(level, getattr(limit.values, level)) for level in ("note", "warn", "halt")]
    return ", ".join(f"{level} {side} {bar:g}" for level, bar in bars if bar is not None)


def _told(reading: Reading, spec: ReadingSpec) -> str:
    said = clean(spoken_phrase(reading, spec))
    if reading.plus_minus is not None:
        return f"{said} ±{spoken_error(reading.plus_minus, spec.decimals)}"
    return said
