from __future__ import annotations

import math
from collections.abc import Sequence
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from qc.reading import Level
from qc.show.curve import FILLED, HIGH, ROOM, SHAPES, WIDE, Curve, Point, curve_of

SVG = "{http://www.w3.org/2000/svg}"


def drawn(values: Sequence[float | None], *, here: int = 0, levels: Sequence[Level] = ()) -> Curve:
    given = list(levels) or [Level.CLEAR] * len(values)
    curve = curve_of(
        [
            Point(value=value, level=level, text=f"frame {n}", here=n == here)
            for n, (value, level) in enumerate(zip(values, given, strict=True))
        ],
        "Headroom",
    )
    assert curve is not None
    return curve


def spots(curve: Curve) -> dict[str, tuple[float, float]]:
    """Return the place of each frame that has a point, by what is said of it."""
    told = {}
    for path in ET.fromstring(curve.svg).iter(f"{SVG}path"):
        title = path.find(f"{SVG}title")
        if title is not None:
            x, y = (path.get("transform") or "").removeprefix("translate(").rstrip(")").split()
            told[title.text or ""] = (float(x), float(y))
    return told


def shape(curve: Curve, frame: str) -> ET.Element:
    return next(p for p in ET.fromstring(curve.svg).iter(f"{SVG}path") if p.findtext(f"{SVG}title") == frame)


def line(curve: Curve) -> str:
    paths = [path.get("d") or "" for path in ET.fromstring(curve.svg).iter(f"{SVG}path")]
    return next((d for d in paths if "L" in d and "H" not in d and "V" not in d and "Z" not in d), "")


def test_points_stand_evenly_in_their_order_and_as_high_as_their_number() -> None:
    at = spots(drawn([1.0, 2.0, 1.5]))
    assert list(at.values()) == [(ROOM, HIGH - ROOM), (WIDE / 2, ROOM), (WIDE - ROOM, HIGH / 2)]


def test_the_ends_are_said_and_hold_every_number() -> None:
    curve = drawn([0.524, 0.531, 0.547])
    assert (curve.low, curve.high) == ("0.524", "0.547")
    low, high = (float(end.replace("−", "-")) for end in (drawn([-1.234, -2.0]).low, drawn([-1.234, -2.0]).high))
    assert low <= -2.0
    assert high >= -1.234


def test_numbers_that_are_all_the_same_lie_in_the_middle_of_their_scale() -> None:
    curve = drawn([2.0, 2.0])
    assert float(curve.low) < 2.0 < float(curve.high)
    assert all(y == pytest.approx(HIGH / 2, abs=1) for _, y in spots(curve).values())


def test_a_frame_without_a_number_leaves_a_gap() -> None:
    curve = drawn([1.0, 2.0, None, 1.0, 2.0])
    assert set(spots(curve)) == {"frame 0", "frame 1", "frame 3", "frame 4"}
    assert line(curve).count("M") == 2


def test_a_frame_far_beyond_the_others_is_held_at_the_edge_and_counted() -> None:
    drift = [0.1 * n for n in range(20)]
    curve = drawn([*drift, -30.0])
    assert curve.beyond == 1
    assert spots(curve)["frame 20"][1] == HIGH - ROOM
    assert spots(curve)["frame 0"][1] < HIGH - ROOM
    assert "H6" in (shape(curve, "frame 20").get("d") or "")  # the bar outside of it
    assert "H6" not in (shape(curve, "frame 0").get("d") or "")


def test_the_frame_that_is_looked_at_is_ringed() -> None:
    curve = drawn([1.0, 2.0, 3.0], here=1)
    (ring,) = ET.fromstring(curve.svg).iter(f"{SVG}circle")
    assert (float(ring.get("cx", 0)), float(ring.get("cy", 0))) == spots(curve)["frame 1"]
    assert not list(ET.fromstring(drawn([1.0, None, 3.0], here=1).svg).iter(f"{SVG}circle"))


def test_levels_are_told_by_shape_and_worse_ones_lie_above() -> None:
    curve = drawn([1.0, 2.0, 3.0, 4.0], levels=[Level.HALT, Level.CLEAR, Level.WARN, Level.NOTE])
    order = list(spots(curve))
    assert order == ["frame 1", "frame 3", "frame 2", "frame 0"]
    shapes = {shape(curve, f"frame {n}").get("d") for n in range(4)}
    assert len(shapes) == 4
    assert set(SHAPES) == set(Level)
    assert set(FILLED) == {Level.NOTE, Level.WARN, Level.HALT}


@pytest.mark.parametrize("values", [[], [None, None]])
def test_nothing_is_drawn_where_nothing_has_a_number(values: Sequence[float | None]) -> None:
    assert curve_of([Point(value=value, level=Level.CLEAR) for value in values], "Headroom") is None


@pytest.mark.parametrize("scale", [1e-9, 1e-3, 1.0, 1e4, 1e9])
def test_numbers_of_any_size_stay_in_the_drawing(scale: float) -> None:
    rng = np.random.default_rng(1)
    curve = drawn([float(value) for value in rng.normal(0.0, scale, 60)])
    assert all(0 <= x <= WIDE and 0 <= y <= HIGH for x, y in spots(curve).values())
    assert math.isfinite(float(curve.high.replace(" ", "").replace("−", "-")))


def test_the_drawing_holds_no_letters_no_styles_and_no_markup_of_names() -> None:
    curve = curve_of([Point(value=1.0, level=Level.CLEAR, text="<script>x</script>")], 'a "name" & <b>')
    assert curve is not None
    root = ET.fromstring(curve.svg)
    assert not list(root.iter(f"{SVG}text"))
    assert not list(root.iter(f"{SVG}script"))
    assert "style" not in curve.svg
    assert root.get("aria-label") == 'a "name" & <b>'
