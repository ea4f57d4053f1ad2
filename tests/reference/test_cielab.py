"""CIELAB against colour-science, scikit-image and printed tables.

Sources: ISO/CIE 11664-4 (formula, from memory; its constants .008856, 7.787 and .138 are printed in Metamorfoze
Preservation Imaging Guidelines 1.0, 2012, clause 1.6); the table of grey patches of the same guidelines, clause
1.4 (density .05 is L* 95.63, .15 is 87.39); colour-science and scikit-image as independent code.
"""

from __future__ import annotations

import numpy as np
import pytest
from skimage.color import xyz2lab

from qc.measure._colour import D50, lab, science, xy_of, xyz_of_lab

RNG = np.random.default_rng(7)
XYZ = RNG.uniform(0.0005, 1.0, (200, 3))


def test_it_agrees_with_colour_science() -> None:
    np.testing.assert_allclose(lab(XYZ), science().XYZ_to_Lab(XYZ, xy_of(D50)), atol=1e-9)


def test_it_agrees_with_scikit_image() -> None:
    # that library states its D50 to four decimals (.9642, 1, .8251) and its formula to four constants
    np.testing.assert_allclose(
        lab(XYZ, (0.9642, 1.0, 0.8251)), xyz2lab(XYZ, illuminant="D50", observer="2"), atol=0.02
    )


@pytest.mark.parametrize(
    ("luminance", "lightness"),
    [
        *[(0.1841865, 50.0), (0.18, 49.496), (0.90, 95.997), (0.127, 42.31), (0.09, 35.98), (0.031, 20.44)],
        *[(10**-0.05, 95.63), (10**-0.15, 87.39), (10**-0.70, 51.78), (10**-1.5, 20.68), (0.0, 0.0), (1.0, 100.0)],
    ],
)
def test_luminance_gives_the_tabled_lightness(luminance: float, lightness: float) -> None:
    found = lab(luminance * np.array(D50))
    assert found[0] == pytest.approx(lightness, abs=0.006)
    assert np.abs(found[1:]).max() < 1e-9


def test_one_percent_of_luminance_at_l_81_is_a_third_of_a_unit() -> None:
    luminance = xyz_of_lab((81.0, 0.0, 0.0))[1]
    assert lab(1.01 * luminance * np.array(D50))[0] - 81.0 == pytest.approx(0.32, abs=0.01)


def test_the_inverse_undoes_it_down_to_black() -> None:
    values = np.stack([np.linspace(0.0, 100.0, 50), np.linspace(-80, 80, 50), np.linspace(60, -60, 50)], axis=-1)
    np.testing.assert_allclose(lab(xyz_of_lab(values)), values, atol=1e-9)
