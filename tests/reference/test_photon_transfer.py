"""Photon transfer after EMVA 1288 Release 4 Linear: σ²_y = K²σ²_d + σ²_q + K(µ_y − µ_dark), σ²_q = 1/12 DN².

The temporal variance is half the variance of the difference of two frames; K is the slope of variance against
signal. Oracle (computed from the standard's model): K = 0.4 DN per electron, σ_d = 3 electrons gives, at 50, 500,
5000 and 20000 electrons, variances of 9.523, 81.52, 801.5 and 3201.5 DN², and signal-to-noise ratios of 6.48,
22.2, 70.6 and 141.4 (mean over deviation).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import frame_from_mosaic
from qc.decode.noise import noise_from_pair, sample
from qc.frame import Frame

K, READ = 0.4, 3.0
BLACK, WHITE = 512.0, 16383.0
ELECTRONS = (50, 500, 5000, 20000)
VARIANCE_DN = (9.523, 81.52, 801.5, 3201.5)
SNR = (6.48, 22.2, 70.6, 141.4)


def exposed(electrons: NDArray[np.float64], seed: int) -> NDArray[np.uint16]:
    """Return a mosaic with Poisson photon noise: the standard's own model, not the project's simulated sensor."""
    rng = np.random.default_rng(seed)
    counted = rng.poisson(electrons) + rng.normal(0.0, READ, electrons.shape)
    return np.clip(np.rint(K * counted + BLACK), 0, 65535).astype(np.uint16)


def ramp() -> NDArray[np.float64]:
    """Return light from 1 to 30,000 electrons across the frame, even steps in its square root."""
    root = np.linspace(1.0, np.sqrt(30_000.0), 1600)
    return np.tile(root**2, (1000, 1))


def framed(electrons: NDArray[np.float64], seed: int) -> Frame:
    return frame_from_mosaic(exposed(electrons, seed), black=BLACK, white=WHITE)


@pytest.mark.parametrize(("electrons", "variance", "snr"), [*zip(ELECTRONS, VARIANCE_DN, SNR, strict=True)])
def test_half_the_variance_of_a_difference_is_the_models(electrons: int, variance: float, snr: float) -> None:
    light = np.full((1200, 1200), float(electrons))
    blocks = sample(exposed(light, 1), np.full((2, 2), BLACK), exposed(light, 2), most=10**9)
    measured = float((blocks.fine.mean() + 2 * blocks.coarse.mean()) / 3)
    assert measured == pytest.approx(variance, rel=0.005)
    assert blocks.level.mean() / np.sqrt(measured) == pytest.approx(snr, rel=0.005)


@pytest.mark.parametrize("seed", [0, 10])
def test_a_pair_returns_the_gain_and_dark_noise_of_the_model(seed: int) -> None:
    noise = noise_from_pair(framed(ramp(), seed), framed(ramp(), seed + 1))
    assert noise.gain == pytest.approx(K, rel=0.01)
    assert noise.read_noise == pytest.approx(np.sqrt(K**2 * READ**2 + 1 / 12), rel=0.05)


def test_one_frame_returns_them_too() -> None:
    noise = framed(ramp(), 5).noise
    assert noise.gain == pytest.approx(K, rel=0.03)
    assert noise.read_noise == pytest.approx(np.sqrt(K**2 * READ**2 + 1 / 12), rel=0.1)


def test_the_frame_states_the_models_variance() -> None:
    frame = framed(ramp(), 5)
    light = K * 5000 / frame.scale
    variance = frame.variance_of_photosite(light)
    assert variance is not None
    assert float(variance) * frame.scale**2 == pytest.approx(K**2 * (READ**2 + 5000) + 1 / 12, rel=0.03)
