"""What a number means: `qc explain`, made from the `SPEC` of each measurement and nothing else."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence

from qc.errors import UsageError
from qc.judge import CODES, OF_CAPTURE
from qc.reading import COMMON_REASONS, Level, Preset, ReadingSpec, Spec
from qc.result import STATES

INDENT = 18
"""Columns before the text of a field: what is carried over to the next line starts there too."""


_LEVELS: Mapping[str, str] = {
    Level.CLEAR: "no limit is passed",
    Level.NOTE: "the mildest level of a limit: worth knowing",
    Level.WARN: "the middle level of a limit: look before the next frame",
    Level.HALT: "the worst level of a limit: stop and put it right",
    Level.UNJUDGED: "nothing asks for a judgement: there is no set sheet and no preset",
    Level.UNMEASURED: "no reading with a limit could be taken",
}


def overview(specs: Sequence[Spec]) -> Iterator[str]:
    """Yield one line for each reading, under the name of its measurement."""
    for spec in specs:
        yield spec.name
        width = max(len(reading.name) for reading in spec.readings)
        for reading in spec.readings:
            yield f"  {reading.name:<{width}}  {reading.unit}"
    yield ""
    yield "qc explain NAME tells more of a reading, a measurement, a level, or the code of a finding or reason."


def explain(name: str, specs: Sequence[Spec], findings: Mapping[str, str]) -> Iterator[str]:
    """Yield the explanation of a reading, a measurement, or the code of a finding or reason.

    Parameters
    ----------
    name : str
        What to explain.
    specs : sequence of Spec
        All measurements.
    findings : mapping of str to str
        Codes of findings and events that no measurement makes, and what they mean.

    Raises
    ------
    UsageError
        When nothing is called so; names what is near.
    """
    readings = {reading.name: reading for spec in specs for reading in spec.readings}
    measurements = {spec.name: spec for spec in specs}
    codes = _codes(specs, findings)
    if name in measurements:
        yield from _measurement(measurements[name])
    elif name in readings:
        yield from explain_reading(readings[name])
    elif name in codes:
        yield from (f"{name}: {meaning}" for meaning in codes[name])
        alarms = dict(OF_CAPTURE) | {code: alarm for spec in specs for code, alarm in spec.alarms.items()}
        if name in alarms:
            yield from _field("level", f"{alarms[name].level}, whatever the limits are")
    else:
        close = difflib.get_close_matches(name, [*readings, *measurements, *codes], n=3)
        hint = f"; near it: {', '.join(close)}" if close else "; qc explain lists what there is"
        raise UsageError(f"nothing is called {name!r}{hint}")


def explain_reading(reading: ReadingSpec) -> Iterator[str]:
    """Yield the explanation of one reading: meaning, unit, both ends, method, source, limits with theirs."""
    yield f"{reading.name}  ({reading.unit})"
    yield from _field("means", reading.meaning)
    phrases = [phrase for phrase in (reading.phrase, reading.phrase_below, reading.phrase_zero) if phrase]
    yield from _field("said as", " or ".join(phrases).format(value="N", zone="ZONE", stops="stops"))
    yield from _field("smallest", reading.low_end)
    yield from _field("largest", reading.high_end)
    yield from _field("worse", _WORSE[reading.worse])
    yield from _field("measured in", _places(reading))
    yield from _field("method", reading.method)
    yield from _field("source", reading.source)
    yield from _field("comparable", reading.comparable_when)
    yield from _limits(" and ".join(f"{r} zones" for r in reading.limit_roles) or "the frame", reading.limits)
    yield from _limits("the frame", reading.frame_limits)
    yield from _field("their source", reading.limits_source)


_WORSE = {
    "high": "the higher, the worse",
    "low": "the lower, the worse",
    "either": "the farther from 0, the worse, either way",
    None: "neither way: a bare fact without a limit",
}


def _measurement(spec: Spec) -> Iterator[str]:
    yield f"{spec.name}, version {spec.version}"
    yield from _field("reads", ", ".join(sorted(spec.kinds)) + " files")
    yield from _codes_of("finds", spec.findings)
    yield from _codes_of("gives no value", spec.reasons)
    for reading in spec.readings:
        yield ""
        yield from explain_reading(reading)


def _codes_of(label: str, codes: Mapping[str, str]) -> Iterator[str]:
    for number, (code, meaning) in enumerate(codes.items()):
        yield from _field("" if number else label, f"{code}: {meaning}")


def _codes(specs: Sequence[Spec], findings: Mapping[str, str]) -> Mapping[str, list[str]]:
    """Return what each code means; one that is used for several things has a meaning for each."""
    of_specs: list[Mapping[str, str]] = [codes for spec in specs for codes in (spec.reasons, spec.findings)]
    found: dict[str, list[str]] = {}
    states: Mapping[str, str] = {str(state): meaning for state, meaning in STATES.items()}
    for codes in (COMMON_REASONS, *of_specs, findings, CODES, states, _LEVELS):
        for code, meaning in codes.items():
            if meaning not in found.setdefault(code, []):
                found[code].append(meaning)
    return found


def _places(reading: ReadingSpec) -> str:
    places = ["the frame"] if reading.per_frame else []
    if reading.per_zone:
        places.append(f"zones: {', '.join(reading.per_zone)}")
    return "; ".join(places)


def _limits(place: str, limits: Mapping[str, Preset]) -> Iterator[str]:
    if limits:
        yield from _field("limits for", place)
    for preset, limit in limits.items():
        yield from _field(f"  {preset}", _limit(limit))


def _limit(limit: Preset) -> str:
    bars = (("note", limit.note), ("warn", limit.warn), ("halt", limit.halt))
    return ", ".join(f"{severity} {bar:g}" for severity, bar in bars if bar is not None) or "none"


def _field(label: str, text: str) -> Iterator[str]:
    if text:
        yield f"  {label:<{INDENT - 2}}{text}"
