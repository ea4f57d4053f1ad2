"""Colours as people of other colour vision see them."""

from __future__ import annotations

import numpy as np

from qc.measure._colour import science
from qc.show.palette import RGB

VISIONS = ("normal", "Protanomaly", "Deuteranomaly", "Tritanomaly")


def seen(colours: list[RGB], vision: str) -> np.ndarray:
    """CIELAB of colours as a person of that vision sees them.

    Machado, Oliveira and Fernandes 2009, A physiologically-based model for simulation of color vision
    deficiency, severity 1, by the matrices that colour-science tabulates; applied to linear sRGB.
    """
    science_ = science()
    linear = science_.models.eotf_sRGB(np.array(colours) / 255)
    if vision != "normal":
        matrix = np.array(science_.blindness.CVD_MATRICES_MACHADO2010[vision][1.0])
        linear = np.clip(linear @ matrix.T, 0, 1)
    xyz = science_.RGB_to_XYZ(linear, "sRGB")
    white = science_.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(science_.XYZ_to_Lab(xyz, white))
