"""The camera matrices of a DNG (DNG 1.7.1.0, chapter 6, mapping camera colour space to CIE XYZ)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from qc.container.ifd import Directory
from qc.frame import Calibration

ILLUMINANT_KELVIN = {
    1: 5500.0,
    2: 4150.0,
    3: 2850.0,
    4: 5500.0,
    9: 5500.0,
    10: 6500.0,
    11: 7500.0,
    12: 6400.0,
    13: 5050.0,
    14: 4150.0,
    15: 3525.0,
    16: 2925.0,
    17: 2856.0,
    18: 4874.0,
    19: 6774.0,
    20: 5503.0,
    21: 6504.0,
    22: 7504.0,
    23: 5003.0,
    24: 3200.0,
}
"""Correlated colour temperature by Exif LightSource code.

12 to 16 are the middles of the ranges in Exif 2.32, tag LightSource; 17 to 23 are CIE 15 (A 2856 K, the D series
× 1.4388/1.4380); 24 is ISO 7589 studio tungsten. The others are words without a figure in the standard: common
practice, from memory.
"""


def positive(values: tuple[float, ...]) -> tuple[float, ...]:
    """Return the values when all of them are above 0, else nothing."""
    return values if values and min(values) > 0 and all(map(math.isfinite, values)) else ()


def calibrations(first: Directory) -> tuple[Calibration, ...]:
    """Return the matrices of both illuminants with AB·CC folded in (chapter 6, "Translating Camera Neutral…").

    xyz_to_camera is AB·CC·CM. The forward matrix stays as it is: FM·D·inv(AB·CC) equals FM·diag(1/neutral)
    whenever AB·CC is diagonal. Where it is not, the forward matrix is left out and the colour matrix alone,
    which the specification allows too, carries the camera calibration.
    """
    found = []
    for matrix, calibration, illuminant, forward in (
        (50721, 50723, 50778, 50964),
        (50722, 50724, 50779, 50965),
    ):
        flat = first.numbers(matrix)
        if len(flat) not in (9, 12) or not any(flat):
            continue
        colours = len(flat) // 3
        folded = _balance(first, colours) @ _camera_calibration(first, calibration, colours)
        light = first.integer(illuminant)
        found.append(
            Calibration(
                illuminant=light,
                kelvin=ILLUMINANT_KELVIN.get(light),
                xyz_to_camera=_rows(folded @ np.reshape(flat, (colours, 3))),
                camera_to_xyz_d50=_forward(first.numbers(forward), colours, folded),
            )
        )
    return tuple(found)


def _balance(first: Directory, colours: int) -> NDArray[np.float64]:
    gains = positive(first.numbers(50727))
    return np.diag(gains) if len(gains) == colours else np.eye(colours)


def _camera_calibration(first: Directory, tag: int, colours: int) -> NDArray[np.float64]:
    """Return CameraCalibration; identity unless its signature is the profile's (tags 50931 and 50932)."""
    flat = first.numbers(tag)
    if len(flat) != colours * colours or not any(flat) or first.text(50931) != first.text(50932):
        return np.eye(colours)
    return np.reshape(flat, (colours, colours)).astype(np.float64)


def _forward(
    flat: tuple[float, ...], colours: int, folded: NDArray[np.float64]
) -> tuple[tuple[float, ...], ...] | None:
    diagonal = bool(np.allclose(folded, np.diag(np.diag(folded)), atol=1e-9))
    if len(flat) != 3 * colours or not any(flat) or not diagonal:
        return None
    return _rows(np.reshape(flat, (3, colours)))


def _rows(matrix: NDArray[np.float64]) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in matrix)
