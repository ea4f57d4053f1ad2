"""From readings to a verdict: pure, and the same whatever was measured before or in whatever order.

Nothing of taste is judged without a limit, and limits come from a sheet or a preset only (`qc.sheet.limits`).
What always has a level is listed here: a file that is not whole, a picture with nothing in it, an ambient test
that cannot be one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.reading import Finding, Preset, Reading, ReadingSpec, Spec, Worse
from qc.result import Cause, FileFacts, Level, Verdict
from qc.sheet.limits import Limit, Place
from qc.sheet.zones import Role, Zone

ARRIVAL, SETTINGS, MISFIRE, PROTECTED, FOCUS, MOVED, COLOUR, REST = range(10, 90, 10)
"""Order of causes of the same level; `Spec.rank` uses these numbers, smaller first."""

ALWAYS = "always"
"""Origin of a cause that needs no sheet."""

_SEVERITY = {
    Level.UNJUDGED: 0,
    Level.UNMEASURED: 0,
    Level.CLEAR: 0,
    Level.NOTE: 1,
    Level.WARN: 2,
    Level.HALT: 3,
}

_OF_STATE = {
    # a kind that no decoder knows is no fault of the shooting: it is not measured, and that is said
    "unsupported": Level.UNMEASURED,
    "unreadable": Level.UNMEASURED,
    "arriving": Level.UNMEASURED,
}

OF_FINDING: Mapping[str, tuple[Level, int]] = {
    "nearly_black": (Level.WARN, MISFIRE),
    "all_burnt": (Level.HALT, MISFIRE),
    "flash_in_dark": (Level.HALT, MISFIRE),
    "no_flash_in_lit": (Level.HALT, MISFIRE),
    "settings_differ": (Level.WARN, SETTINGS),
    "allow_exceeded": (Level.WARN, REST),
}
"""Findings that have a level whatever the limits are, and where they stand in the order."""


@dataclass(frozen=True, slots=True)
class _Weighed:
    rank: int
    place: tuple[int, int]
    """Position of the reading in its measurement, of the zone in the sheet: the order within a rank."""
    cause: Cause


def judge(
    file: FileFacts,
    readings: Sequence[Reading],
    findings: Sequence[Finding],
    *,
    specs: Sequence[Spec],
    zones: Sequence[Zone] = (),
    limits: Mapping[Place, Limit],
) -> Verdict:
    """Return the verdict on one capture.

    Parameters
    ----------
    file : FileFacts
        Its state; one that is not whole gives the first cause.
    readings, findings : sequence
        What was measured, in any order.
    specs : sequence of Spec
        The measurements they come from.
    zones : sequence of Zone
        Of the sheet: a zone's role decides the order of causes.
    limits : mapping
        As `qc.sheet.limits.resolve` returns them.

    Returns
    -------
    Verdict
        The level of its worst cause; `unjudged` where nothing has a limit, `unmeasured` where no reading with
        a limit had a value, with the reasons as causes.
    """
    if file.state != "whole":
        return _of_state(file)
    known = {reading.name: (spec, reading) for spec in specs for reading in spec.readings}
    limited = [r for r in readings if (r.name, r.zone) in limits and r.name in known]
    weighed = [*_of_findings(findings), *_of_readings(limited, known, zones, limits)]
    causes = tuple(w.cause for w in sorted(weighed, key=_order))
    if causes:
        return Verdict(level=causes[0].level, causes=causes)
    if not limits:
        return Verdict(level=Level.UNJUDGED)
    if all(reading.value is None for reading in limited):
        return Verdict(level=Level.UNMEASURED, causes=_why_not(limited, known, limits))
    return Verdict(level=Level.CLEAR)


def passed(value: float, limit: Preset, worse: Worse) -> tuple[Level, float] | None:
    """Return the worst severity whose limit a value passes, and that limit; None when it passes none.

    Above for ``"high"``, below for ``"low"``, a magnitude above for ``"either"``; at the limit is within it.
    """
    for level, bar in ((Level.HALT, limit.halt), (Level.WARN, limit.warn), (Level.NOTE, limit.note)):
        if bar is None:
            continue
        beyond = value < bar if worse == "low" else (abs(value) if worse == "either" else value) > bar
        if beyond:
            return level, bar
    return None


def spoken(reading: Reading, spec: ReadingSpec) -> str:
    """Say a reading as a photographer would, the zone's name first: "label burnt 0.31 %"."""
    said = spoken_phrase(reading, spec)
    return said if reading.zone is None or "{zone}" in spec.phrase else f"{reading.zone} {said}"


def spoken_phrase(reading: Reading, spec: ReadingSpec) -> str:
    """Return the phrase of a reading with its number; a dash stands for a number that is missing.

    A bound is said ("at least 7.2"); a reading that may go either way says which in words, or carries its sign.
    """
    phrase, number = spec.phrase, "–"
    if reading.value is not None:
        below = spec.phrase_below if reading.value < 0 else ""
        phrase = below or phrase
        signed = spec.worse == "either" and not spec.phrase_below
        number = spoken_number(abs(reading.value) if below else reading.value, spec.decimals, signed=signed)
    bound = f"{reading.bound} " if reading.bound else ""
    return phrase.format(value=bound + number, zone=reading.zone or "frame")


def spoken_number(value: float, decimals: int, *, signed: bool = False) -> str:
    """Return a number with a true minus sign, and never "−0.0"."""
    text = f"{value:{'+' if signed else ''},.{decimals}f}".replace(",", " ")
    if float(text.replace(" ", "")) == 0:
        text = text.lstrip("+-")
    return text.replace("-", "−")


def _of_state(file: FileFacts) -> Verdict:
    level = _OF_STATE.get(file.state, Level.HALT)
    text = file.state if file.detail is None else f"{file.state}: {file.detail}"
    cause = Cause(reading="file.state", zone=None, level=level, limit=None, origin=ALWAYS, text=text)
    return Verdict(level=level, causes=(cause,))


def _of_findings(findings: Sequence[Finding]) -> Iterator[_Weighed]:
    for finding in findings:
        if finding.code in OF_FINDING:
            level, rank = OF_FINDING[finding.code]
            cause = Cause(
                reading=finding.code,
                zone=finding.zone,
                level=level,
                limit=None,
                origin=ALWAYS,
                text=finding.text,
            )
            yield _Weighed(rank, (0, 0), cause)


def _of_readings(
    readings: Sequence[Reading],
    known: Mapping[str, tuple[Spec, ReadingSpec]],
    zones: Sequence[Zone],
    limits: Mapping[Place, Limit],
) -> Iterator[_Weighed]:
    roles = {zone.name: zone.role for zone in zones}
    nth = {zone.name: number for number, zone in enumerate(zones, 1)}
    for reading in readings:
        measurement, spec = known[reading.name]
        limit = limits[reading.name, reading.zone]
        if reading.value is None or spec.worse is None:
            continue
        over = passed(reading.value, limit.values, spec.worse)
        if over is None:
            continue
        level, bar = over
        cause = Cause(
            reading=reading.name,
            zone=reading.zone,
            level=level,
            limit=bar,
            origin=limit.origin,
            text=spoken(reading, spec),
        )
        zone = reading.zone or ""
        place = measurement.readings.index(spec), nth.get(zone, 0)
        yield _Weighed(_rank(measurement.rank, roles.get(zone)), place, cause)


def _rank(rank: int, role: Role | None) -> int:
    # a burnt highlight goes first only where the technician said that it must hold detail
    return REST if rank == PROTECTED and role is not Role.PROTECT else rank


def _order(weighed: _Weighed) -> tuple[int, int, tuple[int, int], str, str]:
    cause = weighed.cause
    return -_SEVERITY[cause.level], weighed.rank, weighed.place, cause.reading, cause.zone or ""


def _why_not(
    readings: Sequence[Reading],
    known: Mapping[str, tuple[Spec, ReadingSpec]],
    limits: Mapping[Place, Limit],
) -> tuple[Cause, ...]:
    unread = sorted(readings, key=lambda r: (known[r.name][0].rank, r.name, r.zone or ""))
    return tuple(
        Cause(
            reading=reading.name,
            zone=reading.zone,
            level=Level.UNMEASURED,
            limit=None,
            origin=limits[reading.name, reading.zone].origin,
            text=f"{reading.zone or 'frame'}: {reading.reason.text}",
        )
        for reading in unread
        if reading.reason is not None
    )
