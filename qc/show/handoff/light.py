"""Ambient light against flash, and what a patch says of colour, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from qc.day import Day, Taken
from qc.judge import spoken_phrase
from qc.reading import Reading, Spec
from qc.result import Result
from qc.show.handoff.asks import name_of
from qc.show.handoff.markdown import code, prose
from qc.words import counted, spoken_number

UNDER, WORST, SHIFT = "ambient.stops_under", "ambient.worst_stops_under", "ambient.colour_shift"
KELVIN, TINT = "ambient.temperature", "ambient.tint"

_PATCH = ("cast.chroma", "cast.delta_a", "cast.delta_b", "cast.warm_cool", "cast.green_magenta")
SEEN = 1.0
"""Cast of a patch, CIELAB, from which on a frame is told by itself: about what is just visible side by side. Our
own choice."""

_GAINS = ("cast.gain_red", "cast.gain_blue")


def tests_of(day: Day) -> Mapping[str, tuple[Taken, ...]]:
    """Return the dark frames whose ambient test is to be told of a capture, by that capture's content.

    It is told of the lit frame, since that is what will be retouched; of the dark one where the lit one is gone.
    """
    there = {taken.entry.content for taken in day.captures}
    tests: dict[str, tuple[Taken, ...]] = {}
    for taken in day.captures:
        if taken.logged.ambient is not None:
            lit = taken.logged.ambient_lit
            of = lit if lit in there and lit is not None else taken.entry.content
            tests[of] = (*tests.get(of, ()), taken)
    return tests


def ambient_lines(dark: Taken, specs: Sequence[Spec]) -> Iterator[str]:
    """Yield what an ambient test says: stops under the flash for the frame and for each zone, then the colour."""
    test = dark.logged.ambient
    assert test is not None
    said = _Said(test, specs)
    against = f", measured with {code(name_of(dark))}"
    whole = said.of((UNDER, WORST, SHIFT), None)
    yield f"Ambient light{against}: {whole}." if whole else f"Ambient light{against}: {said.why(UNDER)}."
    colour = said.of((KELVIN, TINT), None)
    if colour:
        yield f"Its colour: {colour}."
    for zone in said.zones():
        if told := said.of((UNDER, WORST, SHIFT, KELVIN), zone):
            yield f"Ambient light on **{prose(zone)}**: {told}."


def patch_lines(result: Result, specs: Sequence[Spec], *, declared: bool) -> Iterator[str]:
    """Yield what each patch of a frame says, and the gains that bring it to its reference.

    Parameters
    ----------
    result : Result
        Of the capture.
    specs : sequence of Spec
        The measurements.
    declared : bool
        Whether the frame was given the role. Otherwise a patch that cannot be used, or is off by less than `SEEN`,
        is nothing to tell of this frame.
    """
    said = _Said(result, specs)
    references = _references(result)
    for zone in said.zones(_PATCH):
        told, gains = said.of(_PATCH, zone), said.of(_GAINS, zone)
        cast = said.value(_PATCH[0], zone)
        if cast is None:
            if declared:
                yield f"Patch **{prose(zone)}** cannot be used: {said.why(_PATCH[0], zone)}."
        elif declared or cast >= SEEN:
            aim = _aim(references.get(zone))
            yield f"Patch **{prose(zone)}**: {told}." + (f" {_capital(gains)} make it {aim}." if gains else "")


def patch_span(captures: Sequence[Taken], specs: Sequence[Spec]) -> Iterator[str]:
    """Yield for each patch that stays in the picture what it says over all frames, in one sentence."""
    values: dict[str, list[tuple[float, ...]]] = {}
    references: dict[str | None, object] = {}
    for taken in captures:
        said = _Said(taken.logged.result, specs)
        references |= _references(taken.logged.result)
        for zone in said.zones(_PATCH[:1]):
            row = [said.value(name, zone) for name in (_PATCH[0], *_GAINS)]
            if None not in row:
                values.setdefault(zone, []).append(tuple(value for value in row if value is not None))
    for zone, rows in values.items():
        cast, red, blue = zip(*rows, strict=True)
        most, frames = spoken_number(max(cast), 1), counted(len(rows), "frame")
        gains = f"{_span('red', red)} and {_span('blue', blue)} make it {_aim(references.get(zone))}"
        below = f" Frames with a cast of {SEEN:g} and more are told below." if max(cast) >= SEEN else ""
        yield f"Patch **{prose(zone)}** in {frames}: cast {most} at most. {_capital(gains)}.{below}"


def _references(result: Result) -> dict[str | None, object]:
    return {f.zone: f.data.get("reference") for f in result.findings if f.code == "patch_reference"}


def _span(colour: str, gains: Sequence[float]) -> str:
    ends = dict.fromkeys(spoken_number(gain, 3) for gain in (min(gains), max(gains)))
    return f"{colour} × {' to '.join(ends)}"


def _aim(reference: object) -> str:
    known = reference is None or reference == "neutral"
    return "neutral, green kept" if known else f"what it should be ({prose(str(reference))}), green kept"


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


class _Said:
    """The readings of one result as phrases."""

    def __init__(self, result: Result, specs: Sequence[Spec]) -> None:
        self._known = {reading.name: reading for spec in specs for reading in spec.readings}
        self._readings: dict[tuple[str, str | None], Reading] = {
            (reading.name, reading.zone): reading for reading in result.readings
        }

    def zones(self, names: Sequence[str] = (UNDER, WORST, SHIFT)) -> tuple[str, ...]:
        """Return the zones that have any of these readings."""
        found = (zone for name, zone in self._readings if name in names and zone is not None)
        return tuple(dict.fromkeys(found))

    def of(self, names: Sequence[str], zone: str | None) -> str:
        """Return those of some readings that have a value, as a photographer would say them, with commas."""
        found = (self._readings.get((name, zone)) for name in names)
        return prose(
            ", ".join(
                spoken_phrase(reading, self._known[reading.name])
                for reading in found
                if reading is not None and reading.value is not None and reading.name in self._known
            )
        )

    def value(self, name: str, zone: str | None) -> float | None:
        """Return the number of a reading; None where it has none, or there is no such reading."""
        reading = self._readings.get((name, zone))
        return None if reading is None else reading.value

    def why(self, name: str, zone: str | None = None) -> str:
        """Return why a reading has no value."""
        reading = self._readings.get((name, zone))
        return prose(reading.reason.text) if reading is not None and reading.reason else "not measured"
