"""The cast that ambient light leaves on a neutral.

Sources: REFERENCE D6, C*ab of a light neutral (L* 81.26) under D55 flash with a room so many stops under it,
computed outside this project; computed again here by colour-science 0.4 (CIE 15 colorimetry, CIEDE2000 of
ISO/CIE 11664-6) with the white D55 and no chromatic adaptation. Camera: colorimetric, its matrix the identity, so
that only the arithmetic is tested.
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.frame import Calibration, Colour
from qc.measure._colour import science, xyz_of
from qc.measure.ambient.colour import Ratio, flash_neutral, hue, shift
from qc.reading import Reason
from qc.sheet.brief import D55
from tests.measure.ambient_scene import TUNGSTEN, WINDOW

colour = science()

STOPS = (2, 3, 4, 5, 6, 7, 8)
CHROMA = {
    TUNGSTEN: (8.26, 4.52, 2.38, 1.22, 0.62, 0.31, 0.16),
    WINDOW: (2.0, 1.1, 0.6, 0.31, 0.16, 0.08, 0.04),
}
IDENTITY = ((1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, 1.0))
COLORIMETRIC = Colour(calibrations=(Calibration(illuminant=255, kelvin=None, xyz_to_camera=IDENTITY),))

CASES = [(xy, stops, chroma) for xy, row in CHROMA.items() for stops, chroma in zip(STOPS, row, strict=True)]


def independent(xy: tuple[float, float], stops: float, lightness: float) -> tuple[float, float]:
    """C*ab and ΔE00 by colour-science alone."""
    mixed = xyz_of(D55) + 2.0**-stops * xyz_of(xy)
    mixed *= colour.colorimetry.luminance_CIE1976(lightness) / 100 / mixed[1]
    lab = colour.XYZ_to_Lab(mixed, np.array(D55))
    return float(np.hypot(lab[1], lab[2])), float(colour.delta_E(lab, [lightness, 0, 0], method="CIE 2000"))


def ratio(xy: tuple[float, float], stops: float) -> Ratio:
    value = (2.0**-stops * xyz_of(xy) / xyz_of(D55)).reshape(3, 1)
    return Ratio(value, np.zeros((3, 1)), np.zeros((3, 1)))


def neutral() -> NDArray[np.float64]:
    found = flash_neutral(COLORIMETRIC, D55, 3)
    assert not isinstance(found, Reason)
    return found


def test_the_illuminants_are_the_published_ones() -> None:
    tables = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]
    assert tables["A"] == pytest.approx(TUNGSTEN, abs=1e-5)
    assert tables["D65"] == pytest.approx(WINDOW, abs=1e-4)
    assert tables["D55"] == pytest.approx(D55, abs=1e-5)


@pytest.mark.parametrize(("xy", "stops", "chroma"), CASES)
def test_the_table_of_chroma_is_met_by_colour_science(
    xy: tuple[float, float], stops: float, chroma: float
) -> None:
    assert independent(xy, stops, 81.26)[0] == pytest.approx(chroma, abs=0.04 if chroma > 1 else 0.011)


@pytest.mark.parametrize(("xy", "stops", "_chroma"), CASES)
def test_the_colour_shift_is_that_of_colour_science(xy: tuple[float, float], stops: float, _chroma: float) -> None:
    found = shift(ratio(xy, stops), COLORIMETRIC, neutral())
    assert not isinstance(found, Reason)
    # D50 as the white through linear Bradford against D55 without: 2.9 % for tungsten light, 1.2 % for D65
    assert float(found[0][0]) == pytest.approx(independent(xy, stops, 81.0)[1], rel=0.03, abs=0.01)


@pytest.mark.parametrize(("xy", "kelvin", "duv"), [(TUNGSTEN, 2855.5, 0.0), (WINDOW, 6504.3, 0.00321)])
def test_the_temperature_of_the_room_is_that_of_its_illuminant(
    xy: tuple[float, float], kelvin: float, duv: float
) -> None:
    # REFERENCE A5: Ohno 2013 of illuminants A and D65
    found = hue(Ratio(ratio(xy, 5).value[:, 0], np.full(3, 1e-9), np.zeros(3)), COLORIMETRIC, neutral(), D55)
    assert not isinstance(found, Reason)
    assert found.kelvin == pytest.approx(kelvin, abs=1.0)
    assert found.duv == pytest.approx(duv, abs=2e-5)
