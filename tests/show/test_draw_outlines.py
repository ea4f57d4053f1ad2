from __future__ import annotations

import cv2
import numpy as np
import pytest

from qc.reading import Region
from qc.sheet.zones import Zone
from qc.show.draw._canvas import Picture, PlateBox, blank, draw_zones, grey_picture, overlap, plate
from qc.show.draw._lines import Style, stroke, to_pixels
from qc.show.draw.outlines import BURNT, PARTLY, PLAIN, draw_outlines, look_of, percent
from qc.show.palette import RGB
from tests.show.pictures_of import CAPTION, coloured, digest_of


def region(
    colours: str = "RGB", box: tuple[float, float, float, float] = (0.4, 0.3, 0.2, 0.3), what: str = "burnt"
) -> Region:
    left, top, wide, high = box
    turn = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    outline = np.stack([left + wide / 2 * (1 + np.cos(turn)), top + high / 2 * (1 + np.sin(turn))], axis=-1)
    return Region(
        what=what,
        box=box,
        area=100 * np.pi / 4 * wide * high,
        colours=colours,
        outline=tuple(map(tuple, outline.tolist())),
    )


def where_drawn(drawing: np.ndarray, hue: RGB, *, rows: slice) -> np.ndarray:
    near = np.abs(drawing[rows].astype(int) - hue).max(axis=2) < 12
    return np.argwhere(near)


def test_an_outline_lies_on_its_region_within_a_pixel_of_the_preview() -> None:
    digest = digest_of(shape=(1067, 1600), regions=(region(),))
    drawing = draw_outlines(digest, digest.regions, caption=CAPTION)
    top = int(np.flatnonzero((drawing[:, 30] == 72).all(axis=1))[0])
    body = drawing[top : top + 1067, 24:-24]
    points = where_drawn(body, BURNT, rows=slice(None)).astype(float)
    y, x = (points[:, 0] + 0.5) / 1067, (points[:, 1] + 0.5) / 1600
    inside_label = (x > 0.602) & (np.abs(y - 0.45) < 0.03)
    u, v = (x - 0.5) * 1600, (y - 0.45) * 1067
    off = np.hypot(u / 160, v / 160.05) * 160 - 160
    assert (~inside_label).sum() > 800
    assert np.abs(off[~inside_label]).max() <= 1.6  # half the line's own width and a pixel


@pytest.mark.parametrize(
    ("found", "colours", "style"),
    [
        ("RGB", "RGB", "solid"),
        ("RGBE", "RGBE", "solid"),
        ("L", "L", "solid"),
        ("RG", "RGB", "dashed"),
        ("RGB", "RGBE", "dashed"),
        ("G", "RGB", "dotted"),
    ],
)
def test_the_line_tells_how_many_colours_are_clipped_and_its_hue_whether_it_is_burnt(
    found: str, colours: str, style: Style
) -> None:
    assert look_of(region(found, what="burnt"), colours) == (BURNT, style)
    assert look_of(region(found, what="clipped"), colours) == (PARTLY, style)


def test_a_place_without_colours_has_a_line_of_its_own() -> None:
    assert look_of(region("", what="ambient"), "RGB") == (PLAIN, "solid")


def test_the_key_names_each_kind_of_line_there_is() -> None:
    heights = []
    for regions in (
        (),
        (region(),),
        (region(), region("R")),
        (region(), region("R"), region("R", what="clipped")),
    ):
        heights.append(draw_outlines(digest_of(), regions, caption=CAPTION).shape[0])
    assert heights[0] == heights[1] < heights[2] < heights[3]


def test_small_places_are_not_all_labelled(monkeypatch: pytest.MonkeyPatch) -> None:
    texts: list[str] = []

    def remember(picture: Picture, text: str, at: tuple[int, int], colour: RGB) -> PlateBox:
        texts.append(text)
        return plate(picture, text, at, colour)

    monkeypatch.setattr("qc.show.draw.outlines.plate", remember)
    small = [region("G", (0.1 * x, 0.1 * y, 0.005, 0.005)) for x in range(1, 8) for y in range(1, 5)]
    draw_outlines(digest_of(), (*small, region()), caption=CAPTION)
    assert len(texts) == 4
    assert "4.71 %" in texts


@pytest.mark.parametrize(
    ("style", "low", "high"), [("solid", 1.0, 1.0), ("dashed", 0.5, 0.75), ("dotted", 0.2, 0.5)]
)
def test_styles_differ_in_how_much_of_the_line_is_drawn(style: Style, low: float, high: float) -> None:
    image = blank(40, 1000)
    stroke(image, np.array([[10.0, 20.0], [990.0, 20.0]]), (255, 255, 255), style=style, closed=False)
    share = (image[20, 12:988, 0] > 128).mean()
    assert low <= share <= high


def test_nothing_is_filled() -> None:
    digest = digest_of(regions=(region("RGB"), region("RG", (0.05, 0.05, 0.2, 0.2))))
    drawing = draw_outlines(digest, digest.regions, caption=CAPTION)
    plain = grey_picture(digest)
    filled = cv2.erode(coloured(drawing).astype(np.uint8), np.ones((7, 7), dtype=np.uint8))
    assert filled.sum() == 0
    assert plain[0, 0, 0] in drawing[drawing.shape[0] // 2, drawing.shape[1] // 2]


@pytest.mark.parametrize("grey", [0, 90, 255])
def test_an_outline_reads_on_any_ground(grey: int) -> None:
    digest = digest_of(regions=(region(),), grey=grey)
    drawing = draw_outlines(digest, digest.regions, caption=CAPTION)
    assert len(where_drawn(drawing, BURNT, rows=slice(100, 1200))) > 500


def test_a_region_without_outline_is_shown_by_its_box() -> None:
    bare = Region(what="ambient", box=(0.2, 0.2, 0.5, 0.5), area=25.0)
    digest = digest_of(regions=(bare,))
    drawing = draw_outlines(digest, digest.regions, caption=CAPTION)
    assert len(where_drawn(drawing, PLAIN, rows=slice(100, 1150))) > 2000


def test_many_regions_never_write_their_areas_over_each_other(monkeypatch: pytest.MonkeyPatch) -> None:
    places: list[PlateBox] = []

    def remember(picture: Picture, text: str, at: tuple[int, int], colour: RGB) -> PlateBox:
        places.append(plate(picture, text, at, colour))
        return places[-1]

    monkeypatch.setattr("qc.show.draw.outlines.plate", remember)
    rng = np.random.default_rng(4)
    many = tuple(region("G", (x, y, 0.02, 0.02)) for x, y in rng.random((40, 2)) * 0.6)
    draw_outlines(digest_of(regions=many), many, caption=CAPTION)
    assert len(places) > 8
    for number, (x, y, wide, high) in enumerate(places):
        for u, v, across, down in places[:number]:
            assert x + wide <= u or u + across <= x or y + high <= v or v + down <= y


def test_zones_are_drawn_with_their_names() -> None:
    digest = digest_of()
    zone = Zone.from_box("label", "protect", (0.3, 0.3, 0.4, 0.4))
    without = draw_outlines(digest, (), caption=CAPTION)
    with_zone = draw_outlines(digest, (), caption=CAPTION, zones=(zone,))
    changed = np.argwhere((with_zone != without).any(axis=2))
    high, wide = changed.max(axis=0) - changed.min(axis=0)
    assert wide == pytest.approx(0.4 * 1600, abs=6)
    assert high == pytest.approx(0.4 * 1067, abs=6)


def test_a_zone_half_outside_the_picture_does_no_harm() -> None:
    digest = digest_of()
    zones = [
        Zone.from_box("far " * 90, "sharp", (x, y, 0.5, 0.5)) for x, y in ((-0.3, -0.2), (0.9, 0.9), (2.0, 3.0))
    ]
    drawing = draw_outlines(digest, (), caption=CAPTION, zones=zones)
    assert drawing.dtype == np.uint8


@pytest.mark.parametrize(("area", "text"), [(12.871, "12.87 %"), (0.006, "0.01 %"), (0.0004, "0.0004 %")])
def test_areas_are_written_in_two_decimals_and_small_ones_in_four(area: float, text: str) -> None:
    assert percent(area) == text


def test_fractions_of_the_picture_become_pixels_with_their_centres_at_integers() -> None:
    assert to_pixels([(0.0, 0.0), (0.5, 0.5), (1.0, 1.0)], blank(100, 200)).tolist() == [
        [-0.5, -0.5],
        [99.5, 49.5],
        [199.5, 99.5],
    ]


def test_names_of_zones_that_share_a_corner_do_not_cover_each_other() -> None:
    picture = grey_picture(digest_of())
    zones = [
        Zone.from_box(name, "sharp", (0.3, 0.3, 0.2, 0.2)) for name in ("label", "print", "stamp", "edge", "foil")
    ]
    places = draw_zones(picture, zones)
    for number, box in enumerate(places):
        assert not any(overlap(box, other) for other in places[:number])
