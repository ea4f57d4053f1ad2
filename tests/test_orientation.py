"""Turning between sensor and upright orientation, against Exif 2.32 tag 274 and against itself."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image, ImageOps

from qc.orientation import (
    angle_to_upright,
    box_to_sensor,
    box_to_upright,
    points_to_sensor,
    points_to_upright,
    swaps_sides,
    upright,
)
from qc.sheet.zones import Role, Zone

ALL = range(1, 9)


@pytest.mark.parametrize("orientation", ALL)
def test_pictures_turn_as_an_independent_library_turns_them(orientation: int) -> None:
    stored = np.arange(12, dtype=np.uint8).reshape(3, 4)
    image = Image.fromarray(stored)
    image.getexif()[274] = orientation
    expected = np.asarray(ImageOps.exif_transpose(image))
    assert np.array_equal(upright(stored, orientation), expected)


@pytest.mark.parametrize("orientation", ALL)
def test_a_point_follows_the_picture(orientation: int) -> None:
    stored = np.zeros((30, 50), dtype=np.uint8)
    stored[4, 41] = 1
    turned = upright(stored, orientation)
    (row,), (column,) = np.nonzero(turned)
    fraction = np.array([[(column + 0.5) / turned.shape[1], (row + 0.5) / turned.shape[0]]])
    sensor = points_to_sensor(fraction, orientation)
    assert sensor == pytest.approx(np.array([[41.5 / 50, 4.5 / 30]]))
    assert points_to_upright(sensor, orientation) == pytest.approx(fraction)
    assert swaps_sides(orientation) == (turned.shape != stored.shape)


@pytest.mark.parametrize("orientation", ALL)
def test_boxes_come_back(orientation: int) -> None:
    box = (0.1, 0.2, 0.3, 0.15)
    assert box_to_upright(box_to_sensor(box, orientation), orientation) == pytest.approx(box)


@pytest.mark.parametrize("orientation", ALL)
def test_an_angle_follows_a_drawn_line(orientation: int) -> None:
    stored = np.zeros((101, 101), dtype=np.uint8)
    for step in range(-40, 41):
        stored[50 - round(step * np.sin(np.deg2rad(30))), 50 + round(step * np.cos(np.deg2rad(30)))] = 1
    rows, columns = np.nonzero(upright(stored, orientation))
    slope = (
        np.polyfit(columns, -rows, 1)[0]
        if np.ptp(columns) > np.ptp(rows)
        else 1 / np.polyfit(-rows, columns, 1)[0]
    )
    measured = np.rad2deg(np.arctan(slope)) % 180
    assert angle_to_upright(30.0, orientation) == pytest.approx(measured, abs=1.5)


@pytest.mark.parametrize("orientation", ALL)
def test_a_zone_covers_the_same_part_of_the_upright_picture(orientation: int) -> None:
    zone = Zone.from_box("label", Role.PROTECT, (0.1, 0.2, 0.5, 0.25))
    mask = upright(zone.mask((40, 60), orientation), orientation)
    rows, columns = np.nonzero(mask)
    height, width = mask.shape
    assert (rows.min(), rows.max() + 1) == (round(0.2 * height), round(0.45 * height))
    assert (columns.min(), columns.max() + 1) == (round(0.1 * width), round(0.6 * width))
    assert mask[rows.min() : rows.max() + 1, columns.min() : columns.max() + 1].all()


def test_a_polygon_has_the_area_of_its_corners() -> None:
    zone = Zone(name="lid", role=Role.SHARP, points=((0.1, 0.1), (0.9, 0.1), (0.5, 0.9)))
    mask = zone.mask((400, 400), 1)
    assert mask.mean() == pytest.approx(0.32, abs=0.003)
    assert np.array_equal(mask[zone.window((400, 400), 1)], zone.mask_in_window((400, 400), 1))


def test_a_zone_outside_the_frame_is_empty() -> None:
    assert not Zone.from_box("off", Role.SHARP, (1.2, 0.1, 0.1, 0.1)).mask((50, 50), 1).any()
