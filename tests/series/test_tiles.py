from __future__ import annotations

import numpy as np
import pytest

from qc.digest import Digest
from qc.reading import Region
from qc.series.tiles import light_of

FINE = (64, 96)


def digest(means: np.ndarray, regions: tuple[Region, ...] = ()) -> Digest:
    return Digest(
        preview=np.zeros((2, 2), np.uint8),
        colours="RGB"[: means.shape[0]],
        tile_means=means.astype(np.float32),
        regions=regions,
        full_size=(600, 400),
    )


def clipped(*outline: tuple[float, float]) -> Region:
    return Region(what="burnt", box=(0, 0, 1, 1), area=50.0, colours="RGB", outline=outline)


WHOLE = clipped((0, 0), (1, 0), (1, 1), (0, 1))


def test_tiles_are_few_about_square_and_hold_the_mean_of_all_colours() -> None:
    means = np.stack([np.full(FINE, level) for level in (0.1, 0.2, 0.6)])
    light = light_of(digest(means))
    assert light is not None
    assert light.shape == (11, 16)
    assert light.dtype == np.float32
    assert light == pytest.approx(0.3)


def test_a_ramp_stays_a_ramp() -> None:
    means = np.broadcast_to(np.linspace(0, 0.5, 96), (3, *FINE))
    light = light_of(digest(means))
    assert light is not None
    assert light[4, [0, 15]] == pytest.approx([0.5 * 2.5 / 95, 0.5 * 92.5 / 95])


def test_a_tile_with_more_than_a_tenth_clipped_in_one_colour_says_nothing() -> None:
    means = np.full((3, *FINE), 0.3)
    means[0, :, :48] = 0.95
    light = light_of(digest(means))
    assert light is not None
    assert np.isnan(light[:, :8]).all()
    assert light[:, 8:] == pytest.approx(0.3)


def test_a_single_glint_leaves_its_tile_what_is_not_clipped() -> None:
    means = np.full((3, *FINE), 0.3)
    means[:, 32, 33] = 1.0
    light = light_of(digest(means))
    assert light is not None
    assert light == pytest.approx(0.3)


def test_light_that_saturates_far_under_full_scale_is_known_by_its_region() -> None:
    means = np.full((3, *FINE), 0.8)
    means[:, 16:48, 36:60] = 0.2  # a bottle that the burnt backdrop surrounds
    light = light_of(digest(means, (WHOLE,)))
    assert light is not None
    assert np.isnan(light[0]).all()
    assert light[4:7, 7:9] == pytest.approx(0.2)
    without = light_of(digest(means))
    assert without is not None
    assert np.isfinite(without).all()


@pytest.mark.parametrize("means", [np.full((3, 1, 1), np.nan), np.zeros((3, 0, 0))])
def test_a_capture_without_tiles_has_no_light(means: np.ndarray) -> None:
    assert light_of(digest(means)) is None


def test_light_under_black_is_kept() -> None:
    light = light_of(digest(np.full((3, *FINE), -0.001)))
    assert light == pytest.approx(-0.001)
