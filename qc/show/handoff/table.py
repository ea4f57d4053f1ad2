"""``frames.csv``: one row a frame in the order taken, one column a reading of the frame and of each zone.

A column is headed ``reading [unit]``, for a zone ``reading [unit] zone``, from the measurements' `SPEC`. Readings
of an ambient test stand in the row of its dark frame. Where there is no number the cell is empty, and the column
``no value because`` says why; where a number is only a bound, the column ``bounds`` says which way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from qc.day import Day, Taken
from qc.reading import Reading, ReadingSpec, Spec
from qc.series.wrap.sheets import set_of
from qc.sheet.limits import Place
from qc.sheet.sheet import Sheet
from qc.show.handoff.cells import Cell, csv_lines
from qc.show.handoff.sums import digest_of

_ABOUT = ("name", "path", "set", "taken", "role", "state", "level", "first reason")

_SETTINGS = ("shutter [s]", "aperture [f-number]", "ISO", "focal length [mm]", "focus distance [m]")

_FILE = ("make", "model", "serial", "lens", "kind", "width [px]", "height [px]", "bytes", "SHA-256")

_LAST = ("ambient test against", "bounds", "no value because")


def frames_csv(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Iterator[bytes]:
    """Yield ``frames.csv``.

    Parameters
    ----------
    day : Day
        The day.
    sheets : mapping of str to Sheet
        As `qc.series.wrap.sheets.sheets_of` returns them.
    specs : sequence of Spec
        The measurements.
    """
    columns = list(_columns(day, specs))
    head = (*_ABOUT, *_SETTINGS, *_FILE, *(_header(spec, zone) for spec, zone in columns), *_LAST)
    names = {taken.entry.content: taken.logged.result.file.name for taken in day.captures}
    places = [(spec.name, zone) for spec, zone in columns]
    return csv_lines(head, (_row(taken, set_of(taken, sheets), names, places) for taken in day.captures))


def readings_of(taken: Taken) -> Iterator[Reading]:
    """Yield every reading of a capture, then those of its ambient test."""
    yield from taken.logged.result.readings
    if taken.logged.ambient is not None:
        yield from taken.logged.ambient.readings


def _columns(day: Day, specs: Sequence[Spec]) -> Iterator[tuple[ReadingSpec, str | None]]:
    zones: dict[str, dict[str | None, None]] = {}
    for taken in day.captures:
        for reading in readings_of(taken):
            zones.setdefault(reading.name, {})[reading.zone] = None
    for spec in specs:
        for reading_spec in spec.readings:
            found = zones.get(reading_spec.name, {})
            if reading_spec.per_frame or None in found:
                yield reading_spec, None
            yield from ((reading_spec, zone) for zone in found if zone is not None)


def _header(spec: ReadingSpec, zone: str | None) -> str:
    return f"{spec.name} [{spec.unit}]" + ("" if zone is None else f" {zone}")


def _row(taken: Taken, of_set: str, names: Mapping[str, str], places: Sequence[Place]) -> list[Cell]:
    readings = {(reading.name, reading.zone): reading for reading in readings_of(taken)}
    numbers = [readings[place].value if place in readings else None for place in places]
    lit = taken.logged.ambient_lit
    return [
        *_about(taken, of_set),
        *_settings(taken),
        *_file(taken),
        *numbers,
        names.get(lit, lit) if lit else "",
        "; ".join(f"{_said(reading)} {reading.bound}" for reading in readings.values() if reading.bound),
        _missing(readings.values()),
    ]


def _about(taken: Taken, of_set: str) -> Iterator[Cell]:
    result, standing = taken.logged.result, taken.standing
    yield from (result.file.name, taken.logged.path, of_set, result.camera.settings.taken)
    yield from (taken.entry.purpose or "", result.file.state, standing.level)
    yield standing.causes[0].text if standing.causes else ""


def _settings(taken: Taken) -> Iterator[Cell]:
    settings = taken.logged.result.camera.settings
    yield from (settings.shutter_s, settings.aperture, settings.iso, settings.focal_mm, settings.focus_m)


def _file(taken: Taken) -> Iterator[Cell]:
    camera, file = taken.logged.result.camera, taken.logged.result.file
    settings = camera.settings
    yield from (settings.make, settings.model, settings.serial, settings.lens)
    yield from (camera.kind, camera.width, camera.height, file.bytes, digest_of(taken.logged) or None)


def _missing(readings: Iterable[Reading]) -> str:
    """Say why there are no numbers, each reason once, with the readings that have it."""
    why: dict[str, list[str]] = {}
    for reading in readings:
        if reading.reason is not None:
            why.setdefault(reading.reason.text, []).append(_said(reading))
    return "; ".join(f"{reason}: {', '.join(said)}" for reason, said in why.items())


def _said(reading: Reading) -> str:
    return reading.name if reading.zone is None else f"{reading.name} {reading.zone}"
