"""Saturation: a plateau under the tag is found, and nothing else is taken for one."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.decode.decoded import Decoded
from qc.decode.develop import develop
from qc.decode.plateau import Lit, find_plateau, is_comb
from qc.decode.saturation import Remembered, key_of
from qc.frame import Camera, Frame, Saturation
from qc.rehearse.sensor import Sensor, sample
from qc.rehearse.studio import Studio

ROWS, COLUMNS = 600, 900
Y, X = np.mgrid[0:ROWS, 0:COLUMNS] / np.array([ROWS, COLUMNS]).reshape(2, 1, 1)
BASE = 0.05 + 0.5 * X * Y
RADIUS = np.hypot((X - 0.5) * COLUMNS / ROWS, Y - 0.5)
LOW = 512 + 0.93 * (16383 - 512)
"""Saturation 7 % below the tagged white level."""

NEUTRAL, WARM = (1.0, 1.0, 1.0), (0.6, 1.0, 0.8)


def disc(peak: float, rim: float) -> NDArray[np.float64]:
    """A bright disc of a tenth of the frame's height with a rim of the given width."""
    return BASE + peak * np.clip((0.1 - RADIUS) / rim + 0.5, 0, 1)


def colours(light: NDArray[np.float64], balance: tuple[float, ...] = WARM) -> NDArray[np.float32]:
    return np.stack([light * k for k in balance]).astype(np.float32)


def shot(sensor: Sensor, light: NDArray[np.float32], cfa: str = "RGGB", seed: int = 0) -> Frame:
    mosaic = sensor.expose(light, BAYER[cfa], np.random.default_rng(seed))
    return frame_from_mosaic(mosaic, cfa=cfa, black=sensor.black, white=sensor.white)


def areas(clip: NDArray[np.integer]) -> tuple[float, float]:
    """Clipped and burnt area, % of cells, of counts by colour."""
    burnt = np.all(clip >= np.array([1, 2, 1])[:, np.newaxis, np.newaxis], axis=0)
    return 100 * float((clip.sum(axis=0) > 0).mean()), 100 * float(burnt.mean())


def truth(sensor: Sensor, light: NDArray[np.float32], cfa: str) -> tuple[float, float]:
    clipped = sensor.clipped(sample(light, BAYER[cfa]), BAYER[cfa])
    cells = clipped.reshape(ROWS // 2, 2, COLUMNS // 2, 2)
    return 100 * float(cells.any(axis=(1, 3)).mean()), 100 * float(cells.all(axis=(1, 3)).mean())


def sources(frame: Frame) -> set[str]:
    return {s.source for s in frame.saturation}


@pytest.mark.parametrize("plateau", [0.0, 0.005], ids=["sharp", "soft"])
@pytest.mark.parametrize("balance", [NEUTRAL, WARM], ids=["neutral", "warm"])
@pytest.mark.parametrize(("rim", "cfa", "seed"), [(0.02, "RGGB", 0), (0.1, "GBRG", 1), (0.2, "BGGR", 2)])
def test_areas_are_right_with_saturation_under_the_tag(
    plateau: float, balance: tuple[float, ...], rim: float, cfa: str, seed: int
) -> None:
    sensor = Sensor(saturation=LOW, plateau=plateau)
    light = colours(disc(1.8, rim), balance)
    frame = shot(sensor, light, cfa, seed)
    assert sources(frame) == {"plateau"}
    assert areas(frame.clip) == pytest.approx(truth(sensor, light, cfa), abs=0.05)


@pytest.mark.parametrize("sensor", [Sensor(gain=0.1, read_noise=1.0), Sensor(gain=1.6, read_noise=6.0)])
def test_a_plateau_is_found_at_any_gain(sensor: Sensor) -> None:
    low = Sensor(gain=sensor.gain, read_noise=sensor.read_noise, saturation=LOW)
    frame = shot(low, colours(disc(1.8, 0.02)))
    assert [s.level for s in frame.saturation] == [round(LOW)] * 3


@pytest.mark.parametrize("plateau", [0.0, 0.005])
def test_a_burnt_patch_of_40_by_40_is_found(plateau: float) -> None:
    light = BASE.copy()
    light[300:340, 500:540] = 2.0
    frame = shot(Sensor(saturation=LOW, plateau=plateau), colours(light))
    assert areas(frame.clip) == pytest.approx((100 * 1600 / (ROWS * COLUMNS),) * 2, abs=1e-6)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("saturation", [None, LOW], ids=["at the tag", "under it"])
def test_a_gradient_that_ends_at_099_of_saturation_is_not_clipped(saturation: float | None, seed: int) -> None:
    top = 0.99 * (1.0 if saturation is None else 0.93)
    frame = shot(Sensor(saturation=saturation), colours(X * top, NEUTRAL), seed=seed)
    assert not frame.clip.any()
    assert "nothing_saturates" in {f.code for f in frame.findings}


@pytest.mark.parametrize("light", [BASE, BASE + 0.2], ids=["dim", "bright"])
@pytest.mark.parametrize("saturation", [None, LOW])
def test_scattered_hot_photosites_are_no_highlights(light: NDArray[np.float64], saturation: float | None) -> None:
    frame = shot(Sensor(saturation=saturation, hot=40), colours(light, NEUTRAL))
    assert not frame.clip.any()


def test_hot_photosites_do_not_hide_a_plateau() -> None:
    mosaic = Sensor(saturation=LOW).expose(colours(disc(1.8, 0.02)), BAYER["RGGB"], np.random.default_rng(0))
    places = np.random.default_rng(1).integers(5, 500, (40, 2))
    mosaic[tuple(places.T)] = 16383
    frame = frame_from_mosaic(mosaic, black=512.0, white=16383.0)
    assert [s.level for s in frame.saturation] == [round(LOW)] * 3


@pytest.mark.parametrize("gain", [0.1, 0.4, 1.6])
@pytest.mark.parametrize("level", [0.6, 0.8, 0.91])
@pytest.mark.parametrize("balance", [NEUTRAL, WARM], ids=["neutral", "warm"])
def test_a_white_sweep_is_no_plateau(level: float, gain: float, balance: tuple[float, ...]) -> None:
    light = BASE.copy()
    light[: ROWS // 3] = level
    frame = shot(Sensor(gain=gain), colours(light, balance))
    assert sources(frame) == {"tag"}
    assert not frame.clip.any()


def test_a_white_sweep_beside_fine_detail_is_no_plateau() -> None:
    light = BASE * (1 + 0.3 * np.random.default_rng(5).standard_normal(BASE.shape))
    light[: ROWS // 3] = 0.8
    frame = shot(Sensor(), colours(light))
    assert not frame.noise.known
    assert sources(frame) == {"tag"}


@pytest.mark.parametrize("level", [0.3, 0.8])
def test_an_even_frame_is_no_plateau(level: float) -> None:
    frame = shot(Sensor(), colours(np.full((ROWS, COLUMNS), level), NEUTRAL))
    assert sources(frame) == {"tag"}


def test_a_scene_without_noise_has_no_plateau() -> None:
    light = colours(np.floor(X * 8) / 10)
    frame = frame_from_mosaic(Sensor().expose(light, BAYER["RGGB"], None), black=512.0, white=16383.0)
    assert sources(frame) == {"tag"}


@pytest.mark.parametrize(
    ("seed", "gain", "aperture"),
    [
        (1, 0.4, 8.0),  # a plateau on a falling slope of light
        (5, 0.15, 6.3),  # no noise model, 40 % of the frame burnt
        (3, 0.15, 6.3),
        (2, 0.4, 11.0),
        (4, 0.4, 16.0),  # just under saturation
    ],
)
def test_rehearsed_sets_that_once_went_wrong_are_right(seed: int, gain: float, aperture: float) -> None:
    sensor = Sensor(saturation=LOW, plateau=0.005, gain=gain, margins=(16, 48, 0, 0))
    taken = Studio(seed=seed, size=(600, 900), sensor=sensor).frame(aperture=aperture)
    # what noise decides can lie on either side: a fifth of those cells is allowed on top
    slack = max(0.05, taken.truth.unsure_area() / 5)
    measured = areas(taken.frame().clip)
    assert measured == pytest.approx((taken.truth.clipped_area(), taken.truth.burnt_area()), abs=slack)


def test_a_frame_burnt_all_over_softly_is_burnt() -> None:
    frame = shot(Sensor(saturation=LOW, plateau=0.005), colours(np.full((ROWS, COLUMNS), 2.0), NEUTRAL))
    assert areas(frame.clip)[1] > 99.0


def test_a_frame_burnt_all_over_at_one_code_leaves_it_unknown() -> None:
    frame = shot(Sensor(saturation=LOW), colours(np.full((ROWS, COLUMNS), 2.0), NEUTRAL))
    assert sources(frame) == {"unknown"}
    assert "nothing_saturates" not in {f.code for f in frame.findings}


def test_colours_that_saturate_at_different_levels_each_have_their_own() -> None:
    sensor = Sensor(saturation=(15000.0, LOW, 14500.0))
    frame = shot(sensor, colours(disc(3.0, 0.02)))
    assert [s.level for s in frame.saturation] == [15000.0, round(LOW), 14500.0]
    said = next(f for f in frame.findings if f.code == "saturation")
    assert said.data["R"] == {"level": 15000.0, "source": "plateau", "width": 0.0}


def test_a_plateau_under_half_the_tag_is_not_believed() -> None:
    frame = shot(Sensor(saturation=512 + 0.45 * 15871), colours(disc(1.8, 0.02)))
    assert sources(frame) == {"tag"}


def decoded(mosaic: NDArray[np.uint16], *, iso: float = 100.0, lossy: bool = False) -> Decoded:
    return Decoded(
        kind="mosaic",
        data=mosaic,
        visible=(0, 0, *mosaic.shape),
        cfa=BAYER["RGGB"],
        colours="RGB",
        black=np.full((2, 2), 512.0),
        white=16383.0,
        lossy=lossy,
        camera=Camera(make="Kiln Works", model="Rehearsal 1", iso=iso),
    )


def known(iso: float) -> Remembered:
    camera = Camera(make="Kiln Works", model="Rehearsal 1", iso=iso)
    levels = tuple(Saturation(colour=c, level=15272.0, source="plateau") for c in "RGB")
    return {key_of(camera, "mosaic"): levels}


def gradient_to(top: float) -> NDArray[np.uint16]:
    return Sensor().expose(colours(X * top, NEUTRAL), BAYER["RGGB"], np.random.default_rng(0))


def test_a_remembered_level_of_the_same_body_and_iso_is_used() -> None:
    frame = develop(decoded(gradient_to(0.5)), remembered=known(100.0))
    assert {(s.level, s.source) for s in frame.saturation} == {(15272.0, "remembered")}


def test_a_maximum_near_a_level_remembered_at_another_iso_leaves_it_unknown() -> None:
    frame = develop(decoded(gradient_to(0.92)), remembered=known(200.0))
    assert {(s.level, s.source) for s in frame.saturation} == {(None, "unknown")}
    assert {"saturation_unknown"} <= {f.code for f in frame.findings}
    assert "nothing_saturates" not in {f.code for f in frame.findings}


def test_a_maximum_far_under_it_does_not() -> None:
    frame = develop(decoded(gradient_to(0.6)), remembered=known(200.0))
    assert sources(frame) == {"tag"}


def test_lossy_values_near_the_top_leave_it_unknown() -> None:
    assert sources(develop(decoded(gradient_to(0.8), lossy=True))) == {"unknown"}
    assert sources(develop(decoded(gradient_to(0.3), lossy=True))) == {"tag"}


def test_a_comb_is_told_from_codes_that_all_occur() -> None:
    mosaic = gradient_to(0.9)
    counts = np.bincount(mosaic.ravel(), minlength=65536).astype(float)
    scaled = np.bincount((mosaic // 3 * 3).ravel(), minlength=65536).astype(float)
    assert not is_comb(counts, float(mosaic.max()))
    assert is_comb(scaled, float(mosaic.max()))


def test_the_teeth_of_a_comb_are_no_plateau() -> None:
    frame = develop(decoded((gradient_to(0.9) // 64 * 64).astype(np.uint16)))
    assert "plateau" not in sources(frame)


def test_a_converters_own_maximum_lowers_the_tag() -> None:
    from dataclasses import replace

    mosaic = gradient_to(0.5)
    mosaic[100:120, 100:120] = 15000
    frame = develop(replace(decoded(mosaic), white_by_colour=(15000.0, 15000.0, 15000.0)))
    assert [s.level for s in frame.saturation] == [15000.0] * 3
    assert int(frame.clip.sum()) == 400


def test_an_empty_histogram_has_no_plateau() -> None:
    nothing = np.zeros(65536)
    assert (
        find_plateau(nothing, nothing, tag=16383.0, black=512.0, variance=lambda _: Lit(100.0, modelled=True))
        is None
    )
