"""Days made up for tests of the hand-off: captures as the log gives them, with what a hand-off has to tell."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from qc.day import Day, DayFinding
from qc.event import Event
from qc.log.rows import Logged
from qc.reading import Level, Reading, Reason, Region, Unit
from qc.result import Cause, Verdict
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet
from tests.series.wrap.days import day as day_of
from tests.series.wrap.days import logged

DIGEST = "blake2b:5e"

SHEET: Sheet = parse_sheet(
    """\
[set]
name = "Stoneware bottles, front"
preset = "series"
[[zone]]
name = "label"
role = "protect"
box = [0.4, 0.4, 0.2, 0.2]
[[zone]]
name = "rim"
role = "allow"
box = [0.1, 0.1, 0.2, 0.2]
budget = 1.0
[[zone]]
name = "card"
role = "patch"
box = [0.8, 0.8, 0.1, 0.1]
"""
)

SHEETS = {DIGEST: SHEET}


def frame(number: int, name: str = "", **changes: Any) -> Logged:
    """A capture of the set, judged by `SHEET`; `changes` as for `tests.series.wrap.days.logged`."""
    given = {"sheet_name": SHEET.name, "sheet_digest": DIGEST}
    return with_sha(logged(number, name, **given | changes))


def with_sha(one: Logged) -> Logged:
    file = replace(one.result.file, sha256=f"{len(one.path):064x}")
    return replace(one, held=one.held or one.paths, result=replace(one.result, file=file))


def cause(
    level: Level, text: str, reading: str = "highlights.unintended_area", zone: str | None = "label"
) -> Cause:
    return Cause(reading=reading, zone=zone, level=level, limit=0.2, origin="sheet", text=text)


def burnt(number: int, area: float, name: str = "", **changes: Any) -> Logged:
    """A capture with a burnt label."""
    verdict = Verdict(level=Level.HALT, causes=(cause(Level.HALT, f"label burnt {area:.2f} %"),))
    readings = (
        Reading(name="highlights.unintended_area", zone="label", unit=Unit.PERCENT_OF_CELLS, value=area),
        Reading(name="highlights.headroom", unit=Unit.STOPS, value=-0.25, bound="at most"),
        Reading(name="sharpness.blur", zone="label", unit=Unit.PIXELS, reason=Reason("texture", "a weave")),
    )
    regions = (Region(what="burnt", box=(0.45, 0.45, 0.1, 0.1), area=area, colours="RGB", zone="label"),)
    return frame(number, name, **{"verdict": verdict, "readings": readings, "regions": regions} | changes)


def patch(*values: float) -> tuple[Reading, ...]:
    """Readings of a patch: cast, gain of red, gain of blue."""
    names = ("cast.chroma", "cast.gain_red", "cast.gain_blue")
    units = (Unit.LAB, Unit.FACTOR, Unit.FACTOR)
    return tuple(
        Reading(name=name, zone="card", unit=unit, value=value)
        for name, unit, value in zip(names, units, values, strict=True)
    )


def day(
    *captures: Logged, findings: tuple[DayFinding, ...] = (), events: tuple[Event, ...] = (), **own: Any
) -> Day:
    return replace(day_of(captures, events=events, **own), findings=findings)
