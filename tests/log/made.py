"""Captures made up for tests of the log."""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from qc.digest import Digest
from qc.frame import Camera
from qc.intake.updates import Stamp
from qc.log.keys import Key
from qc.log.rows import Captured
from qc.reading import Finding, Level
from qc.result import CameraFacts, FileFacts, Result, Verdict
from qc.series.entry import Order
from tests.show.results import CAMERA, result

TAKEN = "2026-11-25T09:00:03.250"

DIGEST = Digest(
    preview=np.full((24, 36), 90, dtype=np.uint8),
    colours="RGB",
    tile_means=np.full((3, 4, 6), 0.25, dtype=np.float32),
    full_size=(36, 24),
)

FOUND = (Finding(code="glint", zone="label", text="a glint", data={"count": 3, "places": [1, 2]}),)

LIGHT = np.arange(24, dtype=np.float32).reshape(4, 6)


def content(number: int) -> str:
    return f"blake2b:{number:064x}"


def stamp(number: int) -> Stamp:
    return Stamp(size=1000 + number, mtime_ns=1_764_000_000_000_000_000 + number, inode=number)


def order(number: int, name: str) -> Order:
    return f"2026-11-25T09:{number // 60 % 60:02}:{number % 60:02}.000", name, number, 0


def key(number: int, *, zones: str = "blake2b:0a", methods: str = '{"burnt": 3}') -> Key:
    return Key(content=content(number), methods=methods, zones=zones)


def measured(number: int, name: str = "", **changes: Any) -> Result:
    name = name or f"SB_{number:04}.dng"
    file = FileFacts(path=f"/day/{name}", name=name, bytes=1000 + number, content=content(number))
    facts: dict[str, Any] = {"file": file, "digest": DIGEST, "findings": FOUND}
    return result(**facts | changes)


def captured(number: int, name: str = "", **changes: Any) -> Captured:
    name = name or f"SB_{number:04}.dng"
    one = Captured(
        result=measured(number, name),
        path=name,
        stamp=stamp(number),
        key=key(number),
        limits="blake2b:11",
        sheet_text='[set]\nname = "bottles"\n',
        light=LIGHT,
        order=order(number, name),
        took_s=0.5,
    )
    return replace(one, **changes)


def unread(name: str = "SB_0009.dng", state: str = "unreadable", at: Stamp | None = None) -> Captured:
    file = FileFacts(path=f"/day/{name}", name=name, state=state, detail="permission denied")  # type: ignore[arg-type]
    nothing = Verdict(level=Level.UNMEASURED)
    said = result(
        None, file=file, camera=CameraFacts(), readings=(), findings=(), regions=(), verdict=nothing, digest=None
    )
    return replace(captured(9, name), result=said, stamp=at, key=replace(key(9), content=None), light=None)


def lay(folder: Path, one: Captured) -> Path:
    """Put a file into a folder that looks as the one that was measured: as long, changed at the same time."""
    assert one.stamp is not None
    path = folder / one.path
    path.write_bytes(bytes(one.stamp.size))
    os.utime(path, ns=(one.stamp.mtime_ns, one.stamp.mtime_ns))
    return path


def judged(one: Captured, level: Level, limits: str) -> Captured:
    verdict = Verdict(level=level, causes=one.result.verdict.causes)
    return replace(one, result=replace(one.result, verdict=verdict), limits=limits)


def at_iso(number: int, iso: float) -> Result:
    settings = replace(CAMERA.settings, iso=iso)
    assert isinstance(settings, Camera)
    return measured(number, camera=replace(CAMERA, settings=settings))
