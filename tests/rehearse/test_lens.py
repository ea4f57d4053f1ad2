"""The lens blurs by what it says."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.rehearse.lens import Lens, disc, gaussian, shaken, streak


def spread(kernel: NDArray[np.float32], axis: int) -> float:
    profile = kernel.sum(axis=1 - axis)
    at = np.arange(len(profile))
    mean = (profile * at).sum()
    return float(np.sqrt((profile * (at - mean) ** 2).sum()))


def test_defocus_follows_the_thin_lens() -> None:
    # f = 90 mm, m = 0.15: s = 690 mm; 40 mm behind it at f/11: c = 90 · 0.15 / 11 · 40 / 730 mm
    lens, columns = Lens(), 3600
    assert lens.distance_mm == pytest.approx(690)
    sigma = float(lens.defocus(15.0, focus=-25.0, aperture=11.0, columns=columns))
    assert sigma == pytest.approx(90 * 0.15 / 11 * 40 / 730 / 4 / 0.01)
    assert float(lens.defocus(-25.0, focus=-25.0, aperture=11.0, columns=columns)) == 0


def test_the_floor_holds_residual_and_diffraction() -> None:
    # 0.4639 · 0.55 µm · 11 · 1.15 = 3.2276 µm on photosites of 10 µm
    assert Lens(residual_px=0.55).floor(aperture=11, columns=3600) == pytest.approx(
        np.hypot(0.55, 0.32276), rel=1e-4
    )


@pytest.mark.parametrize("radius", [1.8, 2.6, 5.3])
def test_a_disc_has_the_sigma_of_an_even_disc(radius: float) -> None:
    # second moment of an even disc along one axis: r² / 4
    kernel = disc(radius)
    assert kernel.sum() == pytest.approx(1, abs=1e-5)
    assert spread(kernel, 0) == pytest.approx(radius / 2, rel=0.025)


@pytest.mark.parametrize("degrees", [0, 30, 90, 145])
def test_a_streak_is_as_long_as_the_movement(degrees: float) -> None:
    kernel = streak(6.0, degrees)
    at = np.indices(kernel.shape) - (kernel.shape[0] - 1) / 2
    along = at[1] * np.cos(np.deg2rad(degrees)) - at[0] * np.sin(np.deg2rad(degrees))
    across = at[1] * np.sin(np.deg2rad(degrees)) + at[0] * np.cos(np.deg2rad(degrees))
    assert np.sqrt((kernel * along**2).sum()) == pytest.approx(6 / np.sqrt(12), rel=0.08)
    assert np.sqrt((kernel * across**2).sum()) < 0.5


@pytest.mark.parametrize("shape", ["gaussian", "disc"])
@pytest.mark.parametrize("sigma", [0.9, 1.7, 3.1])
def test_blur_by_depth_has_the_sigma_of_each_pixel(shape: str, sigma: float) -> None:
    lens = Lens(spread=shape)  # type: ignore[arg-type]  # parametrised literal
    point = np.zeros((61, 61), dtype=np.float32)
    point[30, 30] = 1
    field = np.full((61, 61), sigma)
    field[0, 0], field[0, 1] = 0.6, 4.0  # levels are laid between these, away from the point
    blurred = lens.blur_by_depth(point, field, 0.6)
    assert blurred.sum() == pytest.approx(1, abs=0.01)
    assert spread(blurred, 0) == pytest.approx(sigma, rel=0.06)


def test_shake_blurs_along_its_direction_only() -> None:
    edge = np.zeros((40, 40, 2), dtype=np.float32)
    edge[20:] = 1
    np.testing.assert_allclose(shaken(edge, 6.0, 0.0), edge, atol=1e-4)
    smeared = shaken(edge, 6.0, 90.0)[:, 20, 0]
    assert ((smeared > 0.02) & (smeared < 0.98)).sum() == pytest.approx(6, abs=1)


def test_the_centre_is_lit_fully_and_the_corner_least() -> None:
    light = Lens(falloff=0.2).transmission(100, 150)
    assert light[49:51, 74:76].min() == pytest.approx(1, abs=1e-3)
    assert light[0, 0] == pytest.approx(0.8, abs=0.01)
    assert light.min() == light[0, 0]


def test_blur_keeps_the_sum_of_light_away_from_edges() -> None:
    point = np.zeros((41, 41), dtype=np.float32)
    point[20, 20] = 1
    assert gaussian(point, 2.0).sum() == pytest.approx(1, abs=1e-4)
