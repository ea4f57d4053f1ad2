"""The rehearsal camera's colour: an invented matrix, and the way from a chromaticity to camera light and back.

The matrix is ours, of a plausible kind: broad, overlapping filters, red and blue less sensitive than green. The
formulas are published: CIE 15:2018 for CIELAB, linear Bradford adaptation and the camera model of DNG 1.7.1.0
chapter 6 (one calibration, no ForwardMatrix).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.frame import Calibration, Colour

Floats = NDArray[np.float64]

XYZ_TO_CAMERA: Floats = np.array([[0.70, -0.18, -0.07], [-0.42, 1.22, 0.22], [-0.06, 0.20, 0.62]])
"""XYZ to camera RGB, invented."""

ILLUMINANT = 20
"""Exif LightSource code of `XYZ_TO_CAMERA`: D55."""

D50: Floats = np.array([0.9642, 1.0, 0.8249])
"""XYZ of the connection space's white (ICC.1:2022, section 7.2.16)."""

D55 = (0.33243, 0.34744)
D75 = (0.29903, 0.31488)
A = (0.44758, 0.40745)
SCREEN = (0.2830, 0.2970)
"""CIE xy: CIE 15:2018 tables (from memory; `tests/rehearse` holds them against colour-science), and a bluish
screen near 9300 K."""

BRADFORD: Floats = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])


def xyz(xy: tuple[float, float]) -> Floats:
    """Return XYZ of a chromaticity at Y = 1."""
    x, y = xy
    return np.array([x / y, 1.0, (1 - x - y) / y])


def camera_white(xy: tuple[float, float]) -> Floats:
    """Return the camera's RGB for a white object under a light, green 1 under D55."""
    return XYZ_TO_CAMERA @ xyz(xy) / (XYZ_TO_CAMERA @ xyz(D55))[1]


def neutral(xy: tuple[float, float] = D55) -> tuple[float, ...]:
    """Return the as-shot neutral for a light: the camera's RGB, largest 1."""
    white = camera_white(xy)
    return tuple((white / white.max()).tolist())


def colour() -> Colour:
    """Return how a decoder would describe this camera balanced for D55."""
    rows = tuple(tuple(row) for row in XYZ_TO_CAMERA.tolist())
    calibration = Calibration(illuminant=ILLUMINANT, kelvin=5500.0, xyz_to_camera=rows)
    return Colour(neutral=neutral(), calibrations=(calibration,), source="DNG tags")


def reflectance(lab: Sequence[float]) -> Floats:
    """Return the balanced camera RGB (1 is a perfect white) of a surface with a CIELAB colour under D50."""
    under_d55 = _adaptation(D50, xyz(D55)) @ _xyz_from_lab(lab)
    return (XYZ_TO_CAMERA @ under_d55) / (XYZ_TO_CAMERA @ xyz(D55))


def lab(camera_rgb: ArrayLike) -> Floats:
    """Return CIELAB (D50) of camera light balanced for D55, its lightness taken as it is.

    Parameters
    ----------
    camera_rgb : array_like, shape (3,)
        Camera light; `camera_white(D55)` is L* 100.
    """
    light = np.asarray(camera_rgb) * (XYZ_TO_CAMERA @ xyz(D55))[1]
    ratio = _adaptation(xyz(D55), D50) @ np.linalg.solve(XYZ_TO_CAMERA, light) / D50
    fx, fy, fz = np.where(ratio > (6 / 29) ** 3, np.cbrt(ratio), ratio * (29 / 6) ** 2 / 3 + 4 / 29)
    return np.array([116 * fy - 16, 500 * (fx - fy), 200 * (fy - fz)])


def lab_at(camera_rgb: ArrayLike, lightness: float) -> Floats:
    """Return `lab` of the same chromaticity scaled to a lightness L*."""
    light = np.asarray(camera_rgb, dtype=np.float64)
    luminance = np.linalg.solve(XYZ_TO_CAMERA, light * (XYZ_TO_CAMERA @ xyz(D55))[1])
    # Adaptation mixes X and Z a little into Y, so the luminance that counts is the adapted one.
    y = float((_adaptation(xyz(D55), D50) @ luminance)[1])
    return lab(light * (((lightness + 16) / 116) ** 3 / y))


def _xyz_from_lab(colour_lab: Sequence[float]) -> Floats:
    lightness, a, b = colour_lab
    fy = (lightness + 16) / 116
    f = np.array([fy + a / 500, fy, fy - b / 200])
    return D50 * np.where(f > 6 / 29, f**3, (f - 4 / 29) * 3 * (6 / 29) ** 2)


def _adaptation(source: Floats, target: Floats) -> Floats:
    gains = (BRADFORD @ target) / (BRADFORD @ source)
    return np.linalg.inv(BRADFORD) @ np.diag(gains) @ BRADFORD
