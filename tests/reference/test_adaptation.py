"""Chromatic adaptation.

Sources: the linear Bradford matrix D65 to D50 with ASTM E308 whites as widely published (from memory; met to 7
decimals); the worked colour .20654008, .12197225, .05136952 of colour-science's documentation, same whites.
"""

from __future__ import annotations

import numpy as np
import pytest

from qc.measure._colour import D50, adaptation, lab, xyz_of
from tests.reference.whites import ASTM_D50, ASTM_D65, PUBLISHED_BRADFORD


def test_the_matrix_is_the_published_one() -> None:
    np.testing.assert_allclose(adaptation(ASTM_D65, ASTM_D50), PUBLISHED_BRADFORD, atol=5e-8)


def test_the_worked_colour_is_met() -> None:
    found = adaptation(ASTM_D65, ASTM_D50) @ np.array((0.20654008, 0.12197225, 0.05136952))
    np.testing.assert_allclose(found, (0.2166315, 0.1260375, 0.0385643), atol=5e-7)


@pytest.mark.parametrize("white", [(0.4476, 0.4074), (0.3127, 0.3290), (0.3324, 0.3474), (0.25, 0.25)])
def test_white_becomes_white(white: tuple[float, float]) -> None:
    found = lab(adaptation(xyz_of(white), D50) @ xyz_of(white))
    np.testing.assert_allclose(found, (100.0, 0.0, 0.0), atol=1e-9)


def test_there_and_back_is_no_change() -> None:
    there, back = adaptation(ASTM_D65, ASTM_D50), adaptation(ASTM_D50, ASTM_D65)
    np.testing.assert_allclose(there @ back, np.eye(3), atol=1e-12)
