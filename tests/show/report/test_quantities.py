from __future__ import annotations

import math
from pathlib import Path

import plotly.graph_objects as go
import pytest

from qc.reading import Level
from qc.series.wrap import sheets_of
from qc.show.curve import scale_of
from qc.show.report.frames import frames_of
from qc.show.report.plots import SYMBOLS, figures, library
from qc.show.report.quantities import Quantity, quantities
from tests.show.report.made import all_specs, burnt, captured, day_of, logged, truncated


@pytest.fixture
def out(tmp_path: Path) -> Path:
    captures = [captured(1), captured(2, causes=[burnt(0.4)], area=0.4), captured(3, headroom=None), truncated(4)]
    return logged(tmp_path / "bottles.qc", captures)


def told(out: Path) -> dict[str, Quantity]:
    day = day_of(out)
    return {quantity.key: quantity for quantity in quantities(day, sheets=sheets_of(day), specs=all_specs())}


def test_a_frame_has_its_number_or_the_reason_why_not(out: Path) -> None:
    headroom = told(out)["headroom"]
    assert headroom.unit == "stops"
    said = [(number.value, number.said, number.why) for number in headroom.numbers.values()]
    assert said == [
        (0.51, "0.51", ""),
        (0.52, "0.52", ""),
        (None, "", "nothing is left unclipped"),
        (None, "", ""),
    ]


def test_sharpness_is_that_of_the_worst_sharp_zone(out: Path) -> None:
    blur = told(out)["blur"]
    assert (blur.title, blur.unit) == ("Blur in the worst sharp zone", "px")
    first = next(iter(blur.numbers.values()))
    assert (first.value, first.where) == (0.8, "label")


def test_level_of_light_is_in_stops_of_full_scale(out: Path) -> None:
    level = told(out)["light"]
    assert [round(number.value or 0.0, 3) for number in level.numbers.values()] == [-2.0] * 3  # tiles of 0.25


def test_what_no_frame_has_is_not_plotted(out: Path) -> None:
    assert list(told(out)) == ["headroom", "burnt", "blur", "light"]


def test_plotly_takes_the_figures_and_points_tell_levels_by_shape(out: Path) -> None:
    day = day_of(out)
    sheets = sheets_of(day)
    frames = list(frames_of(day, out, sheets=sheets, specs=all_specs(), put=lambda _name, _data: None))
    made = figures(quantities(day, sheets=sheets, specs=all_specs()), frames)
    for figure in made:
        checked = go.Figure(data=figure["data"], layout=figure["layout"])  # refuses what Plotly does not know
        (trace,) = checked.data
        assert len(trace.x) == len(trace.y) == len(trace.customdata) > 0
    clipping = made[1]["data"][0]
    assert clipping["customdata"] == [frame.mark for frame in frames[:3]]
    assert clipping["marker"]["symbol"] == ["circle-open", "triangle-up", "circle-open"]


def test_every_level_has_a_shape_and_worse_ones_are_larger() -> None:
    assert set(SYMBOLS) == set(Level)
    order = (Level.CLEAR, Level.NOTE, Level.WARN, Level.HALT)
    assert len({SYMBOLS[level][0] for level in order}) == 4
    sizes = [SYMBOLS[level][1] for level in order]
    assert sizes == sorted(sizes)


def test_the_plotting_library_is_one_file_that_names_its_licence() -> None:
    head = library()[:400]
    assert b"plotly.js" in head
    assert b"MIT" in head


def test_a_misfire_does_not_hide_the_days_drift() -> None:
    drift = [0.1 * n for n in range(20)]
    low, high = scale_of([*drift, -12.0])
    assert low < min(drift)
    assert max(drift) < high < 8
    assert low > -12
    assert scale_of([1.0] * 20) == scale_of([]) == (-math.inf, math.inf)


def test_a_point_beyond_the_scale_stands_at_its_edge_and_says_its_own_number(tmp_path: Path) -> None:
    captures = [captured(n, headroom=0.5 + n / 100) for n in range(1, 20)] + [captured(20, headroom=9.0)]
    out = logged(tmp_path / "bottles.qc", captures)
    day = day_of(out)
    sheets = sheets_of(day)
    frames = list(frames_of(day, out, sheets=sheets, specs=all_specs(), put=lambda _name, _data: None))
    figure = figures(quantities(day, sheets=sheets, specs=all_specs()), frames)[0]
    (trace,) = figure["data"]
    assert figure["beyond"] == 1
    assert trace["y"][-1] == max(trace["y"]) < 2
    assert "9.00 stops" in trace["text"][-1]
