"""Colours of everything people see: few, dark and neutral, told apart by every kind of colour vision."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from qc.reading import Level

RGB = tuple[int, int, int]
"""sRGB, 0–255."""

OKABE_ITO: Final[Mapping[str, RGB]] = {
    "black": (0, 0, 0),
    "orange": (230, 159, 0),
    "sky blue": (86, 180, 233),
    "bluish green": (0, 158, 115),
    "yellow": (240, 228, 66),
    "blue": (0, 114, 178),
    "vermillion": (213, 94, 0),
    "reddish purple": (204, 121, 167),
}
"""Okabe and Ito 2008, Color Universal Design: how to make figures and presentations that are friendly to
colourblind people (values from memory)."""

SURROUND: Final[RGB] = (27, 27, 27)
"""Around pictures: L* about 10, neutral, since the screen lights a glossy set."""

TEXT: Final[RGB] = (206, 206, 206)
QUIET: Final[RGB] = (146, 146, 146)

LEVELS: Final[Mapping[Level, RGB]] = {
    Level.CLEAR: OKABE_ITO["bluish green"],
    Level.NOTE: OKABE_ITO["sky blue"],
    Level.WARN: OKABE_ITO["orange"],
    Level.HALT: OKABE_ITO["vermillion"],
    Level.UNJUDGED: (112, 112, 112),
    Level.UNMEASURED: OKABE_ITO["reddish purple"],
}
"""Colour by level; the level is always said by a column's height and a word as well."""
