"""What is offered as zones: each makes a valid zone, and what was found lies inside it."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from qc.decode import open_frame
from qc.digest import Digest
from qc.frame import Frame
from qc.measure.highlights import SPEC as HIGHLIGHTS
from qc.pages.drawing.around import MOST_CORNERS, is_simple
from qc.pages.drawing.found import LEAST_BURNT, MOST_BURNT, Found, found
from qc.pipeline import measure_capture
from qc.reading import Box, Reading, Region, TileMap, Unit
from qc.rehearse.scene import BEHIND
from qc.rehearse.shot import Shot
from qc.rehearse.studio import ALL_HEADS, LABEL_Z, Studio
from qc.result import Result
from qc.sheet.brief import Brief
from qc.sheet.read import parse_sheet
from qc.sheet.zones import Role, Zone

GLARING = {"key": 2.5, "spot": 2.5}


@dataclass(frozen=True)
class Capture:
    studio: Studio
    shot: Shot
    frame: Frame
    result: Result

    @property
    def places(self) -> tuple[Found, ...]:
        return found(self.frame, self.result)


Take = Callable[..., Capture]


@pytest.fixture(scope="module")
def take(tmp_path_factory: pytest.TempPathFactory) -> Take:
    """Takes a frame of the rehearsed set and measures it, once."""
    folder = tmp_path_factory.mktemp("set")

    @cache
    def taken(orientation: int = 1) -> Capture:
        return _taken(Studio(size=(500, 750), orientation=orientation), folder / f"SB_000{orientation}.dng")

    return taken


def _taken(studio: Studio, path: Path, *, heads: Mapping[str, float] = GLARING, focus: float = LABEL_Z) -> Capture:
    shot = studio.frame(heads=heads, focus=focus)
    shot.write(path)
    return Capture(studio, shot, open_frame(path), measure_capture(path))


def zone_of(place: Found) -> Zone:
    """The zone as a sheet that it is written into reads it."""
    where = f"box = {list(place.box)}" if place.box else f"points = {[list(p) for p in place.points or ()]}"
    budget = "" if place.budget is None else f"budget = {place.budget}\n"
    (zone,) = parse_sheet(f'[[zone]]\nname = "{place.name}"\nrole = "{place.role}"\n{where}\n{budget}').zones
    return zone


def check_valid(places: Sequence[Found]) -> None:
    assert len({place.name for place in places}) == len(places)
    for place in places:
        assert (place.box is None) != (place.points is None)
        zone = zone_of(place)
        assert (zone.name, zone.role, zone.budget) == (place.name, place.role, place.budget)
        assert place.why
        numbers = np.array(place.points if place.points else place.box)
        assert (numbers == np.round(numbers, 4)).all()
        if place.points:
            assert len(place.points) <= MOST_CORNERS
            assert is_simple(np.array(place.points))
    assert len(json.loads(json.dumps([asdict(place) for place in places]))) == len(places)


def of(places: Sequence[Found], what: str) -> list[Found]:
    return [place for place in places if place.what == what]


@pytest.mark.parametrize("orientation", range(1, 9))
def test_every_place_of_a_rehearsed_set_makes_a_zone_however_the_camera_is_held(
    take: Take, orientation: int
) -> None:
    places = take(orientation).places
    check_valid(places)
    assert {place.what for place in places} >= {"burnt", "grey", "even"}
    roles = {"burnt": Role.ALLOW, "sharp": Role.SHARP, "grey": Role.PATCH, "even": Role.BACKDROP}
    assert all(place.role is roles[place.what] for place in places)


@pytest.mark.parametrize("orientation", [1, 6])
def test_all_that_is_burnt_lies_in_the_zones_and_within_their_budgets(take: Take, orientation: int) -> None:
    capture = take(orientation)
    zones = [zone_of(place) for place in of(capture.places, "burnt")]
    burnt = capture.shot.truth.clipped().any(axis=0)
    inside = np.zeros_like(burnt)
    for zone in zones:
        inside |= zone.mask(burnt.shape, orientation)
    assert burnt.mean() > 0.005
    # what is left are specks too small to be offered
    assert 100 * (burnt & ~inside).mean() < LEAST_BURNT * len(zones)
    measured = {(r.name, r.zone): r.value for r in HIGHLIGHTS(capture.frame, zones=zones, brief=Brief()).readings}
    for zone in zones:
        area = measured["highlights.intended_area", zone.name]
        assert area is not None
        assert zone.budget is not None
        assert 0 < area <= zone.budget


def test_the_zones_leave_free_most_of_what_is_not_burnt(take: Take) -> None:
    capture = take()
    burnt = capture.shot.truth.clipped().any(axis=0)
    zones = [zone_of(place) for place in of(capture.places, "burnt")]
    assert sum(zone.mask(burnt.shape, 1).mean() for zone in zones) < 10 * burnt.mean()


@pytest.mark.parametrize("orientation", [1, 7])
@pytest.mark.parametrize("focus", [LABEL_Z, BEHIND.z])
def test_the_sharp_place_is_sharp(tmp_path: Path, focus: float, orientation: int) -> None:
    studio = Studio(size=(1000, 1500), orientation=orientation)
    capture = _taken(studio, tmp_path / "SB_0001.dng", heads=ALL_HEADS, focus=focus)
    (place,) = of(capture.places, "sharp")
    check_valid([place])
    best = capture.result.reading("sharpness.best_blur")
    assert best is not None
    assert best.value is not None
    # a quarter of what lies there at least: tiles reach over the rim of a thing onto what is far behind
    bar = max(1.3 * best.value, best.value + 0.3)
    assert capture.shot.truth.blur(zone_of(place), share=25.0) <= bar


@pytest.mark.parametrize("orientation", [1, 8])
def test_the_card_and_the_wall_of_the_set_are_found(take: Take, orientation: int) -> None:
    capture = take(orientation)
    (card,) = of(capture.places, "grey")
    (wall,) = of(capture.places, "even")
    true = capture.studio.zone("grey card")
    shape = (500, 750) if orientation < 5 else (750, 500)
    both = zone_of(card).mask(shape, orientation) & true.mask(shape, orientation)
    assert both.sum() > 0.8 * true.mask(shape, orientation).sum()
    assert card.name == "card"
    assert wall.name == "backdrop"


GREY = np.full((3, 24, 36), 0.01, dtype=np.float32)


def outline(box: Box) -> tuple[tuple[float, float], ...]:
    left, top, width, height = box
    return (left, top), (left + width, top), (left + width, top + height), (left, top + height)


def burnt(left: float, top: float, width: float = 0.02, height: float = 0.03, area: float | None = None) -> Region:
    box = (left, top, width, height)
    area = 100 * width * height if area is None else area
    return Region(what="clipped", box=box, area=area, outline=outline(box))


def offered(take: Take, *regions: Region, blur: str = "", best: float | None = 1.0) -> tuple[Found, ...]:
    """What is offered of a dim picture with such regions, and tiles of blur 1 (#), 4 (o) or none (.)."""
    signs = {"#": 1.0, "o": 4.0, ".": np.nan}
    tiles = np.array([[signs[sign] for sign in line] for line in blur.split()], dtype=np.float32)
    tile_map = TileMap(name="sharpness.blur", unit=Unit.PIXELS, values=tiles)
    digest = Digest(
        preview=np.zeros((8, 12), dtype=np.uint8),
        colours="RGB",
        tile_means=GREY,
        maps=(tile_map,) if blur else (),
        regions=regions,
        full_size=(1200, 800),
    )
    readings = [] if best is None else [Reading(name="sharpness.best_blur", unit=Unit.PIXELS, value=best)]
    capture = take()
    places = found(capture.frame, replace(capture.result, digest=digest, readings=tuple(readings)))
    check_valid(places)
    return tuple(place for place in places if place.what != "grey")


def holds(place: Found, box: Box) -> bool:
    shape = (400, 600)
    own = zone_of(place).mask(shape, 1)
    return bool(own[Zone.from_box("burnt", Role.ALLOW, box).mask(shape, 1)].all())


def test_burnt_places_near_each_other_are_one_and_far_ones_are_not(take: Take) -> None:
    near, beside, far = burnt(0.1, 0.1), burnt(0.13, 0.1), burnt(0.7, 0.7)
    places = offered(take, near, beside, far)
    assert [place.name for place in places] == ["highlight 1", "highlight 2"]
    assert holds(places[0], near.box)
    assert holds(places[0], beside.box)
    assert holds(places[1], far.box)
    assert places[0].budget == pytest.approx(0.17)  # 0.12 % and 0.05 more
    assert places[0].why == "burnt 0.12 % of the picture in 2 places"


def test_only_the_largest_burnt_places_are_offered_and_no_speck(take: Take) -> None:
    many = [burnt(0.1 * n, 0.8, height=0.01 + 0.005 * n) for n in range(9)]
    places = offered(take, *many, burnt(0.5, 0.1, 0.001, 0.001))
    assert len(places) == MOST_BURNT
    assert [holds(place, region.box) for place, region in zip(places, many[::-1], strict=False)] == [True] * 6
    assert offered(take, burnt(0.5, 0.1, 0.001, 0.001)) == ()


def test_a_burnt_place_in_the_middle_says_that_it_may_not_be_meant(take: Take) -> None:
    (middle,), (corner,) = offered(take, burnt(0.5, 0.5)), offered(take, burnt(0.05, 0.05))
    assert middle.role is corner.role is Role.ALLOW
    assert middle.why.endswith("in the middle: allow it only if it is meant")
    assert "middle" not in corner.why


@pytest.mark.parametrize("box", [(0.0, 0.0, 0.1, 0.1), (0.95, 0.4, 0.05, 0.2), (0.0, 0.0, 1.0, 1.0)])
def test_what_is_burnt_up_to_the_rim_is_held_up_to_the_rim(take: Take, box: Box) -> None:
    (place,) = offered(take, burnt(*box))
    assert holds(place, box)
    assert place.budget is not None
    assert place.budget <= 100


def test_the_largest_sharp_place_is_outlined_along_its_tiles(take: Take) -> None:
    (place,) = offered(take, blur="........ ..##.... ..##...# ....oo.. ........ ........")
    assert place.points is not None
    xs, ys = np.array(place.points).T
    assert (xs.min(), xs.max(), ys.min(), ys.max()) == pytest.approx((2 / 8, 4 / 8, 1 / 6, 3 / 6), abs=1e-4)
    assert place.why == "blur up to 1.3 px, as sharp as the picture gets"


def test_a_gap_without_detail_is_bridged_and_a_blurred_one_is_not(take: Take) -> None:
    (bridged,) = offered(take, blur="....... ##.##.. ##.##.. ....... ......o")
    (parted,) = offered(take, blur="..o.... ##o##.# ##o##.. ..o.... ......o")
    assert [np.ptp(np.array(p.points)[:, 0]) for p in (bridged, parted)] == pytest.approx([5 / 7, 4 / 7], abs=1e-3)
    assert np.array(parted.points)[:, 0].min() == pytest.approx(3 / 7, abs=1e-3)


@pytest.mark.parametrize("blur", ["", "........ ..##....", "oooo oooo oooo"])
def test_without_enough_sharp_tiles_nothing_is_called_sharp(take: Take, blur: str) -> None:
    assert offered(take, blur=blur) == ()


def test_a_picture_whose_best_blur_is_not_known_has_no_sharp_place(take: Take) -> None:
    assert offered(take, blur="#### ####", best=None) == ()


def test_a_ragged_sharp_place_is_a_box_of_sharp_tiles(take: Take) -> None:
    (place,) = offered(take, blur="#o#o#o#o#o#o# ############# ############# o#o#o#o#o#o#o")
    assert place.box == pytest.approx((0.0, 0.25, 1.0, 0.5), abs=2e-4)


def test_a_result_without_a_picture_offers_cards_only(take: Take) -> None:
    capture = take()
    places = found(capture.frame, replace(capture.result, digest=None))
    assert [place.what for place in places] == ["grey"]


@pytest.mark.captures
@pytest.mark.parametrize(
    ("name", "what"),
    [
        ("ps_s40_0119.crw", {"burnt", "sharp"}),
        ("ps_g2_0304.crw", {"sharp", "grey"}),
        ("jpg_flash_g2.jpg", {"burnt", "even"}),
        ("orient_l6.jpg", {"burnt"}),
        ("k50_0008L.kdc", {"burnt"}),
    ],
)
def test_what_is_found_in_a_real_capture_makes_zones(captures: Path, name: str, what: set[str]) -> None:
    frame, result = open_frame(captures / name), measure_capture(captures / name)
    places = found(frame, result)
    check_valid(places)
    assert what <= {place.what for place in places}
    assert result.digest is not None
    for region in result.digest.regions:
        if region.area > 0.1:  # the largest six groups hold all of this size here
            own = [zone_of(place).mask((300, 300), 1) for place in of(places, "burnt")]
            box = Zone.from_box("burnt", Role.ALLOW, region.box).mask((300, 300), 1)
            assert any((box & one).any() for one in own)
