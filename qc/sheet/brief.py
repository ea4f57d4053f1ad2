"""`Brief`: what a set sheet tells the measurements, limits left out.

A measurement never sees a limit; it does need to know what the patch is meant to be or which flash is used.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

D55 = (0.33243, 0.34744)
"""CIE xy of D55 (CIE 15:2018, table of daylight illuminants; value from memory, checked against colour-science
in tests/reference)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Brief:
    """What the set sheet says that a number depends on.

    Attributes
    ----------
    light : {"flash", "continuous"}
        Kind of light; continuous light has no ambient test.
    flash_white : (float, float)
        CIE xy of the flash's white, D55 unless the sheet says otherwise.
    sync_limit_s : float or None
        Shortest shutter time at which flash and shutter agree, seconds; None when not stated.
    magnification : float or None
        Image size over object size; None when not stated.
    pixel_pitch_um : float or None
        Photosite pitch in micrometres where it is stated.
    circle_px : float
        Blur circle that still counts as sharp, pixels.
    """

    light: Literal["flash", "continuous"] = "flash"
    flash_white: tuple[float, float] = D55
    sync_limit_s: float | None = None
    magnification: float | None = None
    pixel_pitch_um: float | None = None
    circle_px: float = 2.0
