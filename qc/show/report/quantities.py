"""The numbers of the day over time: which they are, and what each frame has."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from qc.day import Day
from qc.reading import Reading, ReadingSpec, Spec
from qc.series.wrap.sheets import sheet_of
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role
from qc.show.handoff.table import readings_of
from qc.show.text import clean
from qc.words import spoken_number

LEVEL_DECIMALS: Final = 2


@dataclass(frozen=True, slots=True, kw_only=True)
class Number:
    """What one frame has of a quantity: the number, in words, where; or why there is none."""

    value: float | None = None
    said: str = ""
    where: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity:
    """One number a frame.

    Attributes
    ----------
    key : str
        Short name for places on the page.
    title, short : str
        What it is called; the same over a narrow column.
    unit : str
        Its unit.
    about : str
        One sentence: what it is and which way is worse.
    numbers : mapping of str to Number
        By content.
    """

    key: str
    title: str
    short: str
    unit: str
    about: str
    numbers: Mapping[str, Number]


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """One way to get a quantity: a reading, of the frame or of its worst zone."""

    key: str
    title: str
    short: str
    reading: str
    zones: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Sample:
    """What the quantities of one capture are made from.

    Attributes
    ----------
    content : str
        The capture.
    readings : sequence of Reading
        Of it, and of its ambient test.
    roles : mapping of str to Role
        Of the zones that it was judged by.
    light : ndarray of float32, shape (rows, columns), or None
        Mean light of its coarse tiles (`qc.series.tiles.light_of`).
    """

    content: str
    readings: Sequence[Reading]
    roles: Mapping[str, Role] = field(default_factory=dict)
    light: NDArray[np.float32] | None = field(default=None, compare=False)


KINDS: Final[Sequence[Sequence[Kind]]] = (
    (Kind(key="headroom", title="Headroom", short="headroom", reading="highlights.headroom"),),
    (Kind(key="burnt", title="Unintended clipping", short="burnt", reading="highlights.unintended_area"),),
    (
        Kind(key="blur", title="Blur in the worst sharp zone", short="blur", reading="sharpness.blur", zones=True),
        Kind(key="blur", title="Blur at the sharpest place", short="least blur", reading="sharpness.best_blur"),
    ),
    (Kind(key="cast", title="Cast of the patch", short="cast", reading="cast.chroma", zones=True),),
)
"""For each quantity the ways to get it, best first: the first that any frame of the day has is used for all."""

AMBIENT: Final = Kind(key="ambient", title="Room under the flash", short="room", reading="ambient.stops_under")


READINGS: Final = frozenset(kind.reading for ways in KINDS for kind in ways)
"""Catalogue names of the readings that `quantities` looks at."""


def quantities(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> tuple[Quantity, ...]:
    """Return the quantities that are plotted; those that no frame of the day has are left out."""
    return told_of(_samples(day, sheets), specs=specs)


def told_of(samples: Sequence[Sample], *, specs: Sequence[Spec]) -> tuple[Quantity, ...]:
    """Return the quantities of some captures; those that none of them has are left out."""
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    found = (_first(ways, samples, known) for ways in KINDS)
    level = level_of_light(samples)
    return (*(quantity for quantity in found if quantity is not None), *([level] if level else []))


def ambient(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Quantity | None:
    """Return the ambient tests' stops under the flash; None where there was no test."""
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    return _first((AMBIENT,), _samples(day, sheets), known)


def level_of_light(samples: Sequence[Sample]) -> Quantity | None:
    """Return the median light of the tiles that are not clipped; None where no frame has any."""
    numbers: dict[str, Number] = {}
    for sample in samples:
        light = sample.light
        open_tiles = light[np.isfinite(light) & (light > 0)] if light is not None else np.zeros(0)
        if open_tiles.size:
            value = float(np.log2(np.median(open_tiles)))
            numbers[sample.content] = Number(value=value, said=spoken_number(value, LEVEL_DECIMALS))
    if not numbers:
        return None
    about = "Median of the picture's unclipped tiles against full scale; a jump is other light or another picture."
    return Quantity(key="light", title="Level of light", short="light", unit="stops", about=about, numbers=numbers)


def roles_of(sheet: Sheet | None) -> dict[str, Role]:
    """Return the roles of a sheet's zones by name."""
    return {zone.name: zone.role for zone in sheet.zones} if sheet is not None else {}


def _samples(day: Day, sheets: Mapping[str, Sheet]) -> tuple[Sample, ...]:
    return tuple(
        Sample(
            content=taken.entry.content,
            readings=tuple(readings_of(taken)),
            roles=roles_of(sheet_of(taken, sheets)),
            light=taken.entry.light,
        )
        for taken in day.captures
    )


def _first(ways: Sequence[Kind], samples: Sequence[Sample], known: Mapping[str, ReadingSpec]) -> Quantity | None:
    for kind in ways:
        spec = known.get(kind.reading)
        if spec is None:
            continue
        numbers = {sample.content: _number(sample, kind, spec) for sample in samples}
        if any(number.value is not None for number in numbers.values()):
            about = " ".join(spec.meaning.split())
            return Quantity(
                key=kind.key,
                title=kind.title,
                short=kind.short,
                unit=str(spec.unit),
                about=about,
                numbers=numbers,
            )
    return None


def _number(sample: Sample, kind: Kind, spec: ReadingSpec) -> Number:
    here = [r for r in _readings(sample, kind, spec) if r.name == kind.reading]
    measured = [reading for reading in here if reading.value is not None]
    if not measured:
        return Number(why=clean(next((r.reason.text for r in here if r.reason), "")))
    worst = max(measured, key=lambda reading: _badness(reading, spec))
    value = worst.value or 0.0
    bound = {"at least": "≥ ", "at most": "≤ ", None: ""}[worst.bound]
    return Number(value=value, said=f"{bound}{spoken_number(value, spec.decimals)}", where=clean(worst.zone or ""))


def _readings(sample: Sample, kind: Kind, spec: ReadingSpec) -> Iterator[Reading]:
    """Yield the readings that count: of the frame, or of those zones that a limit is meant for."""
    if not kind.zones:
        yield from (reading for reading in sample.readings if reading.zone is None)
        return
    for reading in sample.readings:
        role = sample.roles.get(reading.zone or "")
        if reading.zone is not None and (role is None or not spec.limit_roles or role in spec.limit_roles):
            yield reading


def _badness(reading: Reading, spec: ReadingSpec) -> float:
    value = reading.value or 0.0
    return abs(value) if spec.worse == "either" else -value if spec.worse == "low" else value
