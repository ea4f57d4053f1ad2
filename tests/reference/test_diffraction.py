"""Diffraction, pixel aperture and defocus disc against textbook values.

Source: incoherent transfer function of a circular pupil, 2/π (acos ν − ν √(1 − ν²)), ν = f λ N, and of a uniform
disc, 2 J₁(πfd)/(πfd): Goodman, *Introduction to Fourier Optics*, chapter 6 (chapter from memory). The figures
(MTF50 at ν = 0.403973, 0.0892 at Rayleigh's 1/1.2197, disc MTF50 at f·d = 0.70508 and first zero at 1.21967, pixel
aperture 0.63662 at half sampling) were recomputed from those formulas with scipy, and are again here.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import j1

from qc.measure.optics import diffraction_mtf, disc_mtf, expected_blur
from tests.measure import sharpness_scene as scene


def at(nu: float, aperture: float = 11.0, pitch: float = 3.76) -> float:
    return float(diffraction_mtf(np.array([nu * pitch / (0.55 * aperture)]), aperture, pitch)[0])


@pytest.mark.parametrize(
    ("nu", "mtf"),
    [(0.0, 1.0), (0.403973, 0.5), (0.687049, 0.2), (0.805384, 0.1), (1 / 1.2197, 0.0892), (1.0, 0.0), (1.3, 0.0)],
)
def test_diffraction_mtf_has_the_textbook_values(nu: float, mtf: float) -> None:
    assert at(nu) == pytest.approx(mtf, abs=5e-5)


@pytest.mark.parametrize(
    ("aperture", "lines"), [(5.6, 131.2), (8.0, 91.8), (11.0, 66.8), (16.0, 45.9), (22.0, 33.4)]
)
def test_diffraction_mtf50_in_line_pairs_a_millimetre(aperture: float, lines: float) -> None:
    pitch = 3.76
    found = brentq(lambda f: diffraction_mtf(np.array([f]), aperture, pitch)[0] - 0.5, 1e-3, 1.2)
    assert found / pitch * 1000 == pytest.approx(lines, abs=0.06)


@pytest.mark.parametrize(
    ("pitch", "aperture", "mtf50"),
    [
        (3.76, 8, 0.2899),
        (3.76, 11, 0.2272),
        (3.76, 16, 0.1642),
        (5.3, 8, 0.3601),
        (5.3, 11, 0.2950),
        (5.3, 22, 0.1680),
    ],
)
def test_diffraction_and_pixel_together_have_the_tabulated_mtf50(
    pitch: float, aperture: float, mtf50: float
) -> None:
    found = brentq(lambda f: diffraction_mtf(np.array([f]), aperture, pitch)[0] * np.sinc(f) - 0.5, 1e-3, 0.6)
    assert found == pytest.approx(mtf50, abs=5e-5)


@pytest.mark.parametrize("cycles", [0.0, 0.1, 0.5, 0.70508, 1.21967, 2.0, 3.3])
def test_disc_transfer_is_that_of_the_bessel_function(cycles: float) -> None:
    x = np.pi * cycles
    truth = 1.0 if x == 0 else 2 * j1(x) / x
    assert disc_mtf(np.array([cycles / 4.0]), 4.0)[0] == pytest.approx(truth, abs=1e-9)
    assert {0.70508: 0.5, 1.21967: 0.0}.get(cycles, truth) == pytest.approx(truth, abs=2e-5)


def test_the_airy_pattern_of_the_test_scenes_holds_the_textbook_energy() -> None:
    # 83.78 % within the first zero, whose diameter is 2.43934 λN
    kernel = scene.airy(16.0, 3.76)
    half = kernel.shape[0] // 2
    y, x = np.mgrid[-half : half + 1, -half : half + 1]
    radius = np.hypot(x, y) / scene.FINE * 3.76
    total = (np.pi * (0.55 * 16 / np.pi * scene.FINE / 3.76) ** 2) * 4 / np.pi * np.pi  # ∫(2J₁(v)/v)² v dv = 2
    assert kernel[radius < 2.43934 / 2 * 0.55 * 16].sum() / total == pytest.approx(0.8378, abs=0.01)


def test_expected_blur_grows_with_the_aperture_and_falls_with_the_pitch() -> None:
    blurs = [expected_blur(n, 3.76) for n in (5.6, 8.0, 11.0, 16.0, 22.0, 32.0)]
    assert blurs == sorted(blurs)
    assert expected_blur(16.0, 5.3) < expected_blur(16.0, 3.76)


@pytest.mark.parametrize("aperture", [16.0, 22.0, 32.0])
def test_expected_blur_lies_near_the_gaussian_of_the_same_mtf50(aperture: float) -> None:
    # 0.4639 λN: same MTF50, not same edge, so only near
    assert expected_blur(aperture, 3.76) == pytest.approx(0.4639 * 0.55 * aperture / 3.76, rel=0.12)
