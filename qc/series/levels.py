"""How bad a level is, and which is the worst."""

from __future__ import annotations

from collections.abc import Iterable

from qc.reading import Level
from qc.result import Cause

_SEVERITY = {Level.NOTE: 1, Level.WARN: 2, Level.HALT: 3}


def severity(level: Level) -> int:
    """Return 1 to 3 for note, warn and halt; 0 for a level that asks for nothing."""
    return _SEVERITY.get(level, 0)


def worst(causes: Iterable[Cause]) -> Level | None:
    """Return the worst level that asks for something; None where none does."""
    asking = [cause.level for cause in causes if severity(cause.level)]
    return max(asking, key=severity, default=None)
