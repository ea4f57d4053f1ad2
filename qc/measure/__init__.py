"""The measurements: one per file, each exporting its `SPEC`; pure functions of a `Frame`.

Adding a measurement is one file in this folder and one line in `NAMES`.
"""

from __future__ import annotations

from functools import cache
from importlib import import_module

from qc.reading import ReadingSpec, Spec

NAMES: tuple[str, ...] = (
    "highlights",
    "exposure",
    "ambient",
    "sharpness",
    "optics",
    "cast",
)
"""The registry, in the order of reporting."""


@cache
def specs() -> tuple[Spec, ...]:
    """Return the specification of every measurement, in registry order."""
    return tuple(import_module(f"qc.measure.{name}").SPEC for name in NAMES)


def reading_spec(name: str) -> ReadingSpec:
    """Return the specification of one reading by its catalogue name.

    Raises
    ------
    KeyError
        When no measurement has such a reading.
    """
    for spec in specs():
        for reading in spec.readings:
            if reading.name == name:
                return reading
    raise KeyError(name)
