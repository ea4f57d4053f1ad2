"""One frame of the report: what the page says of it, and the file that holds all that is known of it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from qc.day import Day, Taken
from qc.digest import Digest
from qc.errors import LogError
from qc.log import digests
from qc.log.keys import pair_known_as
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.wrap.sheets import set_of, sheet_of
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone
from qc.show.handoff.asks import clock_of, name_of
from qc.show.report.drawings import Drawing, Put, drawings_of
from qc.show.report.headings import limit_text
from qc.show.report.names import FRAMES, anchor_of, mark_of
from qc.show.report.templates import render
from qc.show.rows import rows
from qc.show.text import clean, notes, settings_line

NEVER: Final = "There is no picture of this file."
GONE: Final = "Its picture is lost: the digest is not in the output folder any more."


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One capture as the page speaks of it; small.

    Attributes
    ----------
    content, mark, anchor : str
        What it is known by; what its files are called by; where it stands on the page.
    name, set, clock : str
        File name on one line; its set; time of day or "".
    moment : str
        Local time as recorded, ISO 8601 without offset; empty where none was.
    level : Level
        Where it stands in the day.
    text : str
        Its most important cause, or "".
    purpose : str
        What it is for, or "".
    settings : str
        As recorded.
    drawings : tuple of Drawing
        The plain picture first; empty where there is none.
    without : str
        Why there is no picture; empty where there is one.
    lost : bool
        Whether there was one that is lost.
    """

    content: str
    mark: str
    anchor: str
    name: str
    set: str
    clock: str
    moment: str
    level: Level
    text: str
    purpose: str
    settings: str
    drawings: tuple[Drawing, ...] = ()
    without: str = ""
    lost: bool = False

    def drawn_for(self, reading: str, specs: Sequence[Spec]) -> tuple[Drawing, ...]:
        """Return the drawings that show a cause: that of its measurement, a map beside the plain picture."""
        of = {name: spec for spec in specs for name in (*(r.name for r in spec.readings), *spec.findings)}
        spec = of.get(reading)
        fitting = [drawing for drawing in self.drawings if spec is not None and drawing.spec == spec.name]
        # a map of the very reading, else the measurement's main one
        fitting.sort(key=lambda drawing: drawing.part != reading)
        if not fitting:
            return self.drawings[:1]
        return (self.drawings[0], fitting[0]) if fitting[0].scale is not None else (fitting[0],)


def frames_of(
    day: Day, out: Path, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec], put: Put
) -> Iterator[Frame]:
    """Write the files of every frame, one digest in memory at a time, and yield the frames in the order taken.

    Parameters
    ----------
    day : Day
        The day.
    out : Path
        Output folder with the digests.
    sheets, specs
        As `qc.show.report.write_report`.
    put : callable
        Writes a file under a name relative to the report.
    """
    names = {taken.entry.content: name_of(taken) for taken in day.captures}
    for number, taken in enumerate(day.captures, start=1):
        frame = _frame(taken, out, sheets, specs, put)
        facts = _facts(taken, specs, names)
        page = render("frame.html.j2", frame=frame, number=number, count=len(day.captures), **facts)
        put(f"{FRAMES}/{frame.mark}.js", _called_with(frame.mark, page.decode()))
        yield frame


def _frame(taken: Taken, out: Path, sheets: Mapping[str, Sheet], specs: Sequence[Spec], put: Put) -> Frame:
    result, entry = taken.logged.result, taken.entry
    mark = mark_of(entry.content)
    drawings, without, lost = _drawings(taken, out, mark, sheets, specs, put)
    return Frame(
        content=entry.content,
        mark=mark,
        anchor=anchor_of(taken.logged.path),
        name=name_of(taken),
        set=clean(set_of(taken, sheets)),
        clock=clock_of(taken),
        moment=_moment(result),
        level=taken.standing.level,
        text=clean(taken.standing.causes[0].text) if taken.standing.causes else "",
        purpose=entry.purpose or "",
        settings=settings_line(result),
        drawings=drawings,
        without=without,
        lost=lost,
    )


def _drawings(
    taken: Taken, out: Path, mark: str, sheets: Mapping[str, Sheet], specs: Sequence[Spec], put: Put
) -> tuple[tuple[Drawing, ...], str, bool]:
    """Return a frame's drawings, why there is no picture, and whether there was one that is lost."""
    result, sheet = taken.logged.result, sheet_of(taken, sheets)
    zones = sheet.zones if sheet is not None else ()
    digest, why = _read(out, taken.entry.content)
    own = drawings_of(result, digest, mark, zones=zones, specs=specs, put=put) if digest is not None else ()
    expected = bool(result.readings) and result.file.state == "whole"
    lost = digest is None and (expected or why != GONE)
    without = "" if digest is not None else why if lost else NEVER
    return (*own, *_of_test(taken, out, mark, zones, specs, put)), without, lost


def _of_test(
    taken: Taken, out: Path, mark: str, zones: Sequence[Zone], specs: Sequence[Spec], put: Put
) -> tuple[Drawing, ...]:
    """Return the drawings of a dark frame's ambient test, which lie over the picture of its lit frame."""
    test, lit = taken.logged.ambient, taken.logged.ambient_lit
    if test is None or lit is None:
        return ()
    digest, _ = _read(out, pair_known_as(taken.entry.content, lit))
    if digest is None:
        return ()
    _, *maps = drawings_of(test, digest, f"{mark}.test", zones=zones, specs=specs, put=put)
    return tuple(maps)


def _read(out: Path, content: str) -> tuple[Digest | None, str]:
    try:
        return digests.read(out, digests.name_of(content)), GONE
    except LogError as error:
        return None, f"Its picture is lost: {clean(' '.join(error.cause.split()))}."


def _facts(taken: Taken, specs: Sequence[Spec], names: Mapping[str, str]) -> dict[str, object]:
    """Return what a frame's own page says beyond what the report says of it."""
    logged = taken.logged
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    return {
        "causes": [(c.level, clean(c.text), limit_text(c, known.get(c.reading))) for c in taken.standing.causes],
        "rows": list(rows(logged.result, specs)),
        "test": list(rows(logged.ambient, specs)) if logged.ambient is not None else [],
        "lit": names.get(logged.ambient_lit or "", ""),
        "notes": list(notes(logged.result)),
        "file": logged.result.file,
        "paths": [clean(path) for path in logged.held or logged.paths],
        "detail": clean(logged.result.file.detail or ""),
        "decoder": clean(logged.result.made_by.decoder or ""),
        "complaints": clean(" ".join(logged.complaints.split())),
    }


def _moment(result: Result) -> str:
    """Return the local time as recorded, for an axis of time; empty for what is none."""
    try:
        taken = datetime.fromisoformat(result.camera.settings.taken or "")
    except ValueError:
        return ""
    return taken.replace(tzinfo=None).isoformat(timespec="milliseconds")


def _called_with(mark: str, page: str) -> bytes:
    """Return a script that hands a frame's page over: from a disk, a page may load scripts and nothing else."""
    return f"framegauge.arrived({json.dumps(mark)}, {json.dumps(page)});\n".encode("ascii")
