"""Gain and read noise within 10 % where a frame shows them; refused, not wrong, where detail hides them."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_linear, frame_from_mosaic
from qc.decode.noise import noise_from_pair, sample
from qc.errors import UsageError
from qc.frame import Cfa, Frame
from qc.rehearse.dng import XTRANS
from qc.rehearse.sensor import Sensor
from tests.decode.scenes import UNCLIPPED, a_body, expose, grid

ROWS, COLUMNS = 900, 1300
Y, X = np.mgrid[0:ROWS, 0:COLUMNS] / np.array([ROWS, COLUMNS]).reshape(2, 1, 1)
SENSORS = [
    pytest.param(Sensor(), id="K 0.4"),
    pytest.param(Sensor(gain=0.1, read_noise=1.2), id="K 0.1"),
    pytest.param(Sensor(gain=1.6, read_noise=6.0), id="K 1.6"),
]


def plain() -> NDArray[np.float64]:
    """Even light from deep shadow to bright, no detail."""
    return 0.001 + 0.8 * (X * Y) ** 1.5 + 0.03 * np.sin(2 * X)


def grain(seed: int = 1) -> NDArray[np.float64]:
    return np.random.default_rng(seed).standard_normal((ROWS, COLUMNS))


def shot(
    sensor: Sensor, light: NDArray[np.float64], seed: int, cfa: Cfa | str = "RGGB", *, scale: float = 1.0
) -> Frame:
    pattern = BAYER[cfa] if isinstance(cfa, str) else cfa
    planes = np.stack([light * k for k in (0.6, 1.0, 0.8)])[: len(pattern.colours)] * scale
    mosaic = sensor.expose(planes.astype(np.float32), pattern, np.random.default_rng(seed))
    return frame_from_mosaic(mosaic, cfa=pattern, black=sensor.black, white=sensor.white)


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("sensor", SENSORS)
def test_one_plain_frame_gives_gain_and_read_noise(sensor: Sensor, seed: int) -> None:
    noise = shot(sensor, plain(), seed).noise
    assert noise.source == "one frame"
    assert noise.gain == pytest.approx(sensor.gain, rel=0.1)
    assert noise.read_noise == pytest.approx(sensor.read_noise, rel=0.1)
    assert noise.bound is None


@pytest.mark.parametrize("sensor", SENSORS)
def test_a_pair_gives_gain_and_read_noise(sensor: Sensor) -> None:
    noise = noise_from_pair(shot(sensor, plain(), 10), shot(sensor, plain(), 11))
    assert noise.source == "pair"
    assert noise.gain == pytest.approx(sensor.gain, rel=0.05)
    assert noise.read_noise == pytest.approx(sensor.read_noise, rel=0.1)


@pytest.mark.parametrize("sensor", SENSORS)
def test_a_pair_gives_gain_through_any_detail(sensor: Sensor) -> None:
    light = (0.05 + 0.6 * X) * (1 + 0.3 * grain())
    noise = noise_from_pair(shot(sensor, light, 10), shot(sensor, light, 11))
    assert noise.gain == pytest.approx(sensor.gain, rel=0.05)


def test_a_flash_that_varies_a_little_does_not_spoil_a_pair() -> None:
    noise = noise_from_pair(shot(Sensor(), plain(), 10), shot(Sensor(), plain(), 11, scale=1.01))
    assert noise.gain == pytest.approx(0.4, rel=0.05)


TEXTURES = {
    "grain of 30 %": (0.05 + 0.6 * X) * (1 + 0.3 * grain()),
    "grain of 3 %": (0.05 + 0.6 * X) * (1 + 0.03 * grain()),
    "blurred grain": (0.05 + 0.6 * X) * (1 + 0.6 * cv2.GaussianBlur(grain(), (0, 0), 1.0)),
    "weave of 3.3 px": (0.05 + 0.6 * X) * (1 + 0.2 * np.sin(2 * np.pi * X * COLUMNS / 3.3)),
    "weave of 12 px": (0.05 + 0.6 * X) * (1 + 0.2 * np.sin(2 * np.pi * (X * COLUMNS + Y * ROWS) / 12)),
    "checks of 2 px": (0.05 + 0.6 * X)
    * (1 + 0.2 * np.sign(np.sin(np.pi * X * COLUMNS) * np.sin(np.pi * Y * ROWS))),
}


@pytest.mark.parametrize("sensor", SENSORS)
@pytest.mark.parametrize("kind", TEXTURES)
def test_one_frame_full_of_fine_detail_is_refused_or_right(kind: str, sensor: Sensor) -> None:
    noise = shot(sensor, TEXTURES[kind], 3).noise
    if noise.known:
        assert noise.gain == pytest.approx(sensor.gain, rel=0.1)
    else:
        assert noise.reason is not None
        assert noise.reason.code in ("texture", "not_a_line", "implausible", "too_few_levels")


def test_plain_places_are_enough_beside_detail() -> None:
    light = 0.02 + 0.6 * X
    light[: ROWS // 2] *= 1 + 0.2 * np.sin(2 * np.pi * X[: ROWS // 2] * COLUMNS / 5.3)
    assert shot(Sensor(), light, 4).noise.gain == pytest.approx(0.4, rel=0.1)


def test_a_fixed_pattern_of_half_a_per_cent_does_not_pass_for_gain() -> None:
    light = (0.02 + 0.9 * X) * (1 + 0.004 * grain(7))
    assert shot(Sensor(), light, 5).noise.gain == pytest.approx(0.4, rel=0.1)


def test_an_even_frame_cannot_draw_a_line() -> None:
    noise = shot(Sensor(), np.full((ROWS, COLUMNS), 0.4), 6).noise
    assert noise.reason is not None
    assert noise.reason.code == "too_few_levels"


def test_a_frame_without_noise_is_no_sensors() -> None:
    planes = np.stack([plain()] * 3).astype(np.float32)
    frame = frame_from_mosaic(Sensor().expose(planes, BAYER["RGGB"], None), black=512.0, white=16383.0)
    assert not frame.noise.known


def test_read_noise_that_nothing_dark_shows_is_not_small() -> None:
    noise = shot(Sensor(), 0.1 + 0.7 * X, 7).noise
    assert noise.gain == pytest.approx(0.4, rel=0.1)
    assert noise.read_noise is not None
    assert noise.read_noise >= 2.5
    assert noise.bound == "at most"


def test_x_trans_and_monochrome_sensors_are_measured() -> None:
    mono = Cfa(pattern=((0,),), colours="L")
    for cfa in (XTRANS, mono):
        assert shot(Sensor(), plain(), 8, cfa).noise.gain == pytest.approx(0.4, rel=0.1)


def test_masked_photosites_give_the_read_noise() -> None:
    sensor = Sensor(margins=(0, 40, 0, 0), read_noise=3.0)
    readout = sensor.read_out(0.1 + 0.5 * X, BAYER["RGGB"], np.random.default_rng(0))
    frame = frame_from_mosaic(
        readout.mosaic, black=512.0, white=16383.0, masked=readout.masked, visible=readout.visible
    )
    assert frame.noise.read_noise == pytest.approx(3.0, rel=0.1)
    assert frame.noise.gain == pytest.approx(0.4, rel=0.1)


def test_clipped_places_do_not_count() -> None:
    light = plain()
    light[300:600, 300:900] = 2.0
    assert shot(Sensor(saturation=15272.0), light, 9).noise.gain == pytest.approx(0.4, rel=0.1)


def test_a_pair_must_match() -> None:
    a, b = shot(Sensor(), plain(), 1), shot(Sensor(), plain(), 1, "BGGR")
    with pytest.raises(UsageError):
        noise_from_pair(a, b)
    with pytest.raises(UsageError):
        noise_from_pair(a, frame_from_linear(np.zeros((8, 8, 3), np.uint16), white=4095.0))


def test_blocks_of_white_noise_have_its_variance_in_every_contrast() -> None:
    mosaic = np.random.default_rng(0).normal(5000, 50, (800, 800)).round().astype(np.uint16)
    blocks = sample(mosaic, np.full((2, 2), 1000.0))
    assert blocks.fine.mean() == pytest.approx(2500, rel=0.02)
    assert blocks.coarse.mean() == pytest.approx(2500, rel=0.02)
    assert blocks.level.mean() == pytest.approx(4000, abs=1)


@pytest.mark.parametrize("seed", range(95000, 95004))
def test_noise_of_drawn_bodies_is_right_on_plain_scenes_and_refused_on_cloth(seed: int) -> None:
    rng = np.random.default_rng(seed)
    body = a_body(rng, under=0.0, soft=0.0)
    y, x = grid((ROWS, COLUMNS))
    dish = 0.001 + 1.6 * np.hypot(x - 0.5, y - 0.5) ** 2.5
    noise = expose(body, np.stack([dish * k for k in (0.6, 1.0, 0.8)]), "GBRG", rng).frame().noise
    assert noise.gain == pytest.approx(body.gain, rel=0.1)
    assert noise.read_noise == pytest.approx(body.read, rel=0.1)
    cloth = UNCLIPPED["texture_under"](rng, (ROWS, COLUMNS)) * (0.02 + x)
    seen = expose(body, np.stack([cloth * k for k in (0.6, 1.0, 0.8)]), "GBRG", rng).frame().noise
    assert seen.gain is None or seen.gain == pytest.approx(body.gain, rel=0.1)
