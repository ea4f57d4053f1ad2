from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from qc.digest import Digest
from qc.measure import specs
from qc.reading import Level, Region, TileMap, Unit
from qc.result import Cause, Result, Verdict
from qc.series.entry import Standing
from qc.series.findings import ORIGIN
from qc.sheet.zones import Role, Zone
from qc.show.lines import WIDE, high_of
from qc.show.mark import MOST, mark_of
from tests.show.report.made import captured

SPECS = specs()
SIZE = (1200, 800)
SVG = "{http://www.w3.org/2000/svg}"
LABEL = Zone.from_box("label", Role.PROTECT, (0.3, 0.3, 0.2, 0.3))
SWEEP = Zone.from_box("sweep", Role.BACKDROP, (0.0, 0.0, 1.0, 0.2))
Box = tuple[float, float, float, float]


def cause(reading: str, zone: str | None = None, *, limit: float | None = 0.2, origin: str = "sheet") -> Cause:
    return Cause(reading=reading, zone=zone, level=Level.HALT, limit=limit, origin=origin, text="as said")


def standing(first: Cause | None, data: Mapping[str, Any] | None = None) -> Standing:
    causes = () if first is None else (first, cause("highlights.clipped_area"))
    return Standing(content="blake2b:01", level=Level.HALT, causes=causes, data=data or {})


def burnt(box: Box, area: float = 0.0, colours: str = "RGB", what: str = "burnt") -> Region:
    return Region(what=what, box=box, area=area or 100 * box[2] * box[3], colours=colours)


def result(regions: Sequence[Region] = (), maps: Sequence[TileMap] = ()) -> Result:
    digest = Digest(
        preview=np.full((80, 120), 90, dtype=np.uint8),
        colours="RGB",
        tile_means=np.full((3, 8, 12), 0.25, dtype=np.float32),
        maps=tuple(maps),
        regions=tuple(regions),
        region_readings=("highlights.clipped_area",) * len(regions),
        full_size=SIZE,
    )
    return replace(captured(1).result, digest=digest, regions=())


def mark(
    first: Cause | None,
    of: Result | None = None,
    zones: Sequence[Zone] = (),
    *,
    data: Mapping[str, Any] | None = None,
    size: tuple[int, int] = SIZE,
    test: Result | None = None,
) -> bytes | None:
    return mark_of(of or result(), standing(first, data), zones, SPECS, size, test=test)


def boxes(svg: bytes | None, size: tuple[int, int] = SIZE) -> list[Box]:
    """Return left, top, right, bottom of each line in fractions of the picture."""
    assert svg is not None
    found = []
    for path in ET.fromstring(svg).iter(f"{SVG}path"):
        if path.get("class") == "under":
            continue
        points = [tuple(map(float, p.split())) for p in (path.get("d") or "").strip("MZ").split("L")]
        at = np.array(points) / (WIDE, high_of(size))
        found.append((*at.min(axis=0).tolist(), *at.max(axis=0).tolist()))
    return found


def words(svg: bytes | None) -> list[str]:
    assert svg is not None
    return [text.text or "" for text in ET.fromstring(svg).iter(f"{SVG}text")]


def tiles(values: np.ndarray, name: str = "ambient.stops_under", unit: Unit = Unit.STOPS) -> TileMap:
    return TileMap(name=name, unit=unit, values=values.astype(np.float32))


def test_a_cause_of_a_zone_marks_the_zone_with_its_name() -> None:
    svg = mark(cause("sharpness.blur", "label"), zones=(SWEEP, LABEL))
    assert boxes(svg) == [pytest.approx((0.3, 0.3, 0.5, 0.6), abs=0.001)]
    assert words(svg) == ["label"]


def test_what_is_burnt_in_a_zone_has_its_ring_inside_the_zone() -> None:
    inside, elsewhere = burnt((0.35, 0.35, 0.05, 0.1)), burnt((0.7, 0.7, 0.1, 0.1))
    svg = mark(cause("highlights.unintended_area", "label"), result([inside, elsewhere]), (LABEL,))
    zone, ring = boxes(svg)
    assert zone == pytest.approx((0.3, 0.3, 0.5, 0.6), abs=0.001)
    assert ring == pytest.approx((0.335, 0.33, 0.415, 0.47), abs=0.01)
    assert words(svg) == ["label"]


def test_of_a_place_that_reaches_into_a_zone_only_what_lies_in_it_counts_there() -> None:
    svg = mark(cause("highlights.unintended_area", "label"), result([burnt((0.0, 0.4, 0.35, 0.1))]), (LABEL,))
    assert boxes(svg)[1][0] == pytest.approx(0.3, abs=0.02)


def test_unintended_clipping_leaves_out_where_it_was_meant_to_be() -> None:
    regions = [burnt((0.2, 0.02, 0.3, 0.1)), burnt((0.7, 0.7, 0.1, 0.1)), burnt((0.9, 0.5, 0.02, 0.02))]
    svg = mark(cause("highlights.unintended_area"), result(regions), (SWEEP, LABEL))
    assert len(boxes(svg)) == 2
    assert min(box[1] for box in boxes(svg)) > 0.4
    assert words(svg) == ["1.00 %", "0.04 %"]  # largest first
    assert len(boxes(mark(cause("highlights.clipped_area"), result(regions), (SWEEP, LABEL)))) == 3


def test_a_protected_place_within_a_backdrop_counts() -> None:
    protected = Zone.from_box("cap", Role.PROTECT, (0.25, 0.0, 0.1, 0.2))
    svg = mark(cause("highlights.unintended_area"), result([burnt((0.2, 0.05, 0.3, 0.1))]), (SWEEP, protected))
    (ring,) = boxes(svg)
    assert ring == pytest.approx((0.24, 0.03, 0.36, 0.17), abs=0.012)
    assert words(svg) == ["1.00 %"]  # a third of the 3 %


@pytest.mark.parametrize(
    ("reading", "count"),
    [("highlights.burnt_area", 1), ("highlights.clipped_red", 2), ("highlights.clipped_green", 1)],
)
def test_a_reading_of_some_colours_marks_the_places_that_it_counts(reading: str, count: int) -> None:
    regions = [burnt((0.1, 0.1, 0.1, 0.1)), burnt((0.6, 0.6, 0.1, 0.1), colours="R", what="clipped")]
    assert len(boxes(mark(cause(reading), result(regions)))) == count


def test_the_largest_place_alone_is_marked_for_its_own_reading() -> None:
    regions = [burnt((0.1, 0.1, 0.1, 0.1)), burnt((0.6, 0.6, 0.2, 0.2))]
    (ring,) = boxes(mark(cause("highlights.largest_region"), result(regions)))
    assert ring[0] > 0.5


def test_headroom_is_not_where_something_is_burnt() -> None:
    regions = [burnt((0.35, 0.35, 0.05, 0.1))]
    assert mark(cause("highlights.headroom"), result(regions)) is None
    assert len(boxes(mark(cause("highlights.headroom", "label"), result(regions), (LABEL,)))) == 1


def test_a_small_place_has_a_ring_around_it_that_can_be_seen() -> None:
    (left, top, right, bottom) = boxes(
        mark(cause("highlights.clipped_area"), result([burnt((0.5, 0.5, 0.001, 0.001))]))
    )[0]
    assert left < 0.49 < 0.511 < right
    assert top < 0.485 < 0.516 < bottom


def test_places_that_lie_close_together_have_one_ring_and_one_area() -> None:
    regions = [burnt((0.5, 0.5, 0.01, 0.01)), burnt((0.515, 0.5, 0.01, 0.01)), burnt((0.8, 0.8, 0.005, 0.005))]
    svg = mark(cause("highlights.clipped_area"), result(regions))
    assert len(boxes(svg)) == 2
    assert words(svg)[0] == "0.02 %"


def test_of_many_places_the_largest_are_marked() -> None:
    regions = [
        burnt((0.05 + 0.09 * (n % 10), 0.1 + 0.2 * (n // 10), 0.002 + n / 10_000, 0.004)) for n in range(40)
    ]
    rings = boxes(mark(cause("highlights.clipped_area"), result(regions)))
    assert len(rings) == MOST
    assert min(ring[1] for ring in rings) > 0.4  # the rows below hold the larger ones


def test_no_word_hides_another() -> None:
    regions = [burnt((0.4 + n / 20, 0.4 + n / 30, 0.02, 0.02), area=1.0 + n) for n in range(3)]
    svg = mark(cause("highlights.clipped_area"), result(regions))
    assert svg is not None
    places = [(float(t.get("x", 0)), float(t.get("y", 0))) for t in ET.fromstring(svg).iter(f"{SVG}text")]
    assert all(abs(a[1] - b[1]) > 40 or abs(a[0] - b[0]) > 150 for i, a in enumerate(places) for b in places[:i])


@pytest.mark.parametrize("way", ["low", "high"])
def test_a_map_is_marked_where_it_is_worst(way: str) -> None:
    name, unit = ("ambient.stops_under", Unit.STOPS) if way == "low" else ("ambient.colour_shift", Unit.DELTA_E)
    values = np.full((20, 30), 6.0)
    values[4:8, 20:26] = 2.0 if way == "low" else 10.0
    values[15, 3] = 0.0 if way == "low" else 14.0  # one odd tile is no place
    test = result(maps=[tiles(values, name, unit)])
    (ring,) = boxes(mark(cause(name), test=test))
    assert ring == pytest.approx((20 / 30, 4 / 20, 26 / 30, 8 / 20), abs=0.04)


def test_a_cause_that_was_answered_is_marked_where_it_was() -> None:
    halt = cause("highlights.clipped_area")
    of = result([burnt((0.4, 0.4, 0.2, 0.2))])
    of = replace(of, verdict=Verdict(level=Level.HALT, causes=(halt,)))
    note = replace(halt, level=Level.NOTE, text="seen: as said")
    assert boxes(mark(halt, of)) == boxes(mark(note, of)) == boxes(mark(note, of, test=result())) != []


def test_the_worst_place_of_a_test_is_read_from_its_main_map() -> None:
    values = np.full((20, 30), 6.0)
    values[4:8, 20:26] = 2.0
    svg = mark(cause("ambient.worst_stops_under"), test=result(maps=[tiles(values)]))
    assert len(boxes(svg)) == 1


def test_what_is_too_dark_to_be_judged_is_not_the_worst_place() -> None:
    values = np.full((8, 12), 6.0)
    values[1:4, 1:4], values[5:7, 8:11] = 1.0, 3.0
    test = result(maps=[tiles(values)])
    assert test.digest is not None
    light = test.digest.tile_means.copy()
    light[:, 0:4, 0:4] = 0.004
    test = replace(test, digest=replace(test.digest, tile_means=light))
    (ring,) = boxes(mark(cause("ambient.worst_stops_under"), test=test))
    assert ring[0] > 0.5


@pytest.mark.parametrize("values", [np.full((8, 12), 3.0), np.full((8, 12), np.nan)])
def test_a_map_that_is_the_same_all_over_marks_nothing(values: np.ndarray) -> None:
    assert mark(cause("ambient.stops_under"), test=result(maps=[tiles(values)])) is None


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        ("left", (0.0, 0.0, 1 / 3, 1.0)),
        ("right", (2 / 3, 0.0, 1.0, 1.0)),
        ("top", (0.0, 0.0, 1.0, 1 / 3)),
        ("bottom", (0.0, 2 / 3, 1.0, 1.0)),
    ],
)
def test_other_light_on_one_side_marks_that_side(shape: str, expected: Box) -> None:
    changed = cause("light_changed", origin=ORIGIN)
    svg = mark(changed, data={"light_changed": {"stops": -0.8, "shape": shape}})
    assert boxes(svg) == [pytest.approx(expected, abs=0.012)]  # moved in, so that the whole line is seen
    assert words(svg) == [shape]


@pytest.mark.parametrize(
    "first",
    [
        None,
        cause("file.state", limit=None, origin="always"),
        cause("light_changed", origin=ORIGIN),
        cause("no_flash", limit=None, origin=ORIGIN),
        cause("settings_changed", limit=None, origin=ORIGIN),
        cause("all_burnt", limit=None, origin="always"),
        cause("sharpness.blur", "a zone of another sheet"),
    ],
)
def test_what_is_the_whole_picture_or_no_place_is_not_marked(first: Cause | None) -> None:
    whole = {"light_changed": {"stops": -0.8, "shape": "whole"}}
    assert mark(first, result([burnt((0.5, 0.5, 0.1, 0.1))]), (LABEL,), data=whole) is None


def test_a_picture_that_is_all_burnt_has_no_place() -> None:
    assert mark(cause("highlights.clipped_area"), result([burnt((0.0, 0.0, 1.0, 1.0))])) is None


def test_a_number_that_could_not_be_read_marks_its_zone_and_nothing_burnt() -> None:
    unread = cause("highlights.unintended_area", "label", limit=None)
    of = result([burnt((0.35, 0.35, 0.05, 0.1))])
    assert len(boxes(mark(unread, of, (LABEL,)))) == 1
    assert mark(cause("highlights.unintended_area", limit=None), of) is None


def test_a_first_look_without_a_digest_marks_the_places_it_has() -> None:
    early = replace(captured(1).result, digest=None, regions=(burnt((0.5, 0.5, 0.1, 0.1)),))
    assert len(boxes(mark(cause("highlights.clipped_area"), early))) == 1


def test_every_line_is_broad_on_a_dark_one_and_keeps_its_part_of_the_picture() -> None:
    def widths(size: tuple[int, int]) -> set[tuple[str | None, str | None]]:
        svg = mark(cause("sharpness.blur", "label"), zones=(LABEL,), size=size)
        assert svg is not None
        paths = list(ET.fromstring(svg).iter(f"{SVG}path"))
        assert not any(path.get("vector-effect") for path in paths)
        return {(path.get("class"), path.get("stroke-width")) for path in paths}

    assert widths((1200, 800)) == {("under", "13.0"), (None, "6.0")}
    assert widths((800, 1200)) == {("under", "19.5"), (None, "9.0")}  # shown as tall as the other is wide


@pytest.mark.parametrize("name", ['</text><script>alert("1")</script>', "n" * 400, "label\x1b[31m"])
def test_a_zone_of_any_name_is_text_that_fits(name: str) -> None:
    zone = Zone.from_box(name, Role.SHARP, (0.8, 0.1, 0.2, 0.3))
    svg = mark(cause("sharpness.blur", name), zones=(zone,))
    assert svg is not None
    root = ET.fromstring(svg)
    (text,) = root.iter(f"{SVG}text")
    assert len(text.text or "") <= 22
    assert 0 < float(text.get("x", 0)) < WIDE
    assert not list(root.iter(f"{SVG}script"))
    assert b"style" not in svg  # a page may forbid styles that are not its own


def test_no_word_is_a_coordinate() -> None:
    svg = mark(cause("highlights.unintended_area", "label"), result([burnt((0.35, 0.35, 0.05, 0.1))]), (LABEL,))
    assert words(svg) == ["label"]
