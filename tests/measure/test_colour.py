"""From camera light to XYZ: one and two matrices, forward matrices, four colours, and what cannot be used."""

from __future__ import annotations

import numpy as np
import pytest

from qc.frame import Calibration, Colour
from qc.measure._colour import D50, calibration_under, camera_to_xyz_d50, xyz_of
from qc.reading import Reason
from tests.measure.colour_scene import DAYLIGHT, TUNGSTEN, UNDER_A, UNDER_D65, colour_of, to_camera


def calibration(
    matrix: np.ndarray[tuple[int, ...], np.dtype[np.float64]], kelvin: float | None = 6504.0
) -> Calibration:
    return Calibration(illuminant=255, kelvin=kelvin, xyz_to_camera=tuple(map(tuple, matrix.tolist())))


@pytest.mark.parametrize("white", [DAYLIGHT, TUNGSTEN], ids=["daylight", "tungsten"])
def test_the_iteration_finds_the_white_that_made_the_neutral(white: tuple[float, float]) -> None:
    neutral = np.array(colour_of(white, "two").neutral)
    found = calibration_under(colour_of(white, "two").calibrations, neutral)
    assert not isinstance(found, Reason)
    np.testing.assert_allclose(found[2], xyz_of(white), atol=1e-3)
    np.testing.assert_allclose(found[0], to_camera(white, "two"), atol=1e-3)


def test_the_order_of_the_two_calibrations_changes_nothing() -> None:
    colour = colour_of(DAYLIGHT, "two")
    turned = Colour(neutral=colour.neutral, calibrations=colour.calibrations[::-1])
    first, second = camera_to_xyz_d50(colour), camera_to_xyz_d50(turned)
    assert not isinstance(first, Reason)
    assert not isinstance(second, Reason)
    np.testing.assert_allclose(first, second, atol=1e-6)


@pytest.mark.parametrize("xy", [(0.25, 0.25), (0.52, 0.41)], ids=["bluer than D65", "warmer than A"])
def test_beyond_both_illuminants_the_nearer_matrix_holds(xy: tuple[float, float]) -> None:
    matrix = UNDER_D65 if xy[0] < 0.3 else UNDER_A
    found = calibration_under(colour_of(DAYLIGHT, "two").calibrations, matrix @ xyz_of(xy))
    assert not isinstance(found, Reason)
    np.testing.assert_allclose(found[0], matrix, atol=1e-9)


def test_one_matrix_is_its_inverse_adapted_to_d50() -> None:
    # under D50 there is nothing to adapt, so the matrix is the plain inverse at the scale of the neutral
    neutral = UNDER_D65 @ np.array(D50)
    found = camera_to_xyz_d50(Colour(neutral=tuple(neutral), calibrations=(calibration(UNDER_D65),)))
    assert not isinstance(found, Reason)
    np.testing.assert_allclose(found, np.linalg.inv(UNDER_D65) * neutral.max(), atol=1e-9)


@pytest.mark.parametrize("scale", [0.01, 1.0, 16000.0])
def test_the_scale_of_the_neutral_changes_nothing(scale: float) -> None:
    colour = colour_of(DAYLIGHT, "forward")
    assert colour.neutral is not None
    first, second = camera_to_xyz_d50(colour), camera_to_xyz_d50(colour, [scale * v for v in colour.neutral])
    assert not isinstance(first, Reason)
    assert not isinstance(second, Reason)
    np.testing.assert_allclose(first, second, atol=1e-9)


def test_four_colours_bring_a_known_colour_back() -> None:
    matrix = np.vstack([UNDER_D65, [0.1, 0.8, 0.2]])
    white = xyz_of((0.3127, 0.3290))
    found = camera_to_xyz_d50(Colour(neutral=tuple(matrix @ white), calibrations=(calibration(matrix),)))
    assert not isinstance(found, Reason)
    assert found.shape == (3, 4)
    np.testing.assert_allclose(found @ (matrix @ white / (matrix @ white).max()), D50, atol=1e-9)


def test_a_calibration_of_unknown_illuminant_gives_way_to_a_known_one() -> None:
    both = (calibration(UNDER_A, None), calibration(UNDER_D65))
    found = calibration_under(both, UNDER_D65 @ np.array(D50))
    assert not isinstance(found, Reason)
    np.testing.assert_allclose(found[0], UNDER_D65)


@pytest.mark.parametrize(
    "matrix",
    [np.zeros((3, 3)), np.ones((3, 3)), np.full((3, 3), np.nan), np.eye(4)[:, :3], -UNDER_D65],
    ids=["zeros", "singular", "not a number", "of four colours", "negative"],
)
def test_a_useless_matrix_is_a_reason(matrix: np.ndarray[tuple[int, ...], np.dtype[np.float64]]) -> None:
    found = camera_to_xyz_d50(Colour(neutral=(0.5, 1.0, 0.6), calibrations=(calibration(matrix),)))
    assert isinstance(found, Reason)
    assert found.code == "no_colour_matrix"


@pytest.mark.parametrize("neutral", [None, (0.0, 1.0, 0.5), (-1.0, 1.0, 0.5), (np.nan, 1.0, 0.5), ()])
def test_a_useless_balance_is_a_reason(neutral: tuple[float, ...] | None) -> None:
    found = camera_to_xyz_d50(Colour(neutral=neutral, calibrations=(calibration(UNDER_D65),)))
    assert isinstance(found, Reason)
    assert found.code == "no_white_balance"
