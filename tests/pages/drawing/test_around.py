"""Polygons of few corners: they hold what they are drawn around, and never cross or touch themselves."""

from __future__ import annotations

import math

import cv2
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from numpy.typing import NDArray

from qc.pages.drawing.around import (
    MOST_CORNERS,
    MOST_STEPS,
    Points,
    along_tiles,
    around,
    is_simple,
    within,
)

Mask = NDArray[np.bool_]

ROOM = 6
Z = [(0, 0), (4, 0), (0, 4), (4, 4)]


@pytest.mark.parametrize(
    ("corners", "simple"),
    [
        ([(0, 0), (4, 0), (4, 4), (0, 4)], True),
        ([(0, 0), (4, 0), (1, 1), (0, 4)], True),
        (Z, False),
        ([(0, 0), (4, 0), (2, 2), (4, 4), (0, 4), (2, 2)], False),
        ([(0, 0), (4, 0), (4, 4), (2, 0), (0, 4)], False),
        ([(0, 0), (6, 0), (6, 2), (4, 2), (4, 0), (2, 0), (2, 2), (0, 2)], False),
        ([(0, 0), (1, 1)], False),
        ([(math.cos(4 * math.pi * k / 5), math.sin(4 * math.pi * k / 5)) for k in range(5)], False),
        ([(math.cos(2 * math.pi * k / 9), math.sin(2 * math.pi * k / 9)) for k in range(9)], True),
    ],
    ids=[
        "square",
        "arrow",
        "crossed",
        "touching corner",
        "corner on a side",
        "sides on sides",
        "line",
        "star",
        "9",
    ],
)
def test_what_crosses_or_touches_itself_is_not_simple(corners: list[tuple[float, float]], simple: bool) -> None:
    assert is_simple(np.array(corners, dtype=np.float64)) is simple


def drawn(points: Points, shape: tuple[int, int]) -> Mask:
    """Pixels whose middles lie in a polygon, by OpenCV's test and not by filling it."""
    size = np.array(shape[::-1]) - 1
    outline = np.rint(np.array(points) * size * 16).astype(np.int32)
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]] * 16.0
    flat = [cv2.pointPolygonTest(outline, (a, b), False) >= 0 for a, b in zip(x.ravel(), y.ravel(), strict=True)]
    return np.array(flat).reshape(shape)


def widened(held: Mask) -> Mask:
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * ROOM + 1, 2 * ROOM + 1))
    return np.asarray(cv2.dilate(held.view(np.uint8), kernel)) > 0


def comb() -> Mask:
    held = np.zeros((90, 160), dtype=bool)
    held[20:26, 20:140] = True
    for x in range(20, 140, 30):
        held[20:70, x : x + 5] = True
    return held


def ring() -> Mask:
    y, x = np.mgrid[0:90, 0:160]
    return np.asarray(abs(np.hypot(x - 80, y - 45) - 30) < 3)


def at_corner() -> Mask:
    held = np.zeros((90, 160), dtype=bool)
    held[:9, :14] = True
    return held


@pytest.mark.parametrize("held", [comb(), ring(), at_corner()], ids=["comb", "ring", "in the corner"])
def test_a_place_is_held_by_few_corners(held: Mask) -> None:
    points = around(widened(held), held, ROOM)
    assert points is not None
    assert 3 <= len(points) <= MOST_CORNERS
    assert is_simple(np.array(points))
    assert not (held & ~drawn(points, held.shape)).any()
    assert all(0 <= value <= 1 for point in points for value in point)


def test_a_plain_place_has_a_zone_that_is_little_larger() -> None:
    held = np.zeros((90, 160), dtype=bool)
    held[30:50, 40:90] = True
    points = around(widened(held), held, ROOM)
    assert points is not None
    assert drawn(points, held.shape).sum() <= widened(held).sum()


def test_what_lies_at_the_rim_is_held_up_to_the_rim() -> None:
    points = around(widened(at_corner()), at_corner(), ROOM)
    assert points is not None
    assert np.array(points).min(axis=0).tolist() == [0.0, 0.0]


@pytest.mark.parametrize("seed", range(12))
def test_any_blot_is_held_or_left_to_its_box(seed: int) -> None:
    rng = np.random.default_rng(seed)
    rough = cv2.GaussianBlur(rng.standard_normal((120, 120)).astype(np.float32), (0, 0), 3 + seed % 4)
    count, labels, stats, _ = cv2.connectedComponentsWithStats((np.asarray(rough) > 0.05).astype(np.uint8))
    assert count > 1
    held = np.asarray(labels) == 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    points = around(widened(held), held, ROOM)
    assert points is not None, "the hull of a blot of this size can be smoothed within the room"
    assert len(points) <= MOST_CORNERS
    assert is_simple(np.array(points))
    assert not (held & ~drawn(points, held.shape)).any()


def tiles(text: str) -> Mask:
    return np.array([[sign == "#" for sign in line] for line in text.split()])


def area(points: Points) -> float:
    xy = np.array(points)
    x, y = xy.T
    return float(abs(x @ np.roll(y, -1) - y @ np.roll(x, -1)) / 2)


@pytest.mark.parametrize(
    ("place", "corners"),
    [("####\n####", 4), ("....\n.##.\n....", 4), ("#...\n##..\n###.", 8), (".###\n.#..\n.###", 8), ("#", 4)],
)
def test_an_outline_runs_along_the_edges_of_its_tiles(place: str, corners: int) -> None:
    mask = tiles(place)
    points = along_tiles(mask)
    assert points is not None
    assert len(points) == corners
    assert area(points) == pytest.approx(mask.mean(), abs=2e-4)
    steps = np.array(points) * mask.shape[::-1]
    assert steps == pytest.approx(np.rint(steps), abs=1e-3)


def test_tiles_that_touch_at_a_corner_are_joined() -> None:
    points = along_tiles(tiles("##.\n##.\n..#"))
    assert points is not None
    assert is_simple(np.array(points))
    assert area(points) == pytest.approx(6 / 9, abs=2e-4)


def test_what_has_too_many_corners_is_left_to_a_box() -> None:
    assert along_tiles(tiles("#.#.#.#.#.#.\n############")) is None


@given(arrays(bool, array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=6)))
def test_any_tiles_have_a_simple_outline_or_none(mask: Mask) -> None:
    count, labels = cv2.connectedComponents(mask.view(np.uint8), connectivity=8)
    for label in range(1, count):
        place = np.asarray(labels) == label
        points = along_tiles(place)
        if points is None:
            continue
        assert len(points) <= MOST_STEPS
        assert is_simple(np.array(points))
        assert area(points) >= place.mean() - 1e-3


side = st.tuples(st.floats(0, 0.99), st.floats(0.001, 1)).map(lambda s: (s[0], min(s[1], 1 - s[0])))


@given(side, side)
def test_a_box_with_few_decimals_stays_inside(x: tuple[float, float], y: tuple[float, float]) -> None:
    left, top, width, height = within((x[0], y[0], x[1], y[1]))
    for low, size, (start, extent) in ((left, width, x), (top, height, y)):
        assert low >= start - 1e-9
        assert low + size <= start + extent + 1e-9
        assert low + size <= 1
        assert size >= extent - 2e-4
        assert low == round(low, 4)
        assert size == round(size, 4)
