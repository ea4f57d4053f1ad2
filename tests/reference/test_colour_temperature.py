"""Correlated colour temperature and Duv.

Sources: Ohno, "Practical use and calculation of CCT and Duv", LEUKOS 10(1), 47-55, 2013; the worked point u .1978,
v .3122 is 6507.47 K, Duv .003223 in colour-science's documentation. Chromaticities of the illuminants as
colour-science tabulates them (CIE 15). Robertson, J. Opt. Soc. Am. 58, 1528-1535, 1968 for the isotherms.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from qc.measure._colour import cct_duv, mired, robertson, science, xy_of, xyz_of
from qc.sheet.brief import D55

colour = science()


def _xyz_of_uv(u: float, v: float) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    return xyz_of((3 * u / (2 * u - 8 * v + 4), 2 * v / (2 * u - 8 * v + 4)))


def test_the_published_point_is_met() -> None:
    kelvin, duv = cct_duv(_xyz_of_uv(0.1978, 0.3122))
    assert kelvin == pytest.approx(6507.47, abs=0.05)
    assert duv == pytest.approx(0.003223, abs=2e-6)


def test_the_isotherms_meet_their_point() -> None:
    assert robertson(_xyz_of_uv(0.1978, 0.3122)) == pytest.approx(6506.88, abs=0.05)


@pytest.mark.parametrize(
    ("name", "kelvin", "duv"),
    [("D65", 6504.3, 0.00321), ("D50", 5001.8, 0.00320), ("A", 2855.5, 0.0), ("E", 5455.0, -0.00442)],
)
def test_illuminants_have_their_temperature(name: str, kelvin: float, duv: float) -> None:
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]
    found = cct_duv(xyz_of(white))
    assert found[0] == pytest.approx(kelvin, rel=3e-4)
    assert found[1] == pytest.approx(duv, abs=2e-5)


@pytest.mark.parametrize("kelvin", [1500, 2856, 5500, 20000])
@pytest.mark.parametrize("duv", [-0.01, 0.0, 0.01])
def test_a_light_made_from_temperature_and_duv_reads_them_back(kelvin: float, duv: float) -> None:
    u, v = colour.temperature.CCT_to_uv_Ohno2013((kelvin, duv))
    found = cct_duv(_xyz_of_uv(float(u), float(v)))
    assert mired(found[0]) == pytest.approx(mired(kelvin), abs=0.05)
    assert found[1] == pytest.approx(duv, abs=2e-5)


def test_the_flash_white_is_d55() -> None:
    white = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D55"]
    np.testing.assert_allclose(D55, white, atol=2e-5)
    assert cct_duv(xyz_of(D55))[0] == pytest.approx(5503, abs=2)


@pytest.mark.parametrize(
    ("first", "second", "shift"),
    [(5500, 5600, -3.25), (5500, 5400, 3.37), (5000, 5500, -18.18), (3200, 5500, -130.68)],
)
def test_mired_shifts_are_those_of_filter_tables(first: float, second: float, shift: float) -> None:
    assert mired(second) - mired(first) == pytest.approx(shift, abs=0.005)


@pytest.mark.parametrize("xyz", [(0.0, 0.0, 0.0), (-1.0, 1.0, 1.0), (1.0, 0.001, 50.0), (np.nan, 1.0, 1.0)])
def test_what_is_no_light_has_no_temperature(xyz: tuple[float, float, float]) -> None:
    assert all(math.isnan(value) for value in cct_duv(xyz))


def test_chromaticity_survives_the_way_to_xyz_and_back() -> None:
    np.testing.assert_allclose(xy_of(3.7 * xyz_of((0.41, 0.37))), (0.41, 0.37), atol=1e-12)
