"""Connected places: the same as labelling the whole mask at once."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.measure import label, regionprops

from qc.measure.highlights.places import places


@pytest.mark.parametrize("density", [0.0005, 0.01, 0.2, 0.5, 1.0])
@pytest.mark.parametrize("shape", [(1, 1), (15, 200), (130, 97), (400, 333)])
@pytest.mark.parametrize("blobs", [False, True])
def test_places_are_those_of_an_independent_labelling(density: float, shape: tuple[int, int], blobs: bool) -> None:
    # scikit-image 0.24 and later, measure.label with connectivity 2 (8 neighbours)
    rng = np.random.default_rng(int(1000 * density) + shape[0])
    chosen = rng.random(shape) < density
    if blobs and min(shape) > 10:
        coarse = rng.random((shape[0] // 10 + 1, shape[1] // 10 + 1)) < density
        chosen = np.kron(coarse, np.ones((10, 10), dtype=bool))[: shape[0], : shape[1]]
    found = places(chosen.astype(np.uint8) * np.uint8(255))
    expected = {
        (int(r.area), r.bbox[0], r.bbox[1], r.bbox[2] - r.bbox[0], r.bbox[3] - r.bbox[1])
        for r in regionprops(label(chosen, connectivity=2))
    }
    ours = {(int(a), *map(int, box)) for a, box in zip(found.areas, found.boxes, strict=True)}
    assert ours == expected
    assert int(found.areas.sum()) == int(chosen.sum())


def test_the_mask_of_a_place_holds_its_cells_and_no_others() -> None:
    rng = np.random.default_rng(1)
    chosen = rng.random((200, 300)) < 0.02
    found = places(chosen.astype(np.uint8) * np.uint8(255))
    again = np.zeros_like(chosen)
    for index, (top, left, rows, columns) in enumerate(found.boxes):
        again[top : top + rows, left : left + columns] |= found.mask(index)
        assert int(found.mask(index).sum()) == found.areas[index]
    np.testing.assert_array_equal(again, chosen)
