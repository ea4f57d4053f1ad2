"""Codes of what the series finds, what each means, and how a cause of the series is made."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from qc.reading import Level
from qc.result import Cause

SETTINGS_CHANGED = "settings_changed"
LIGHT_CHANGED = "light_changed"
NO_FLASH = "no_flash"
AMBIENT_TEST = "ambient_test"
LEFT_OUT = "left_out_by_hand"

FINDINGS: Mapping[str, str] = {
    SETTINGS_CHANGED: "a recorded setting is not what it was in the previous frame of the same body",
    LIGHT_CHANGED: "the light is not what it was in the last frames of the same settings, all over or on one "
    "side; told only where most of the picture agrees, so that another product does not pass for other light",
    NO_FLASH: "the flash did not light this frame: nearly black, or more than 3 stops under the last frames of "
    "the same settings everywhere. A misfire has the same pixels as an ambient test that was not declared",
    AMBIENT_TEST: "the frame was declared to be shot without flash: its figures against the nearest lit frame",
    LEFT_OUT: "a person left the frame out: it is not judged, and no other frame is compared with it",
}
"""Findings about several captures, by code."""

ORIGIN = "series"
"""Origin of a cause that several captures give together."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """What one fold says of one capture.

    Attributes
    ----------
    causes : tuple of Cause
        With origin `ORIGIN`.
    data : mapping
        JSON-ready figures behind them, by code.
    """

    causes: tuple[Cause, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)


NOTHING = Told()
"""Of a capture that a fold has nothing to say of."""


def told(code: str, level: Level, text: str, *, limit: float | None = None, **data: object) -> Told:
    """Return one finding of the series as a cause with its figures."""
    cause = Cause(reading=code, zone=None, level=level, limit=limit, origin=ORIGIN, text=text)
    return Told(causes=(cause,), data={code: data})
