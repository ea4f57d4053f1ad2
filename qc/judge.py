"""From readings to a verdict: pure, and the same whatever was measured before or in whatever order.

Nothing of taste is judged without a limit, and limits come from a sheet or a preset only (`qc.sheet.limits`).
What always has a level is listed here: a file that is not whole, a picture with nothing in it, an ambient test
that cannot be one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from qc.reading import Alarm, Bound, Finding, Level, Preset, Rank, Reading, ReadingSpec, Spec, Worse
from qc.result import Cause, FileFacts, Verdict
from qc.sheet.limits import Limit, Place
from qc.sheet.zones import Role, Zone
from qc.words import spoken_number, stop_word

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

OF_CAPTURE: Mapping[str, Alarm] = {
    "nearly_black": Alarm(Level.WARN, Rank.MISFIRE),
    "all_burnt": Alarm(Level.HALT, Rank.MISFIRE),
}
"""Findings about the capture as a whole that have a level whatever the limits are; those of a measurement stand
in its `Spec.alarms`."""

FINER = 2
"""Decimals by which a number that passed its limit may be said more finely. Our own choice."""

CODES: Mapping[str, str] = {
    "file.state": "the file is not whole, or cannot be read, and nothing was measured: a halt for damaged, "
    "truncated, empty and vanished files, else unmeasured",
}
"""Causes of a verdict that are neither a reading nor a finding."""

DECLARED = frozenset({Role.PROTECT, Role.SHARP, Role.PATCH})
"""Zones that somebody means to be looked at: a frame in which that cannot be done is not clear."""


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
        a limit had a value. A reading with a limit and no value is a cause too, in words. In a zone of a role in
        `DECLARED` it is a note, or a warning where the reason is what the fault itself would look like
        (`Spec.suspect`); elsewhere it comes last, at the level `unmeasured`.
    """
    if file.state != "whole":
        return _of_state(file)
    known = {reading.name: (spec, reading) for spec in specs for reading in spec.readings}
    limited = [r for r in readings if (r.name, r.zone) in limits and r.name in known]
    told = [*_of_findings(findings, specs), *_of_readings(limited, known, zones, limits)]
    unread = list(_unread(readings, known, zones, limits))
    blind = bool(limits) and all(reading.value is None for reading in limited)
    if any(w.rank == Rank.MISFIRE for w in told):  # nothing else is wrong with what is not in the picture
        unread = [_unmeasured(w) for w in unread]
    elif blind:  # a note says that the rest was looked at
        unread = [_unmeasured(w) if w.cause.level is Level.NOTE else w for w in unread]
    causes = tuple(w.cause for w in sorted((*told, *unread), key=_order))
    if causes and _SEVERITY[causes[0].level]:
        level = causes[0].level
    elif not limits:
        level = Level.UNJUDGED
    else:
        level = Level.UNMEASURED if blind else Level.CLEAR
    return Verdict(level=level, causes=causes)


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
    """Return the phrase of a reading with its number, or what it is that has no number.

    A bound is said ("at least 7.2"); a reading that may go either way says which in words, or carries its sign.
    """
    value, bound = reading.value, reading.bound
    if value is None:
        return f"{spec.spoken_name} not measured"
    shown = round(value, spec.decimals)
    if shown == 0 and spec.phrase_zero and bound is None:
        return spec.phrase_zero.format(zone=reading.zone or "frame")
    phrase, signed = spec.phrase, spec.worse == "either" and not spec.phrase_below
    if shown < 0 and spec.phrase_below:
        # the more, the lower: a bound is one from the other side
        phrase, value, bound = spec.phrase_below, -value, _TURNED.get(bound)
    number = spoken_number(value, spec.decimals, signed=signed)
    return phrase.format(
        value=f"{bound} {number}" if bound else number,
        stops=stop_word(value, spec.decimals),
        zone=reading.zone or "frame",
    )


def telling(spec: ReadingSpec, value: float, bar: float) -> ReadingSpec:
    """Return a spec with the decimals that it takes to tell a value from the limit that it passed: 3.97 from 4.0.

    At most `FINER` more than usual: of what is nearer than that it makes no odds.
    """
    for decimals in range(spec.decimals, spec.decimals + FINER + 1):
        if round(abs(value), decimals) != round(abs(bar), decimals):
            return replace(spec, decimals=decimals)
    return spec


_TURNED: Mapping[Bound | None, Bound] = {"at least": "at most", "at most": "at least"}


def _of_state(file: FileFacts) -> Verdict:
    level = _OF_STATE.get(file.state, Level.HALT)
    # of a file that is not there nobody knows whether it ever was
    told = [file.detail] if file.state == "vanished" and file.detail else [file.state, file.detail]
    text = ": ".join(part for part in told if part)
    cause = Cause(reading="file.state", zone=None, level=level, limit=None, origin=ALWAYS, text=text)
    return Verdict(level=level, causes=(cause,))


def _of_findings(findings: Sequence[Finding], specs: Sequence[Spec]) -> Iterator[_Weighed]:
    alarms = dict(OF_CAPTURE) | {code: alarm for spec in specs for code, alarm in spec.alarms.items()}
    for finding in findings:
        if (alarm := alarms.get(finding.code)) is not None:
            cause = Cause(
                reading=finding.code,
                zone=finding.zone,
                level=alarm.level,
                limit=None,
                origin=ALWAYS,
                text=finding.text,
            )
            yield _Weighed(alarm.rank, (0, 0), cause)


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
            origin=limit.origin_of(level),
            text=spoken(reading, telling(spec, reading.value, bar)),
        )
        zone = reading.zone or ""
        place = measurement.readings.index(spec), nth.get(zone, 0)
        yield _Weighed(_rank(measurement.rank, roles.get(zone)), place, cause)


def _rank(rank: int, role: Role | None) -> int:
    # a burnt highlight goes first only where the technician said that it must hold detail
    return Rank.REST if rank == Rank.PROTECTED and role is not Role.PROTECT else rank


def _order(weighed: _Weighed) -> tuple[int, int, tuple[int, int], str, str]:
    cause = weighed.cause
    return -_SEVERITY[cause.level], weighed.rank, weighed.place, cause.reading, cause.zone or ""


def _unread(
    readings: Sequence[Reading],
    known: Mapping[str, tuple[Spec, ReadingSpec]],
    zones: Sequence[Zone],
    limits: Mapping[Place, Limit],
) -> Iterator[_Weighed]:
    """Yield a cause for each zone and reason that kept a reading with a limit from being judged."""
    given = {(reading.name, reading.zone): reading for reading in readings}
    roles = {zone.name: zone.role for zone in zones}
    nth = {zone.name: number for number, zone in enumerate(zones, 1)}
    said: set[tuple[str, str | None, str]] = set()
    for (name, zone), limit in sorted(limits.items(), key=lambda item: (item[0][0], item[0][1] or "")):
        # a kind of file that a measurement cannot read at all has its reason on the frame's reading only
        reading = given.get((name, zone)) or given.get((name, None))
        if name not in known or reading is None:
            continue
        measurement, spec = known[name]
        why = _why_unread(reading, spec, limit)
        refined = given.get((spec.refines, zone))
        if why is None or (refined is not None and refined.value is not None):
            continue
        key = (measurement.name, zone, why)
        if key in said:
            continue
        said.add(key)
        suspect = reading.reason is None or reading.reason.code in measurement.suspect
        cause = Cause(
            reading=name,
            zone=zone,
            level=_level_unread(roles.get(zone or ""), suspect=suspect),
            limit=None,
            origin=limit.origin,
            text=f"{zone or 'frame'}: {measurement.name} not read: {why}",
        )
        yield _Weighed(
            _rank(measurement.rank, roles.get(zone or "")),
            (measurement.readings.index(spec), nth.get(zone or "", 0)),
            cause,
        )


def _why_unread(reading: Reading, spec: ReadingSpec, limit: Limit) -> str | None:
    """Say why a reading cannot be judged: it has no value, or a bound that leaves the worse side open."""
    if reading.value is None:
        return reading.reason.text if reading.reason else None
    opens = {"high": "at least", "low": "at most", "either": reading.bound}.get(spec.worse or "")
    if (
        reading.bound is None
        or reading.bound != opens
        or passed(reading.value, limit.values, spec.worse or "high")
    ):
        return None
    return f"{spoken_phrase(reading, spec)} is all that can be told"


def _level_unread(role: Role | None, *, suspect: bool) -> Level:
    if role not in DECLARED:
        return Level.UNMEASURED
    return Level.WARN if suspect else Level.NOTE


def _unmeasured(weighed: _Weighed) -> _Weighed:
    return replace(weighed, cause=replace(weighed.cause, level=Level.UNMEASURED))
