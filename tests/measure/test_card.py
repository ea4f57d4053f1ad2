"""Grey cards are found where they are, inside their edge, and nothing else is taken for one."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import frame_from_mosaic, frame_from_rendered, open_frame
from qc.frame import Colour, Frame, Saturation
from qc.measure._card import AREA, MOST, cards
from qc.measure.cast import SPEC
from qc.reading import Box
from qc.rehearse._props import CARD as CORNERS
from qc.rehearse._surface import View
from qc.rehearse.sensor import Sensor
from qc.rehearse.studio import Studio
from qc.sheet.brief import Brief
from qc.sheet.zones import Zone
from tests.measure.colour_scene import CARD, DAYLIGHT, camera_light, colour_of, scene, shoot

Light = NDArray[np.float64]
Points = NDArray[np.float64]

GREY = camera_light((50.0, 0.0, 0.0), DAYLIGHT, "two")
COLOUR = colour_of(DAYLIGHT, "two")
NO_COLOUR = Colour()


def corners_of_rehearsed(studio: Studio) -> Points:
    view = View(*studio.size)
    return np.array([view.fraction(x, y) for x, y in CORNERS])


def corners(box: Box) -> Points:
    left, top, width, height = box
    return np.array([(left, top), (left + width, top), (left + width, top + height), (left, top + height)])


def area(polygon: Points) -> float:
    return float(cv2.contourArea(polygon.astype(np.float32)))


def inside(points: Points, polygon: Points, within: float = 0.0) -> bool:
    """Whether all points lie in a polygon, by so much at least."""
    outline = (polygon * 1e4).astype(np.float32)
    return all(cv2.pointPolygonTest(outline, tuple(point * 1e4), True) >= within * 1e4 for point in points)


def with_card(light: Light | None = None) -> Frame:
    return shoot(scene(GREY) if light is None else light, COLOUR)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_card_of_a_rehearsed_set_is_found_however_the_camera_is_held(orientation: int) -> None:
    studio = Studio(size=(400, 600), orientation=orientation)
    (card,) = cards(studio.frame().frame())
    true = corners_of_rehearsed(studio)
    assert inside(corners(card.box), true, within=0.002)
    assert area(corners(card.box)) > 0.5 * area(true)
    assert card.area == pytest.approx(100 * area(corners(card.box)))
    assert card.chroma is not None
    assert card.chroma < 1


@pytest.mark.parametrize("seed", range(2, 6))
def test_the_card_is_found_in_every_take(seed: int) -> None:
    studio = Studio(size=(500, 750), seed=seed)
    (card,) = cards(studio.frame().frame())
    assert inside(corners(card.box), corners_of_rehearsed(studio), within=0.002)


def test_what_is_found_serves_as_a_patch() -> None:
    frame = Studio(size=(400, 600), card_lab=(50.0, 3.0, -4.0)).frame().frame()
    (card,) = cards(frame)
    measured = SPEC(frame, zones=[Zone.from_box("card", "patch", card.box)], brief=Brief())
    read = {reading.name: reading.value for reading in measured.readings}
    assert read["cast.chroma"] == pytest.approx(5.0, abs=0.5)
    assert card.chroma == pytest.approx(read["cast.chroma"], abs=1e-3)
    assert card.unevenness == pytest.approx(read["patch.unevenness"])


def test_a_set_without_its_card_has_none() -> None:
    shot = Studio(size=(400, 600)).frame().frame()
    assert shot.mosaic is not None
    right = np.ascontiguousarray(shot.mosaic[:, 130:])
    frame = frame_from_mosaic(right, cfa="RGGB", black=512.0, white=16383.0, colour=shot.colour)
    assert cards(frame) == ()


@pytest.mark.parametrize("lab", [(50.0, 30.0, 10.0), (50.0, -15.0, 0.0), (50.0, 0.0, -20.0)])
def test_a_coloured_card_is_none_where_colour_can_be_checked(lab: tuple[float, float, float]) -> None:
    light = scene(camera_light(lab, DAYLIGHT, "two"))
    assert cards(shoot(light, COLOUR)) == ()
    (card,) = cards(shoot(light, NO_COLOUR))
    assert card.chroma is None
    assert "colour cannot be checked" in card.why


@pytest.mark.parametrize("stops", [1.0, 0.0, -2.0, -3.5])
def test_the_card_is_found_at_any_usual_exposure(stops: float) -> None:
    (card,) = cards(with_card(scene(GREY, 0.3) * 2.0**stops))
    assert inside(corners(card.box), corners(CARD))
    assert area(corners(card.box)) > 0.65 * area(corners(CARD))


@pytest.mark.parametrize("stops", [3.0, -9.0])
def test_a_card_that_is_burnt_or_lost_in_the_dark_is_none(stops: float) -> None:
    assert cards(with_card(scene(GREY) * 2.0**stops)) == ()


def test_noise_does_not_hide_the_card() -> None:
    noisy = Sensor(gain=2.0, read_noise=10.0)  # 3 % of the card's light
    (card,) = cards(shoot(scene(GREY, 0.3), COLOUR, sensor=noisy))
    assert inside(corners(card.box), corners(CARD))


@pytest.mark.parametrize("light", [0.002, 0.05, 0.3])
@pytest.mark.parametrize("seed", range(3))
def test_noise_alone_makes_no_card(light: float, seed: int) -> None:
    even = np.full((3, 400, 600), light) * np.array([0.6, 1.0, 0.7])[:, None, None]
    assert cards(shoot(even, COLOUR, seed=seed, sensor=Sensor(gain=12.0, read_noise=40.0))) == ()


def test_an_even_ground_that_reaches_the_rim_is_no_card() -> None:
    light = scene(GREY)
    light[:, : 400 // 3] = GREY[:, None, None] * 1.5
    found = cards(with_card(light))
    assert [inside(corners(card.box), corners(CARD)) for card in found] == [True]


def test_a_card_half_in_hard_shade_is_two_places_that_do_not_cross_the_edge() -> None:
    light = scene(GREY)
    middle = CARD[0] + CARD[2] / 2
    light[:, :, round(600 * middle) :] *= 0.4
    found = cards(with_card(light))
    assert len(found) == 2
    for card in found:
        left, _, width, _ = card.box
        assert left + width < middle or left > middle
        assert inside(corners(card.box), corners(CARD))


def test_a_card_half_in_soft_shade_is_refused() -> None:
    light = scene(GREY)
    light *= np.interp(np.arange(600) / 600, [CARD[0], CARD[0] + CARD[2]], [1.0, 0.6])
    assert cards(with_card(light)) == ()


def test_a_disc_and_a_strip_are_no_cards() -> None:
    y, x = np.mgrid[0:400, 0:600]
    ground = scene(GREY * 0 + 0.15 * np.array([0.6, 1.0, 0.7]))
    disc = np.where(np.hypot(x - 300, y - 200) < 60, GREY[:, None, None], ground)
    strip = np.where((abs(x - 300) < 200) & (abs(y - 200) < 20), GREY[:, None, None], ground)
    square = np.where((abs(x - 300) < 60) & (abs(y - 200) < 60), GREY[:, None, None], ground)
    assert [len(cards(with_card(light))) for light in (disc, strip, square)] == [0, 0, 1]


@pytest.mark.parametrize(("side", "count"), [(8, 0), (40, 1), (260, 0)])
def test_size_is_that_of_a_card(side: int, count: int) -> None:
    light = np.full((3, 400, 600), 0.3) * np.array([0.6, 1.0, 0.7])[:, None, None]
    light[:, 60 : 60 + side, 80 : 80 + side] = GREY[:, None, None]
    assert len(cards(with_card(light))) == count
    assert AREA[0] < 100 * 40 * 40 / 240_000 < AREA[1] < 100 * 260 * 260 / 240_000


def test_specks_of_dust_do_not_cut_the_card() -> None:
    light = scene(GREY)
    for y, x in ((170, 180), (200, 240)):
        light[:, y : y + 4, x : x + 4] *= 0.5
    (card,) = cards(with_card(light))
    assert area(corners(card.box)) > 0.65 * area(corners(CARD))


def test_the_most_neutral_of_several_comes_first_and_no_more_than_a_few() -> None:
    light = np.full((3, 400, 600), 0.3) * np.array([0.6, 1.0, 0.7])[:, None, None]
    for number in range(5):
        grey = camera_light((50.0, 2.0 * number, 0.0), DAYLIGHT, "two")
        light[:, 60:120, 40 + 110 * number : 100 + 110 * number] = grey[:, None, None]
    found = cards(with_card(light))
    assert len(found) == MOST
    assert [card.chroma for card in found] == pytest.approx([0.0, 2.0, 4.0], abs=0.4)


def test_a_frame_that_cannot_tell_what_is_burnt_has_none() -> None:
    frame = with_card()
    unknown = Saturation(colour="B", level=None, source="unknown")
    assert cards(replace(frame, saturation=(*frame.saturation[:2], unknown))) == ()


def test_a_tiny_frame_has_none() -> None:
    assert cards(frame_from_rendered(np.full((8, 8, 3), 0.3))) == ()


FIELDS = {
    # rows of grey fields, left, top, right, bottom, read off the pictures
    "jpg_chart_g2.jpg": (0.04, 0.66, 0.93, 0.86),
    "ps_g2_0304.crw": (0.06, 0.66, 0.94, 0.86),
    "ps_s40_0101.crw": (0.06, 0.63, 0.92, 0.83),
    "jpg_rot6_5d3.jpg": (0.23, 0.25, 0.36, 0.76),
    "jpg_adobergb_350d.jpg": (0.74, 0.03, 0.95, 0.97),
}


@pytest.mark.captures
@pytest.mark.parametrize("name", FIELDS)
def test_of_a_real_chart_the_grey_fields_are_found_and_no_coloured_one(captures: Path, name: str) -> None:
    left, top, right, bottom = FIELDS[name]
    found = cards(open_frame(captures / name))
    assert len(found) == MOST
    for card in found:
        assert inside(corners(card.box), corners((left, top, right - left, bottom - top)))


@pytest.mark.captures
@pytest.mark.parametrize("name", ["orient_l1.jpg", "orient_l6.jpg", "cinema_gbrg_ljpeg.dng", "ps_s40_0117.crw"])
def test_a_real_picture_without_a_card_has_none(captures: Path, name: str) -> None:
    assert cards(open_frame(captures / name)) == ()
