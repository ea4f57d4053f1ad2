from __future__ import annotations

import numpy as np
import pytest

from qc.measure._colour import science
from qc.reading import TileMap, Unit
from qc.show.draw._scale import bar, colours_at, ends, middle_text, scale_colours


def lightness(colours: np.ndarray) -> np.ndarray:
    """L* of sRGB colours by colour-science (CIE 15:2018 by way of IEC 61966-2-1)."""
    white = science().CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(science().XYZ_to_Lab(science().sRGB_to_XYZ(colours), white))[..., 0]


def tile_map(values: object, low: float | None = None, high: float | None = None) -> TileMap:
    return TileMap(name="made.up", unit=Unit.STOPS, values=np.array(values, dtype=np.float32), low=low, high=high)


@pytest.mark.parametrize("count", [5, 17, 33, 100, 256])
def test_lightness_rises_in_even_steps(count: int) -> None:
    steps = np.diff(lightness(scale_colours(count)))
    assert steps == pytest.approx(steps.mean(), rel=0.10)


def test_lightness_rises_in_even_steps_as_an_eight_bit_picture_holds_them() -> None:
    steps = np.diff(lightness(np.rint(scale_colours(17) * 255) / 255))
    assert steps == pytest.approx(steps.mean(), rel=0.10)


def test_the_scale_runs_from_dark_to_light_inside_the_gamut() -> None:
    colours = scale_colours(256)
    assert colours.min() >= 0
    assert colours.max() <= 1
    light = lightness(colours[[0, -1]])
    assert light[0] == pytest.approx(22, abs=0.2)
    assert light[1] == pytest.approx(90, abs=0.2)


def test_no_colour_of_the_scale_can_be_taken_for_the_grey_picture() -> None:
    white = science().CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    lab = science().XYZ_to_Lab(science().sRGB_to_XYZ(scale_colours(64)), white)
    assert np.hypot(lab[:, 1], lab[:, 2]).min() > 30


def test_beyond_the_ends_is_the_end() -> None:
    assert np.array_equal(colours_at(np.array([-3.0, 7.0])), scale_colours(2))


@pytest.mark.parametrize(
    ("values", "low", "high", "expected"),
    [
        ([[1.0, 2.0, 3.0]], 0.0, 5.0, (0.0, 5.0)),
        ([np.linspace(0, 100, 101)], None, None, (2.0, 98.0)),
        ([np.linspace(0, 100, 101)], 0.0, None, (0.0, 98.0)),
        ([[np.nan, np.nan]], None, None, (0.0, 1.0)),
        ([[4.0, 4.0, np.nan]], None, None, (3.6, 4.4)),
        ([[-7.0]], None, None, (-7.7, -6.3)),
        ([[0.0, 0.0]], None, None, (-0.001, 0.001)),
    ],
)
def test_the_ends_are_the_maps_own_or_taken_from_its_values(
    values: list[object], low: float | None, high: float | None, expected: tuple[float, float]
) -> None:
    assert ends(tile_map(values, low, high))[:2] == pytest.approx(expected)


@pytest.mark.parametrize("span", [1e-4, 0.03, 0.7, 1.0, 4.2, 35.0, 6000.0])
def test_end_labels_are_true_and_short(span: float) -> None:
    low, high, decimals = ends(tile_map([np.linspace(1.2345678, 1.2345678 + span, 400)]))
    assert float(f"{low:.{decimals}f}") == low
    assert float(f"{high:.{decimals}f}") == high
    assert high - low == pytest.approx(span * 0.96, rel=0.12)


def test_the_bar_shows_the_whole_scale_and_can_be_turned_round() -> None:
    some = tile_map([[0.0, 1.0]], 0.0, 1.0)
    usual, turned = bar(some, 1000), bar(some, 1000, bright="low")
    top = usual[5]
    coloured = np.flatnonzero(np.ptp(top.astype(int), axis=1) > 30)
    first, last = top[coloured[0]], top[coloured[-1]]
    assert np.abs(first - scale_colours(2)[0] * 255).max() <= 3
    assert np.abs(last - scale_colours(2)[1] * 255).max() <= 3
    assert np.array_equal(turned[5][coloured[0]], last)


@pytest.mark.parametrize(
    ("low", "high", "decimals", "text"),
    [
        (4.8, 13.2, 1, "9.0"),
        (0.0, 2.5, 1, "1.25"),
        (0.0, 14.0, 0, "7"),
        (0.0, 15.0, 0, "7.5"),
        (-0.3, 0.3, 1, "0.0"),
    ],
)
def test_the_middle_of_the_scale_is_said_as_exactly_as_its_ends(
    low: float, high: float, decimals: int, text: str
) -> None:
    assert middle_text(low, high, decimals) == text
