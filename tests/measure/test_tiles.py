from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.measure._tiles import LONG_SIDE, SMALLEST, grid, masked_tile_means, tile_means

RNG = np.random.default_rng(7)


def weights(cells: int, tiles: int) -> NDArray[np.float64]:
    """Share of each cell in each tile of a side, written from the definition, rows summing to 1."""
    edges = np.arange(tiles + 1) * cells / tiles
    at = np.arange(cells)
    share = np.array([np.clip(np.minimum(at + 1, b) - np.maximum(at, a), 0, 1) for a, b in pairwise(edges)])
    return share / share.sum(axis=1, keepdims=True)


@pytest.mark.parametrize("shape", [(64, 96), (101, 157), (200, 300), (7, 500)])
@pytest.mark.parametrize("tiles", [(1, 1), (3, 5), (6, 7), (7, 13)])
def test_a_tile_mean_weights_the_cells_at_its_rim_by_the_part_inside(
    shape: tuple[int, int], tiles: tuple[int, int]
) -> None:
    plane = RNG.normal(0.2, 0.1, shape).astype(np.float32)
    exact = weights(shape[0], tiles[0]) @ plane.astype(np.float64) @ weights(shape[1], tiles[1]).T
    assert tile_means(plane, tiles) == pytest.approx(exact, abs=1e-6)


def test_tiles_of_the_planes_own_size_are_the_plane() -> None:
    plane = RNG.normal(size=(9, 13)).astype(np.float32)
    assert np.array_equal(tile_means(plane, plane.shape), plane)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float64, np.bool_])
def test_any_real_dtype_is_averaged_in_single_precision(dtype: type[np.generic]) -> None:
    means = tile_means(np.ones((40, 60), dtype=dtype), (4, 6))
    assert means.dtype == np.float32
    assert (means == 1).all()


def test_nan_spreads_over_its_own_tile_only() -> None:
    plane = np.ones((40, 60), dtype=np.float32)
    plane[13, 25] = np.nan
    missing = np.isnan(tile_means(plane, (4, 6)))
    assert missing[1, 2]
    assert missing.sum() == 1


def test_a_plane_is_not_modified() -> None:
    plane = np.ones((40, 60), dtype=np.float32)
    plane.flags.writeable = False
    tile_means(plane, (3, 4))
    assert (plane == 1).all()


@pytest.mark.parametrize("shape", [(1, 1), (5, 5), (8, 8), (300, 200), (2896, 4344), (4344, 2896), (858, 1288)])
def test_a_grid_has_square_tiles_of_worthwhile_size(shape: tuple[int, int]) -> None:
    rows, columns = grid(shape)
    assert 1 <= max(rows, columns) <= LONG_SIDE
    if max(shape) >= SMALLEST:
        assert max(shape) / max(rows, columns) >= SMALLEST
    if min(rows, columns) >= 20:
        assert (shape[0] / rows) / (shape[1] / columns) == pytest.approx(1.0, rel=0.05)


def test_a_grid_is_the_same_for_planes_of_one_frame() -> None:
    assert grid((2896, 4344)) == grid((5792, 8688))


def test_masked_means_count_only_what_is_in_the_mask() -> None:
    plane = np.ones((40, 60), dtype=np.float32)
    plane[:, 30:] = 5.0
    mask = np.zeros(plane.shape, dtype=bool)
    mask[:10, :35] = True
    means, fraction = masked_tile_means(plane, mask, (4, 6))
    assert means[0].tolist()[:4] == pytest.approx([1, 1, 1, 5])
    assert fraction[0].tolist() == pytest.approx([1, 1, 1, 0.5, 0, 0])
    assert np.isnan(means[1:]).all()
    assert np.isnan(means[0, 4:]).all()
