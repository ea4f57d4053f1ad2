"""The day as plots over time, for Plotly: figures as plain data, drawn in the browser without a network.

Plotly (MIT) since its Python package carries the whole JavaScript library as one file, which needs nothing else,
tells which point was clicked, and draws axes of time; other such packages bring a data-frame library along.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any, Final

from qc.reading import Level
from qc.show.curve import scale_of
from qc.show.lines import css
from qc.show.palette import LEVELS, QUIET, TEXT
from qc.show.report.frames import Frame
from qc.show.report.quantities import Number, Quantity

SCRIPT: Final = "plotly.min.js"

SYMBOLS: Final[Mapping[Level, tuple[str, int]]] = {
    Level.CLEAR: ("circle-open", 6),
    Level.NOTE: ("square", 7),
    Level.WARN: ("diamond", 9),
    Level.HALT: ("triangle-up", 12),
    Level.UNJUDGED: ("circle-open", 6),
    Level.UNMEASURED: ("x-thin-open", 8),
}
"""Shape and size of a point by the level of its frame: never by colour alone."""

_GRID: Final = "rgba(128,128,128,.28)"


def library() -> bytes:
    """Return Plotly's JavaScript."""
    return files("plotly").joinpath("package_data", SCRIPT).read_bytes()


def figures(told: Sequence[Quantity], frames: Sequence[Frame]) -> list[dict[str, Any]]:
    """Return a figure for each quantity: Plotly's ``data`` and ``layout``, and how many points lie beyond.

    Parameters
    ----------
    told : sequence of Quantity
        What to plot.
    frames : sequence of Frame
        In the order taken; those without a recorded time are not plotted.
    """
    timed = [frame for frame in frames if frame.moment]
    ends = [timed[0].moment, timed[-1].moment] if timed else []
    return [_figure(quantity, timed, ends) for quantity in told]


def _figure(quantity: Quantity, frames: Sequence[Frame], ends: Sequence[str]) -> dict[str, Any]:
    shown = [(frame, quantity.numbers.get(frame.content, Number())) for frame in frames]
    shown = [(frame, number) for frame, number in shown if number.value is not None]
    values = [number.value for _, number in shown if number.value is not None]
    scale = scale_of(values)
    return {
        "key": quantity.key,
        "beyond": sum(not scale[0] <= value <= scale[1] for value in values),
        "data": [_trace(quantity, shown, scale)],
        "layout": _layout(ends),
    }


def _trace(
    quantity: Quantity, shown: Sequence[tuple[Frame, Number]], scale: tuple[float, float]
) -> dict[str, Any]:
    looks = [SYMBOLS[frame.level] for frame, _ in shown]
    return {
        "type": "scatter",
        "mode": "lines+markers",
        "x": [frame.moment for frame, _ in shown],
        "y": [round(min(max(number.value or 0.0, scale[0]), scale[1]), 5) for _, number in shown],
        "customdata": [frame.mark for frame, _ in shown],
        "text": [_hover(quantity, frame, number) for frame, number in shown],
        "hovertemplate": "%{text}<extra></extra>",
        "line": {"color": "rgba(128,128,128,.45)", "width": 1},
        "marker": {
            "color": [css(LEVELS[frame.level]) for frame, _ in shown],
            "symbol": [symbol for symbol, _ in looks],
            "size": [size for _, size in looks],
            "line": {"width": 1.4},
            "opacity": 1,
        },
        "cliponaxis": False,
    }


def _hover(quantity: Quantity, frame: Frame, number: Number) -> str:
    """Say a point in words; Plotly reads some markup in it, so that signs of markup become entities."""
    said = f"{frame.name}, {frame.clock}: {number.said} {quantity.unit}"
    where = f" in {number.where}" if number.where else ""
    why = f" – {frame.text}" if frame.text else ""
    text = said + where + why
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _layout(ends: Sequence[str]) -> dict[str, Any]:
    hours = "%H:%M" if len({end[:10] for end in ends}) < 2 else "%d %b %H:%M"
    axis = {"gridcolor": _GRID, "linecolor": _GRID, "zeroline": False, "fixedrange": False, "automargin": True}
    return {
        "height": 190,
        "margin": {"l": 48, "r": 16, "t": 8, "b": 30},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"color": css(QUIET), "size": 13, "family": 'system-ui, "Liberation Sans", sans-serif'},
        "showlegend": False,
        "hovermode": "closest",
        "hoverlabel": {
            "bgcolor": "#303030",
            "bordercolor": "#303030",
            "font": {"color": css(TEXT)},
            "align": "left",
        },
        "dragmode": "zoom",
        "xaxis": {**axis, "type": "date", "tickformat": hours, **({"range": _wider(ends)} if ends else {})},
        "yaxis": {**axis, "nticks": 5},
    }


def _wider(ends: Sequence[str]) -> list[str]:
    """Return the ends of the axis, two parts in a hundred beyond the day's own, the same for every plot."""
    from datetime import datetime, timedelta

    first, last = min(map(datetime.fromisoformat, ends)), max(map(datetime.fromisoformat, ends))
    room = max((last - first) * 0.02, timedelta(seconds=5))
    return [(first - room).isoformat(), (last + room).isoformat()]
