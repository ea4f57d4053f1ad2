"""How far ambient light lies from the flash, in words."""

from __future__ import annotations

from qc.words import spoken_stops


def under_flash(stops: float) -> str:
    """Return "2.1 stops under the flash", or how much brighter it is where it is brighter."""
    if round(stops, 1) == 0:
        return "as bright as the flash"
    return f"{spoken_stops(abs(stops))} {'under' if stops > 0 else 'brighter than'} the flash"
