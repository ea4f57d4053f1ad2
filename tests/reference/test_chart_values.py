"""Chart data of colour-science, read as references.

Sources: colour-science 0.4.7, CCS_COLOURCHECKERS (xyY and white of each edition) and SDS_COLOURCHECKERS (measured
spectra), used as data. Lightness, a* and b* of the neutral row were computed from
them once and are tabled here; optical densities are part of the patches' names.
"""

from __future__ import annotations

import numpy as np
import pytest

from qc.measure._colour import D50, delta_e_2000, lab, science, xyz_of_lab
from qc.measure.cast.chart import chart_lab
from qc.reading import Reason

colour = science()

BEFORE, AFTER = "ColorChecker24 - Before November 2014", "ColorChecker24 - After November 2014"
ROW = (
    "white 9.5 (.05 D)",
    "neutral 8 (.23 D)",
    "neutral 6.5 (.44 D)",
    "neutral 5 (.70 D)",
    "neutral 3.5 (1.05 D)",
    "black 2 (1.5 D)",
)
TABLED = {
    BEFORE: (
        (96.54, -0.43, 1.19),
        (81.26, -0.64, -0.33),
        (66.77, -0.73, -0.50),
        (50.87, -0.15, -0.27),
        (35.66, -0.42, -1.23),
        (20.46, -0.08, -0.97),
    ),
    AFTER: (
        (95.19, -1.03, 2.93),
        (81.29, -0.57, 0.44),
        (66.89, -0.75, -0.06),
        (50.76, -0.13, 0.14),
        (35.63, -0.46, -0.48),
        (20.64, 0.07, -0.46),
    ),
}
STOPS = {BEFORE: (2.253, 1.622, 0.923, 0.0, -1.117, -2.625), AFTER: (2.208, 1.630, 0.937, 0.0, -1.112, -2.597)}


def _reference(edition: str, patch: str) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
    found = chart_lab(f"{edition}/{patch}")
    assert not isinstance(found, Reason)
    return found


@pytest.mark.parametrize("edition", [BEFORE, AFTER])
def test_the_neutral_row_has_its_tabled_colour(edition: str) -> None:
    np.testing.assert_allclose([_reference(edition, p) for p in ROW], TABLED[edition], atol=0.006)


@pytest.mark.parametrize("edition", [BEFORE, AFTER])
def test_the_neutral_row_has_its_tabled_steps_of_exposure(edition: str) -> None:
    luminance = np.array([xyz_of_lab(_reference(edition, p))[1] for p in ROW])
    np.testing.assert_allclose(np.log2(luminance / luminance[3]), STOPS[edition], atol=6e-4)


def test_editions_of_one_chart_differ_enough_to_matter() -> None:
    patches = list(colour.CCS_COLOURCHECKERS[BEFORE].data)
    difference = delta_e_2000([_reference(BEFORE, p) for p in patches], [_reference(AFTER, p) for p in patches])
    assert difference.mean() == pytest.approx(0.85, abs=0.01)
    assert difference.max() == pytest.approx(1.95, abs=0.01)


def test_measured_spectra_give_the_neutral_patch_again() -> None:
    spectra = colour.SDS_COLOURCHECKERS["BabelColor Average"]
    patch = next(name for name in spectra if name.startswith("neutral 5"))
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    daylight = colour.SDS_ILLUMINANTS["D50"].copy().align(observer.shape)
    # sd_to_XYZ of that library warns of its own alignment; its plain sum over wavelengths does not
    patch_light = spectra[patch].copy().align(observer.shape)
    xyz = colour.colorimetry.sd_to_XYZ_integration(patch_light, observer, daylight) / 100
    np.testing.assert_allclose(lab(xyz), (50.82, -0.63, -0.14), atol=0.06)
    np.testing.assert_allclose(lab(xyz), _reference("BabelColor Average", patch), atol=0.1)


def test_data_under_another_white_are_adapted() -> None:
    # every neutral of this chart would read as a cast of more than 15 units without it
    for patch in ROW[:4]:
        _, a, b = _reference("ColorChecker 1976", patch)
        assert np.hypot(a, b) < 1.0


@pytest.mark.parametrize("name", ["no such chart/white", f"{AFTER}/neutral 9", "neutral"])
def test_an_unknown_patch_is_named_and_not_guessed(name: str) -> None:
    found = chart_lab(name)
    assert isinstance(found, Reason)
    assert found.code == "unknown_reference"


def test_white_itself_is_neutral() -> None:
    np.testing.assert_allclose(lab(D50), (100.0, 0.0, 0.0), atol=1e-12)
