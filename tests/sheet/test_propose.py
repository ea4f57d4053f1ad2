"""Zones that a picture suggests: what is burnt away from the middle, and an even bright place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.digest import Digest
from qc.reading import Box, Region
from qc.sheet.propose import LEAST_BURNT, MIDDLE, MOST, propose
from qc.sheet.zones import Role

SHAPE = (48, 72)
CORNER = (0.05, 0.1, 0.1, 0.2)


def picture(light: np.ndarray | float = 0.01, *regions: Region) -> Digest:
    grey = np.broadcast_to(np.float32(light), SHAPE).astype(np.float32)
    return Digest(
        preview=np.zeros((8, 12), dtype=np.uint8),
        colours="RGB",
        tile_means=np.stack([grey] * 3),
        regions=regions,
        full_size=(720, 480),
    )


def burnt(area: float, box: Box = CORNER, what: str = "clipped") -> Region:
    return Region(what=what, box=box, area=area, colours="RG")


def test_a_burnt_place_is_proposed_with_room_around_it_and_a_budget_a_little_above_it() -> None:
    (one,) = propose(picture(0.01, burnt(1.3)))
    assert (one.role, one.budget, one.why) == (Role.ALLOW, 1.43, "burnt 1.30 % of the picture here")
    assert one.box == pytest.approx((0.04, 0.09, 0.12, 0.22), abs=0.002)


def test_small_burnt_places_in_the_zone_are_in_its_budget() -> None:
    (one,) = propose(
        picture(0.01, burnt(1.0), burnt(0.03, (0.06, 0.12, 0.01, 0.01)), burnt(0.04, (0.8, 0, 0.1, 0.1)))
    )
    assert (one.why, one.budget) == ("burnt 1.03 % of the picture here", 1.14)


@pytest.mark.parametrize(
    "region",
    [
        burnt(LEAST_BURNT * 0.99),
        burnt(3.0, (0.4, 0.4, 0.1, 0.1)),
        burnt(30.0, (0.0, 0.0, 1.0, 0.9)),
        burnt(3.0, what="ambient"),
    ],
)
def test_what_is_small_or_reaches_into_the_middle_is_not_proposed_as_meant(region: Region) -> None:
    assert propose(picture(0.01, region)) == ()


def test_only_the_largest_are_proposed() -> None:
    found = [burnt(1.0 + n, (0.1 * n, 0.0, 0.05, 0.1)) for n in range(MOST + 3)]
    names = [(one.name, one.why) for one in propose(picture(0.01, *found))]
    assert names[0] == ("highlight 1", f"burnt {MOST + 3:.2f} % of the picture here")
    assert len(names) == MOST


def test_a_sweep_beside_the_product_is_a_backdrop_also_where_it_falls_off() -> None:
    light = np.full(SHAPE, 0.6) * np.linspace(1.0, 0.7, SHAPE[0])[:, None]
    light[10:40, 30:44] = 0.05
    (one,) = propose(picture(light))
    assert (one.name, one.role, one.budget) == ("backdrop", Role.BACKDROP, None)
    left, top, width, height = one.box
    assert (left, top, height) == pytest.approx((0.0, 0.0, 1.0), abs=0.03)
    assert left + width <= 30 / 72
    assert one.why.startswith("bright and even over 4")


@pytest.mark.parametrize(
    "light",
    [
        0.02,
        np.where(np.indices(SHAPE).sum(axis=0) % 2, 0.6, 0.3),
        np.where(np.arange(72) < 6, 0.6, 0.1),
        np.nan,
    ],
    ids=["dark", "rough", "narrow", "nothing known"],
)
def test_dark_rough_and_narrow_pictures_have_no_backdrop(light: np.ndarray | float) -> None:
    assert propose(picture(light)) == ()


Side = tuple[float, float]

sides = st.tuples(st.floats(0, 0.98), st.floats(0.001, 1.0)).map(lambda s: (s[0], min(s[1], 1 - s[0])))


@given(st.lists(st.tuples(sides, sides, st.floats(0.0, 100.0)), max_size=8))
def test_every_proposal_lies_in_the_picture_and_clear_of_the_middle(drawn: list[tuple[Side, Side, float]]) -> None:
    found = [burnt(area, (x, y, w, h)) for (x, w), (y, h), area in drawn]
    for one in propose(picture(0.01, *found)):
        left, top, width, height = one.box
        assert 0 <= left < left + width <= 1
        assert 0 <= top < top + height <= 1
        apart = left + width <= MIDDLE[0] or left >= MIDDLE[0] + MIDDLE[2]
        assert apart or top + height <= MIDDLE[1] or top >= MIDDLE[1] + MIDDLE[3]
        assert one.budget is not None
        assert 0 < one.budget <= 100
