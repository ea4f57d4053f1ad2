"""Entries of invented days, and a strategy for days in which everything can happen."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.frame import Camera
from qc.reading import Level
from qc.result import Cause, Verdict
from qc.series.entry import Entry, Standing
from qc.series.run import fold
from qc.sheet.limits import Place
from tests.sheet.toys import SPECS

CAMERA = Camera(
    make="Rehearsal",
    model="Studio",
    serial="R-1",
    lens="90 mm",
    iso=100,
    shutter_s=1 / 125,
    aperture=11,
    focal_mm=90,
)
SHAPE = (11, 16)
UNJUDGED = Verdict(level=Level.UNJUDGED)
_BLACK = Cause(reading="nearly_black", zone=None, level=Level.WARN, limit=None, origin="always", text="black")
BLACK = Verdict(level=Level.WARN, causes=(_BLACK,))

Light = NDArray[np.float32]


def scene(seed: int = 0) -> Light:
    """A set: a bright sweep with something darker on it."""
    rng = np.random.default_rng(seed)
    light = np.full(SHAPE, 0.4, dtype=np.float32)
    light[3:10, 5:11] = rng.uniform(0.05, 0.3, (7, 6))
    return light


def frame(number: int, light: Light | float = 1.0, *, settings: Camera | None = None, **more: Any) -> Entry:
    """Frame number n of a day, `light` a picture or a factor to the usual one."""
    picture = scene() * np.float32(light) if isinstance(light, float) else light
    name = f"SB_{number:04d}.dng"
    order = (f"2026-11-25T10:{number // 60:02d}:{number % 60:02d}", "SB_", number, number)
    given: dict[str, Any] = {
        "verdict": UNJUDGED,
        "state": "whole",
        "kind": "mosaic",
        "size": (600, 400),
        "order": order,
    } | more
    return Entry(content=f"c{number}", name=name, settings=settings or CAMERA, light=picture, **given)


def dark(number: int, **more: Any) -> Entry:
    """A frame that the pipeline found to be nearly black."""
    given: dict[str, Any] = {"found": frozenset({"nearly_black"}), "verdict": BLACK} | more
    return frame(number, 0.001, **given)


def limited(number: int, value: float | None, **more: Any) -> Entry:
    """A frame with a value of "tint.shift", whose limits go either way: note 5, warn 10."""
    place: Place = ("tint.shift", None)
    causes: tuple[Cause, ...] = ()
    if value is not None and abs(value) > 5:
        level, bar = (Level.WARN, 10.0) if abs(value) > 10 else (Level.NOTE, 5.0)
        text = f"tint {value:g}"
        causes = (Cause(reading=place[0], zone=None, level=level, limit=bar, origin="sheet", text=text),)
    verdict = Verdict(level=causes[0].level if causes else Level.CLEAR, causes=causes)
    values = {} if value is None else {place: value}
    return frame(number, verdict=verdict, values=values, **more)


def with_camera(**settings: Any) -> Camera:
    """The camera with other settings."""
    return replace(CAMERA, **settings)


def folded(*entries: Entry) -> list[Standing]:
    """Where each stands, in the order taken."""
    return list(fold(entries, specs=SPECS))


def words(*entries: Entry) -> list[list[str]]:
    """The texts of each one's causes."""
    return [[cause.text for cause in standing.causes] for standing in folded(*entries)]


def levels(*entries: Entry) -> list[Level]:
    """The level of each."""
    return [standing.level for standing in folded(*entries)]
