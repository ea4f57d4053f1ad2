"""Days in a log made up for tests of the report: captures with readings, maps and outlines."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from qc.day import Day, DayFinding, read_day
from qc.digest import Digest
from qc.frame import Camera
from qc.log.keys import Key
from qc.log.log import Log
from qc.log.rows import Captured
from qc.measure import specs
from qc.reading import Level, Reading, Reason, Region, TileMap, Unit
from qc.result import CameraFacts, Cause, FileFacts, MadeBy, Result, Verdict
from qc.series.order import light_of, order_of
from qc.series.wrap import sheets_of
from qc.sheet.read import parse_sheet
from qc.show.report import write_report

SHEET = """\
[set]
name = "Stoneware <b>bottles</b>"
preset = "series"
[[zone]]
name = "label"
role = "sharp"
box = [0.3, 0.3, 0.2, 0.2]
"""


def digest(seed: int = 0, *, size: tuple[int, int] = (80, 120)) -> Digest:
    """A picture with a clipped place and two maps, one of them with gaps."""
    rng = np.random.default_rng(seed)
    blur = rng.uniform(0.5, 4.0, (8, 12)).astype(np.float32)
    blur[:3] = np.nan
    return Digest(
        preview=rng.integers(20, 200, size, dtype=np.uint8),
        colours="RGB",
        tile_means=np.full((3, 8, 12), 0.25, dtype=np.float32),
        maps=(
            TileMap(name="sharpness.blur", unit=Unit.PIXELS, values=blur, low=0.5),
            TileMap(
                name="sharpness.blur_major",
                unit=Unit.PIXELS,
                values=blur,
                angles=np.full((8, 12), 30.0, dtype=np.float32),
                drawing="arrows",
            ),
        ),
        regions=(Region(what="burnt", box=(0.35, 0.35, 0.1, 0.1), area=1.0, colours="RGB", zone="label"),),
        region_readings=("highlights.clipped_area",),
        full_size=(1200, 800),
    )


def readings(headroom: float | None, burnt: float, blur: float) -> tuple[Reading, ...]:
    why = None if headroom is not None else Reason("clipped", "nothing is left unclipped")
    return (
        Reading(name="highlights.clipped_area", unit=Unit.PERCENT_OF_CELLS, value=burnt),
        Reading(name="highlights.unintended_area", unit=Unit.PERCENT_OF_CELLS, value=burnt),
        Reading(name="highlights.headroom", unit=Unit.STOPS, value=headroom, reason=why),
        Reading(name="sharpness.blur", unit=Unit.PIXELS, zone="label", value=blur, plus_minus=0.1),
    )


def cause(level: Level, text: str, reading: str = "highlights.unintended_area", zone: str | None = None) -> Cause:
    return Cause(reading=reading, zone=zone, level=level, limit=0.2, origin="preset series", text=text)


def burnt(area: float, level: Level = Level.HALT) -> Cause:
    return cause(level, f"burnt {area:.2f} %")


def soft(blur: float, level: Level = Level.WARN) -> Cause:
    return cause(level, f"label blur {blur:.2f} px", "sharpness.blur", "label")


def taken_at(number: int) -> str:
    return f"2026-11-25T{9 + number // 180:02}:{number // 3 % 60:02}:{number % 3 * 20:02}.000"


def captured(number: int, name: str = "", *, causes: Sequence[Cause] = (), **changes: Any) -> Captured:
    """The capture of a number; `changes` are of its `Result`, or ``headroom``, ``area``, ``blur``, ``state``."""
    name = name or f"SB_{number:04}.dng"
    content = f"blake2b:{number:064x}"
    level = causes[0].level if causes else Level.CLEAR
    given = (changes.pop("headroom", 0.5 + number / 100), changes.pop("area", 0.01), changes.pop("blur", 0.8))
    settings = Camera(make="Own", model="Body", iso=100, shutter_s=1 / 160, aperture=11, taken=taken_at(number))
    place = f"/day/bottles/{name}"
    result = Result(
        file=FileFacts(path=place, name=name, bytes=1000 + number, content=content, sha256="ab" * 32),
        camera=CameraFacts(settings=settings, kind="mosaic", width=1200, height=800),
        readings=readings(*given),
        regions=digest().regions,
        verdict=Verdict(level=level, causes=tuple(causes)),
        sheet_name=parse_sheet(SHEET).name,
        sheet_digest="blake2b:5e",
        made_by=MadeBy(tool="framegauge 0", decoder="rawpy 0", methods={"highlights": 1}),
        measured_at="2026-11-25T10:00:05+01:00",
        digest=digest(number),
    )
    result = replace(result, **changes)
    arrived = f"{taken_at(number)[:19]}+00:00"
    return Captured(
        result=result,
        path=name,
        stamp=None,
        key=Key(content=content, methods="{}", zones="blake2b:0a"),
        limits="blake2b:11",
        sheet_text=SHEET,
        light=light_of(result.digest) if result.digest is not None else None,
        order=order_of(result.camera.settings, arrived, name, number),
        took_s=0.5,
        arrived_at=arrived,
    )


def truncated(number: int, name: str = "") -> Captured:
    one = captured(number, name)
    file = replace(one.result.file, state="truncated", detail="half of it is missing")
    verdict = Verdict(
        level=Level.HALT, causes=(cause(Level.HALT, "truncated: half of it is missing", "file.state"),)
    )
    result = replace(
        one.result, file=file, camera=CameraFacts(), readings=(), regions=(), verdict=verdict, digest=None
    )
    return replace(one, result=result, light=None)


def logged(out: Path, captures: Iterable[Captured]) -> Path:
    """Put captures into the log of an output folder."""
    with Log.open(out) as log:
        for one in captures:
            log.add(one)
    return out


def day_of(out: Path, findings: Sequence[DayFinding] = ()) -> Day:
    with Log.open(out, create=False) as log:
        return replace(read_day(log, specs=all_specs()), findings=tuple(findings))


def reported(out: Path, captures: Iterable[Captured], findings: Sequence[DayFinding] = ()) -> Path:
    """Log captures and write their report; returns its page."""
    day = day_of(logged(out, captures), findings)
    return write_report(out, day=day, sheets=sheets_of(day), specs=all_specs())


@cache
def all_specs() -> tuple[Any, ...]:
    return tuple(specs())
