"""Recorded settings as the raw decoders give them, made honest: what is not recorded is None."""

from __future__ import annotations

import math
from dataclasses import fields, replace
from datetime import datetime

from qc.frame import Camera

_FIRST_YEAR = 1990
"""Decoders give 1970 for a time that is missing."""

_NO_ISO = 65535
"""ISOSpeedRatings saturates here (Exif 2.32, PhotographicSensitivity)."""


def positive(value: float | None) -> float | None:
    """Return a setting, or None where 0, a negative, infinite or absent value stands for "not recorded"."""
    if value is None or not math.isfinite(value) or value <= 0:
        return None
    return float(value)


def iso(value: float | None) -> float | None:
    """Return an ISO speed, or None where it is not recorded or saturated."""
    speed = positive(value)
    return None if speed is None or speed >= _NO_ISO else speed


def words(value: str | None) -> str | None:
    """Return a text without outer blanks, or None when nothing is left."""
    return (value or "").strip() or None


def taken(value: datetime | str | None) -> str | None:
    """Return a local time as text, or None where a decoder's stand-in for "not recorded" is given."""
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value.strip())
        except ValueError:
            return None
    if value is None or value.year < _FIRST_YEAR:
        return None
    parts = "milliseconds" if value.microsecond else "seconds"
    return value.replace(tzinfo=None).isoformat(timespec=parts)


def filled(first: Camera, second: Camera) -> Camera:
    """Return the settings of `first`, those it does not have from `second`."""
    missing = {f.name: getattr(second, f.name) for f in fields(Camera) if getattr(first, f.name) is None}
    return replace(first, **missing)
