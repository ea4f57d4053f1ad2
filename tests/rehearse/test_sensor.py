"""The sensor answers linearly, with the noise, the plateau and the border it was given."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER
from qc.rehearse.sensor import Sensor, sample

RGGB = BAYER["RGGB"]


def flat(value: float, rows: int = 200, columns: int = 300) -> NDArray[np.float32]:
    return np.full((3, rows, columns), value, dtype=np.float32)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("light", [0.0, 0.01, 0.1, 0.5])
def test_mean_and_variance_follow_the_photon_transfer_line(light: float) -> None:
    # EMVA 1288 R4, linear model: variance = K · signal + read noise² + 1/12
    sensor = Sensor(gain=0.8, read_noise=3.0)
    counts = sensor.expose(flat(light, 400, 500), RGGB, rng()).astype(float)
    signal = light * (sensor.white - sensor.black)
    four_errors = 4 * np.sqrt((0.8 * signal + 9) / counts.size)
    assert counts.mean() == pytest.approx(sensor.black + signal, abs=four_errors)
    assert counts.var() == pytest.approx(0.8 * signal + 9 + 1 / 12, rel=0.02)


def test_each_photosite_sees_its_own_colour() -> None:
    light = flat(0.0, 4, 4)
    light[0], light[1], light[2] = 0.1, 0.2, 0.3
    np.testing.assert_allclose(sample(light, RGGB)[:2, :2], [[0.1, 0.2], [0.2, 0.3]], rtol=1e-6)


def test_the_same_seed_gives_the_same_frame_and_another_seed_another() -> None:
    sensor, light = Sensor(), flat(0.2)
    first = sensor.expose(light, RGGB, rng(3))
    np.testing.assert_array_equal(first, sensor.expose(light, RGGB, rng(3)))
    assert (first != sensor.expose(light, RGGB, rng(4))).mean() > 0.9


def test_saturation_below_the_tag_is_where_counts_end() -> None:
    counts = Sensor(saturation=15000.0).expose(flat(1.5), RGGB, rng())
    assert set(np.unique(counts)) == {15000}


def test_each_colour_may_have_its_own_saturation() -> None:
    counts = Sensor(saturation=(15000.0, 14000.0, 13000.0)).expose(flat(1.5), RGGB, None)
    assert counts[:2, :2].tolist() == [[15000, 14000], [14000, 13000]]


def test_a_soft_plateau_is_as_wide_as_stated() -> None:
    sensor = Sensor(saturation=15000.0, plateau=0.005)
    counts = sensor.expose(flat(1.5), RGGB, rng()).astype(float)
    height = 15000 - sensor.black
    assert counts.max() - counts.min() == pytest.approx(0.005 * height, abs=1.01)
    assert counts.mean() == pytest.approx(15000, abs=1)


def test_the_border_holds_black_and_read_noise_only() -> None:
    sensor = Sensor(black=509.0, tagged_black=512.0, margins=(8, 40, 4, 0))
    seen = sample(flat(0.3), RGGB)
    readout = sensor.read_out(seen, RGGB, rng())
    assert readout.mosaic.shape == (212, 340)
    assert readout.visible == (8, 40, 200, 300)
    assert readout.masked == ((0, 0, 8, 340), (208, 0, 4, 340), (8, 0, 200, 40))
    border = readout.mosaic[8:208, :40].astype(float)
    assert border.mean() == pytest.approx(509, abs=0.15)
    assert border.std() == pytest.approx(sensor.read_noise, rel=0.03)
    lit = readout.mosaic[8:208, 40:].astype(float).mean()
    assert lit == pytest.approx(509 + 0.3 * (sensor.white - 509), rel=0.001)


def test_without_margins_the_read_out_is_the_exposure() -> None:
    seen = sample(flat(0.3), RGGB)
    readout = Sensor().read_out(seen, RGGB, rng(2))
    np.testing.assert_array_equal(readout.mosaic, Sensor().expose_mosaic(seen, RGGB, rng(2)))
    assert readout.masked == ()


def test_hot_photosites_are_scattered_and_stay_in_place() -> None:
    sensor = Sensor(hot=40)
    first, second = (sensor.expose(flat(0.1), RGGB, rng(seed)) for seed in (1, 2))
    assert (first == 16383).sum() == 40
    np.testing.assert_array_equal(first == 16383, second == 16383)
    places = sensor.hot_places((200, 300))
    apart = np.abs(places[:, np.newaxis] - places).max(axis=2) + 99 * np.eye(40, dtype=int)
    assert apart.min() > 8


def test_clipped_tells_light_at_saturation_and_leaves_hot_photosites_out() -> None:
    sensor = Sensor(saturation=0.93 * 16383, hot=10)
    light = flat(0.5, 100, 100)
    light[:, :40, :40] = 0.95
    assert sensor.clipped(sample(light, RGGB), RGGB).sum() == 1600
