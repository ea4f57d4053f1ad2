from __future__ import annotations

import io
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image

from qc.reading import Region, TileMap, Unit
from qc.sheet.zones import Role, Zone
from qc.show.draw._scale import colours_at
from qc.show.layers import arrows_svg, jpeg_of, map_png, outlines_svg, scale_of, zones_svg
from qc.show.lines import PEN, WIDE, Line, around, overlap
from tests.show.report.made import digest

SIZE = (1200, 800)
SVG = "{http://www.w3.org/2000/svg}"


def tile_map(values: list[list[float]], **changes: object) -> TileMap:
    return TileMap(
        name="sharpness.blur",
        unit=Unit.PIXELS,
        values=np.array(values, dtype=np.float32),
        **changes,  # type: ignore[arg-type]  # a test names any field
    )


def pixels(png: bytes) -> np.ndarray:
    return np.asarray(Image.open(io.BytesIO(png)).convert("RGBA"))


@pytest.mark.parametrize("bright", ["high", "low"])
def test_a_map_has_the_colours_of_its_bar_and_holes_where_it_says_nothing(bright: str) -> None:
    drawn = pixels(map_png(tile_map([[0.0, 1.0], [2.0, np.nan]], low=0.0, high=2.0), bright))  # type: ignore[arg-type]
    at = [0.0, 0.5, 1.0] if bright == "high" else [1.0, 0.5, 0.0]
    expected = np.rint(colours_at(np.array(at)) * 255).astype(np.uint8)
    assert np.array_equal(drawn[[0, 0, 1], [0, 1, 0], :3], expected)
    assert drawn[..., 3].tolist() == [[255, 255], [255, 0]]


def test_a_bar_says_its_ends_in_the_unit_and_what_lies_beyond() -> None:
    bar = scale_of(tile_map([[0.0, 1.0], [3.0, np.nan]], low=0.0, high=2.0), "high")
    assert (bar.low, bar.middle, bar.high, bar.unit, bar.gaps) == ("0.0", "1.0", "2.0 or more", "px", True)


def test_a_picture_is_made_smaller_never_larger() -> None:
    data, size = jpeg_of(digest(size=(80, 120)), 60, 80)
    assert size == (60, 40)
    assert Image.open(io.BytesIO(data)).size == size
    assert jpeg_of(digest(size=(80, 120)), 600, 80)[1] == (120, 80)


def test_outlines_tell_by_dashes_how_many_colours_are_clipped() -> None:
    regions = [
        Region(what="burnt", box=(0.1, 0.6, 0.1, 0.1), area=3.0, colours="RGB"),
        Region(what="clipped", box=(0.4, 0.6, 0.1, 0.1), area=2.0, colours="RG"),
        Region(what="clipped", box=(0.7, 0.6, 0.1, 0.1), area=1.0, colours="G"),
    ]
    root = ET.fromstring(outlines_svg(regions, "RGB", SIZE))
    dashes = {path.get("stroke-dasharray") for path in root.iter(f"{SVG}path")}
    assert len(dashes) == 3
    assert {text.text for text in root.iter(f"{SVG}text")} == {"3.00 %", "2.00 %", "1.00 %"}


def test_no_area_hides_another_or_the_name_of_a_zone() -> None:
    rng = np.random.default_rng(1)
    zones = [Zone.from_box("label with a long name", Role.PROTECT, (0.3, 0.3, 0.3, 0.3))]
    regions = [
        Region(what="burnt", box=(float(x), float(y), 0.02, 0.02), area=1.0 + n, colours="RGB")
        for n, (x, y) in enumerate(rng.uniform(0.25, 0.45, (12, 2)))
    ]
    texts = [
        *ET.fromstring(outlines_svg(regions, "RGB", SIZE, zones)).iter(f"{SVG}text"),
        *ET.fromstring(zones_svg(zones, SIZE)).iter(f"{SVG}text"),
    ]
    assert len(texts) > 3
    places = [around(line_of(text), PEN) for text in texts[:-1]]
    assert not any(overlap(a, b) for i, a in enumerate(places) for b in places[:i])


def line_of(text: ET.Element) -> Line:
    return Line(path="", colour="", label=text.text or "", at=(float(text.get("x", 0)), float(text.get("y", 0))))


def test_a_zone_of_any_name_is_text_and_nothing_else() -> None:
    name = '</text><script>alert("1")</script>&amp;'
    root = ET.fromstring(zones_svg([Zone.from_box(name, Role.PROTECT, (0.1, 0.1, 0.2, 0.2))], SIZE))
    assert [text.text for text in root.iter(f"{SVG}text")] == [name]
    assert not list(root.iter(f"{SVG}script"))


def test_an_arrow_lies_along_its_angle_anticlockwise_from_the_right() -> None:
    angles = np.array([[90.0, np.nan]], dtype=np.float32)
    root = ET.fromstring(arrows_svg(tile_map([[2.0, 2.0]], angles=angles, low=0.0, high=2.0), SIZE))
    path = next(root.iter(f"{SVG}path")).get("d", "")
    start, end = (tuple(map(float, part.split())) for part in path.removeprefix("M").split("L"))
    assert start[0] == end[0] == WIDE / 4
    assert start[1] > end[1]
