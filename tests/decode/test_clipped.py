"""Clipped photosites: hot ones and the tail of noise are none, every true highlight is."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.decode.clipped import clipped_photosites, without_hot_photosites, without_noise_tail
from qc.frame import Saturation
from qc.rehearse.dng import XTRANS
from tests.decode.scenes import Body, expose

LIMITS = np.full(3, 16383.0)
LEVELS = tuple(Saturation(colour=c, level=16383.0, source="tag") for c in "RGB")


def lone(value: int, around: int, cfa: str = "RGGB") -> NDArray[np.uint8]:
    mosaic = np.full((40, 40), around, np.uint16)
    mosaic[17, 20] = value
    over = (mosaic >= 16383).astype(np.uint8)
    return without_hot_photosites(over, mosaic, BAYER[cfa], LIMITS)


@pytest.mark.parametrize("cfa", BAYER)
def test_a_photosite_alone_in_dimmer_light_is_hot(cfa: str) -> None:
    assert not lone(16383, 5000, cfa).any()


def test_a_photosite_alone_in_bright_light_is_hot_too() -> None:
    assert not lone(16383, 14000).any()


def test_a_lone_clip_that_noise_explains_is_kept() -> None:
    mosaic = np.random.default_rng(0).normal(15000, 600, (40, 40)).clip(0, 16382).astype(np.uint16)
    mosaic[17, 20] = 16383
    over = (mosaic >= 16383).astype(np.uint8)
    assert without_hot_photosites(over, mosaic, BAYER["RGGB"], LIMITS).sum() == 1


@pytest.mark.parametrize("level", [0.1, 0.5, 0.8, 0.9, 0.95])
@pytest.mark.parametrize("under", [0.0, 0.07])
@pytest.mark.parametrize("gain", [0.1, 0.4, 1.6])
def test_40_hot_photosites_are_no_highlights_on_any_surface(level: float, under: float, gain: float) -> None:
    rng = np.random.default_rng(round(1000 * level))
    light = np.full((3, 300, 420), level)
    light[:, :, :100] *= 0.2  # an edge that some of them stand beside
    light[:, 200:] *= np.linspace(0.4, 1.0, 420)
    shot = expose(Body(under=under, gain=gain), light, "GRBG", rng)
    hot = shot.mosaic.copy()
    hot[np.repeat(np.arange(15, 300, 60), 8), np.tile(np.arange(12, 420, 52), 5)] = shot.body.level
    frame = frame_from_mosaic(hot, cfa="GRBG", black=shot.body.black, white=shot.body.white)
    assert not frame.clip.any()


@pytest.mark.parametrize("step", [(0, 1), (1, 1), (2, 0), (2, 2), (0, 2)])
def test_two_near_each_other_are_kept(step: tuple[int, int]) -> None:
    mosaic = np.full((40, 40), 3000, np.uint16)
    mosaic[17, 20] = mosaic[17 + step[0], 20 + step[1]] = 16383
    over = (mosaic >= 16383).astype(np.uint8)
    assert without_hot_photosites(over, mosaic, BAYER["RGGB"], LIMITS).sum() == 2


@pytest.mark.parametrize("cfa", [*BAYER.values(), XTRANS])
@pytest.mark.parametrize("place", [(0, 0), (39, 59), (0, 59), (255, 30), (256, 31)])
def test_hot_photosites_at_edges_and_between_bands_are_found(cfa: object, place: tuple[int, int]) -> None:
    mosaic = np.full((300, 60), 3000, np.uint16)
    mosaic[place] = 16383
    assert clipped_photosites(mosaic, cfa, LEVELS) is None  # type: ignore[arg-type]


def test_one_clipped_green_of_two_counts() -> None:
    mosaic = np.full((80, 80), 4000, np.uint16)
    mosaic[20:60:2, 21:61:2] = 16383  # the greens of the first row of each block only
    frame = frame_from_mosaic(mosaic, black=512.0, white=16383.0)
    assert frame.clip[1].max() == 1
    assert np.count_nonzero(frame.clip.sum(axis=0)) == 400


def test_a_burnt_line_one_photosite_wide_is_kept() -> None:
    mosaic = np.full((80, 80), 4000, np.uint16)
    mosaic[40, 10:70] = 16383
    over = clipped_photosites(mosaic, BAYER["RGGB"], LEVELS)
    assert over is not None
    assert over.sum() == 60


def tail(level: float, seed: int = 0) -> tuple[NDArray[np.uint8], NDArray[np.uint16]]:
    light = np.random.default_rng(seed).normal(level * 16383, 80.0, (400, 400))
    mosaic = np.clip(np.rint(light), 0, 16383).astype(np.uint16)
    return (mosaic >= 16383).astype(np.uint8), mosaic


@pytest.mark.parametrize("seed", range(5))
def test_the_tail_of_noise_just_under_saturation_is_dropped(seed: int) -> None:
    over, mosaic = tail(0.99, seed)
    assert over.sum() > 1000
    assert not without_noise_tail(over, mosaic, BAYER["RGGB"], LIMITS).any()


def test_light_over_saturation_loses_nothing() -> None:
    over, mosaic = tail(1.01)
    kept = without_noise_tail(over, mosaic, BAYER["RGGB"], LIMITS)
    assert np.array_equal(kept, over)


def test_the_fringe_of_a_true_highlight_is_kept() -> None:
    over, mosaic = tail(0.985)
    over[180:220, 180:220], mosaic[180:220, 180:220] = 1, 16383
    kept = without_noise_tail(over, mosaic, BAYER["RGGB"], LIMITS)
    assert kept[180:220, 180:220].all()
    assert kept[200, 220:226].sum() == over[200, 220:226].sum()


def test_a_small_glint_in_dim_light_is_no_tail() -> None:
    mosaic = np.full((80, 80), 4000, np.uint16)
    mosaic[40:43, 40:43] = 16383
    over = (mosaic >= 16383).astype(np.uint8)
    assert np.array_equal(without_noise_tail(over, mosaic, BAYER["RGGB"], LIMITS), over)


def test_a_colour_without_a_level_marks_nothing() -> None:
    mosaic = np.full((40, 40), 16383, np.uint16)
    levels = (Saturation(colour="R", level=None, source="unknown"), *LEVELS[1:])
    over = clipped_photosites(mosaic, BAYER["RGGB"], levels)
    assert over is not None
    assert not over[0::2, 0::2].any()
    assert over[0::2, 1::2].all()
