"""A quantity of the last frames as a line: one point a frame in the order taken, its shape telling the level.

What lies far beyond the others is held at the edge, so that a misfire does not hide a drift; a frame without a
number leaves a gap. The drawing holds no letters: what its ends mean is said beside it, where letters keep their
size.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from qc.reading import Level
from qc.show.lines import css
from qc.show.palette import LEVELS, QUIET, TEXT
from qc.show.templates import render
from qc.words import spoken_number

SHAPES: Final[Mapping[Level, str]] = {
    Level.CLEAR: "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0Z",
    Level.NOTE: "M-3.8 -3.8h7.6v7.6h-7.6Z",
    Level.WARN: "M0 -6L6 0L0 6L-6 0Z",
    Level.HALT: "M0 -7.5L7 5H-7Z",
    Level.UNMEASURED: "M-5 -5L5 5M5 -5L-5 5",
    Level.UNJUDGED: "M-3.5 0a3.5 3.5 0 1 0 7 0a3.5 3.5 0 1 0 -7 0Z",
}
"""Shape of a point by the level of its frame, around the point: never by colour alone; worse ones are larger."""

FILLED: Final = (Level.NOTE, Level.WARN, Level.HALT)
"""Levels whose shape is filled."""

ORDER: Final = (Level.UNJUDGED, Level.CLEAR, Level.UNMEASURED, Level.NOTE, Level.WARN, Level.HALT)
"""What is drawn over what."""

FAR: Final = 3.0
"""How far beyond the bulk of the frames a scale reaches, parts of that bulk."""

WIDE, HIGH, ROOM = 640, 150, 14
"""Size of a drawing, and the room around its scale, in its own coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One frame.

    Attributes
    ----------
    value : float or None
        Its number; None leaves a gap.
    level : Level
        Where the frame stands.
    text : str
        What is said of it when it is pointed at.
    here : bool
        Whether it is the frame that is looked at.
    """

    value: float | None
    level: Level
    text: str = ""
    here: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Curve:
    """A drawing.

    Attributes
    ----------
    svg : str
        An ``<svg>`` element without letters or styles, with a name for those who do not see it.
    low, high : str
        What its lower and its upper line mean.
    beyond : int
        How many points are held at its edge.
    """

    svg: str
    low: str
    high: str
    beyond: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class _Spot:
    """A point with its place, and which way it lies beyond the scale: −1 under it, 1 over it."""

    x: float
    y: float
    level: Level
    text: str
    beyond: int = 0


def curve_of(points: Sequence[Point], called: str) -> Curve | None:
    """Draw a quantity.

    Parameters
    ----------
    points : sequence of Point
        In the order taken.
    called : str
        Name of the drawing.

    Returns
    -------
    Curve or None
        None where no frame has a number.
    """
    values = [point.value for point in points if point.value is not None]
    if not values:
        return None
    low, high, decimals = _scale(values)
    spots = [_spot(nth, point, len(points), low, high) for nth, point in enumerate(points)]
    here = next((nth for nth, point in enumerate(points) if point.here), None)
    shown = [spot for spot in spots if spot is not None]
    svg = render(
        "curve.svg.j2",
        called=called,
        wide=WIDE,
        high=HIGH,
        room=ROOM,
        path=_path(spots),
        spots=sorted(shown, key=lambda spot: ORDER.index(spot.level)),
        here=None if here is None else (_x(here, len(points)), spots[here]),
        shapes=SHAPES,
        filled=FILLED,
        colours={level: colour_of(level) for level in Level},
        text=css(TEXT),
        quiet=css(QUIET),
    )
    beyond = sum(spot.beyond != 0 for spot in shown)
    ends = spoken_number(low, decimals), spoken_number(high, decimals)
    return Curve(svg=svg.decode(), low=ends[0], high=ends[1], beyond=beyond)


def scale_of(values: Sequence[float]) -> tuple[float, float]:
    """Return the ends beyond which a value is put at the edge, so that a misfire does not hide the day's drift.

    Three times the distance of the 10th and 90th percentile beyond these, our own choice; where that is nought,
    no ends.
    """
    if not values:
        return -math.inf, math.inf
    low, high = (float(end) for end in np.percentile(values, (10, 90)))
    return (low - FAR * (high - low), high + FAR * (high - low)) if high > low else (-math.inf, math.inf)


def colour_of(level: Level) -> str:
    """Return the colour of a level's points; those of frames that nobody judges are quiet."""
    return css(QUIET if level is Level.UNJUDGED else LEVELS[level])


def _scale(values: Sequence[float]) -> tuple[float, float, int]:
    """Return the ends of the scale and the decimals that they are said with, rounded outwards: labels are true."""
    least, most = scale_of(values)
    held = [min(max(value, least), most) for value in values]
    low, high = min(held), max(held)
    if high - low <= 1e-6 * max(abs(low), abs(high), 1e-30):
        half = max(abs(low) * 0.05, 0.01)
        low, high = low - half, high + half
    decimals = max(0, math.ceil(1 - math.log10(high - low)))
    unit = 10.0**-decimals
    return math.floor(low / unit + 1e-9) * unit, math.ceil(high / unit - 1e-9) * unit, decimals


def _spot(nth: int, point: Point, count: int, low: float, high: float) -> _Spot | None:
    if point.value is None:
        return None
    share = min(max((point.value - low) / (high - low), 0.0), 1.0)
    beyond = (point.value > high) - (point.value < low)
    y = round(HIGH - ROOM - share * (HIGH - 2 * ROOM), 1)
    return _Spot(x=_x(nth, count), y=y, level=point.level, text=point.text, beyond=beyond)


def _x(nth: int, count: int) -> float:
    return round(ROOM + (WIDE - 2 * ROOM) * (nth / (count - 1) if count > 1 else 0.5), 1)


def _path(spots: Sequence[_Spot | None]) -> str:
    """Return the line from point to point, broken where a frame has no number."""
    parts, before = [], None
    for spot in spots:
        if spot is not None:
            parts.append(f"{'M' if before is None else 'L'}{spot.x} {spot.y}")
        before = spot
    return "".join(parts)
