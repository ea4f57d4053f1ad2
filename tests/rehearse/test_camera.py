"""The rehearsal camera's colour agrees with colour-science."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from qc.rehearse import camera

with warnings.catch_warnings():
    warnings.simplefilter("ignore")  # it warns of plotting parts that nobody uses here
    import colour

OBSERVER = "CIE 1931 2 Degree Standard Observer"


@pytest.mark.parametrize(("xy", "name"), [(camera.D55, "D55"), (camera.D75, "D75"), (camera.A, "A")])
def test_light_colours_are_the_published_chromaticities(xy: tuple[float, float], name: str) -> None:
    # CIE 15:2018 as tabulated in colour-science
    np.testing.assert_allclose(xy, colour.CCS_ILLUMINANTS[OBSERVER][name], atol=2e-5)


@pytest.mark.parametrize("lab", [(50, 0, 0), (50, 3, -4), (80, -20, 30), (20, 5, 5), (5, 0, 0)])
def test_reflectance_and_lab_are_each_others_inverse(lab: tuple[float, float, float]) -> None:
    seen = camera.reflectance(lab) * camera.camera_white(camera.D55)
    np.testing.assert_allclose(camera.lab(seen), lab, atol=1e-9)


def test_lab_is_that_of_colour_science() -> None:
    seen = camera.reflectance((60, 12, -7)) * camera.camera_white(camera.D55)
    xyz = np.linalg.solve(camera.XYZ_TO_CAMERA, seen * (camera.XYZ_TO_CAMERA @ camera.xyz(camera.D55))[1])
    adapted = colour.adaptation.chromatic_adaptation_VonKries(xyz, camera.xyz(camera.D55), camera.D50, "Bradford")
    expected = colour.XYZ_to_Lab(adapted, colour.XYZ_to_xy(camera.D50))
    np.testing.assert_allclose(camera.lab(seen), expected, atol=0.01)


def test_neutral_is_the_camera_white_of_the_flash() -> None:
    white = camera.camera_white(camera.D55)
    np.testing.assert_allclose(camera.neutral(), white / white.max())
    assert camera.lab(white) == pytest.approx([100, 0, 0], abs=1e-9)


@pytest.mark.parametrize("exposure", [0.01, 0.3, 2.0])
def test_a_cast_reads_the_same_at_any_exposure(exposure: float) -> None:
    seen = camera.reflectance((50, 2, -3)) * camera.camera_white(camera.D55)
    np.testing.assert_allclose(camera.lab_at(exposure * seen, 50), (50, 2, -3), atol=1e-9)
