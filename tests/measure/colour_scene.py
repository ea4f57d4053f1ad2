"""Frames with a patch of known CIELAB, for the tests of cast. Cameras and whites are invented."""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.frame import Calibration, Cfa, Colour, Frame
from qc.measure._colour import adaptation, xyz_of, xyz_of_lab
from qc.rehearse.sensor import Sensor
from qc.sheet.zones import Role, Zone

Array = NDArray[np.float64]
Matrices = Literal["one", "two", "forward"]

DAYLIGHT, TUNGSTEN = (0.3324, 0.3474), (0.44758, 0.40745)
D50 = (0.9642, 1.0, 0.8249)

UNDER_A = np.array([[0.86, -0.30, -0.08], [-0.40, 1.20, 0.20], [-0.05, 0.16, 0.50]])
UNDER_D65 = np.array([[0.78, -0.22, -0.07], [-0.46, 1.27, 0.21], [-0.09, 0.20, 0.62]])
"""XYZ to camera under standard illuminant A and under D65."""

SHAPE = (400, 600)
CARD = (0.2, 0.3, 0.25, 0.35)
PATCH = Zone.from_box("card", Role.PATCH, CARD)


def to_camera(white: tuple[float, float], matrices: Matrices) -> Array:
    """The camera's own XYZ to camera light under a white.

    With two matrices the camera changes with 1/CCT as DNG 1.7.1.0 chapter 6 interpolates, written here from the
    text and not from the code under test; the temperatures of the two whites used are known: 5503 and 2856 K.
    """
    if matrices == "one":
        return UNDER_D65
    kelvin = {DAYLIGHT: 5503.0, TUNGSTEN: 2856.0}[white]
    share = (1 / kelvin - 1 / 6504) / (1 / 2856 - 1 / 6504)
    return np.asarray(share * UNDER_A + (1 - share) * UNDER_D65)


def colour_of(white: tuple[float, float], matrices: Matrices) -> Colour:
    """What the file says: the neutral under the white, and one or two calibrations."""
    neutral = to_camera(white, matrices) @ xyz_of(white)
    both = ((17, 2856.0, UNDER_A, (0.44758, 0.40745)), (21, 6504.0, UNDER_D65, (0.3127, 0.3290)))
    return Colour(
        neutral=tuple(neutral / neutral.max()),
        calibrations=tuple(
            Calibration(
                illuminant=code,
                kelvin=kelvin,
                xyz_to_camera=_rows(matrix),
                camera_to_xyz_d50=_rows(forward_of(matrix, xy)) if matrices == "forward" else None,
            )
            for code, kelvin, matrix, xy in (both if matrices != "one" else both[1:])
        ),
        source="DNG tags",
    )


def forward_of(matrix: Array, white: tuple[float, float]) -> Array:
    """ForwardMatrix that goes with a ColorMatrix: balanced camera light to XYZ D50, white to white exactly."""
    neutral = matrix @ xyz_of(white)
    return np.asarray(adaptation(xyz_of(white), D50) @ np.linalg.inv(matrix) @ np.diag(neutral))


def _rows(matrix: Array) -> tuple[tuple[float, ...], ...]:
    return tuple(tuple(map(float, row)) for row in matrix)


def camera_light(lab: tuple[float, float, float], white: tuple[float, float], matrices: Matrices) -> Array:
    """Camera light of a surface with a CIELAB under D50, lit by a white, shape (3,); white peaks at 1."""
    neutral = to_camera(white, matrices) @ xyz_of(white)
    if matrices == "forward":
        kelvin = {DAYLIGHT: 5503.0, TUNGSTEN: 2856.0}[white]
        share = (1 / kelvin - 1 / 6504) / (1 / 2856 - 1 / 6504)
        mixed = share * forward_of(UNDER_A, TUNGSTEN) + (1 - share) * forward_of(UNDER_D65, (0.3127, 0.3290))
        return np.asarray(np.linalg.solve(mixed, xyz_of_lab(lab)) * neutral / neutral.max())
    under_white = adaptation(D50, xyz_of(white)) @ xyz_of_lab(lab)
    return np.asarray(to_camera(white, matrices) @ under_white / neutral.max())


def scene(card: Array, around: float = 0.15) -> Array:
    """Light, shape (3, rows, columns): an even card before an even ground."""
    light = np.full((3, *SHAPE), around) * np.array([0.6, 1.0, 0.7])[:, None, None]
    left, top, width, height = CARD
    rows = slice(round(top * SHAPE[0]) - 4, round((top + height) * SHAPE[0]) + 4)
    columns = slice(round(left * SHAPE[1]) - 4, round((left + width) * SHAPE[1]) + 4)
    light[:, rows, columns] = card[:, None, None]
    return light


def shoot(light: Array, colour: Colour, seed: int = 1, sensor: Sensor | None = None, phase: str = "RGGB") -> Frame:
    """Expose light to a noisy sensor."""
    cfa: Cfa = BAYER[phase]
    mosaic = (sensor or Sensor()).expose(light, cfa, np.random.default_rng(seed))
    return frame_from_mosaic(mosaic, cfa=cfa, black=512.0, white=16383.0, colour=colour)
