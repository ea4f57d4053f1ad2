"""Which pixels a polygon holds: the same as scikit-image finds by asking at every pixel."""

from __future__ import annotations

import numpy as np
import pytest
from skimage.draw import polygon

from qc.sheet.zones import Role, Zone


def asked_everywhere(zone: Zone, shape: tuple[int, int], orientation: int) -> np.ndarray:
    corners = zone._pixels(shape, orientation)
    mask = np.zeros(shape, dtype=bool)
    mask[polygon(corners[:, 1], corners[:, 0], shape)] = True
    return mask


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("reach", [(0.0, 1.0), (-0.3, 1.4)])
def test_a_polygon_holds_the_pixels_that_asking_everywhere_gives(
    orientation: int, reach: tuple[float, float]
) -> None:
    rng = np.random.default_rng(orientation)
    for _ in range(60):
        shape = int(rng.integers(1, 160)), int(rng.integers(1, 160))
        points = rng.uniform(*reach, (int(rng.integers(3, 9)), 2))
        if rng.random() < 0.3:
            points = np.round(points * 8) / 8  # rims through the middle of pixels, and along their rows
        zone = Zone(name="z", role=Role.PROTECT, points=tuple((float(x), float(y)) for x, y in points))
        assert np.array_equal(zone.mask(shape, orientation), asked_everywhere(zone, shape, orientation))


def test_a_large_polygon_that_crosses_itself_is_held_alike() -> None:
    points = ((0.02, 0.1), (0.97, 0.9), (0.95, 0.08), (0.05, 0.93), (0.5, 0.3))
    zone = Zone(name="z", role=Role.ALLOW, points=points)
    shape = (900, 1300)
    mask = zone.mask(shape, 6)
    assert 0.2 < mask.mean() < 0.8
    assert np.array_equal(mask, asked_everywhere(zone, shape, 6))
