"""Lines over a picture with words beside them, as an SVG: their pens, and where there is room for a word."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Final

from qc.show.palette import RGB, SURROUND
from qc.show.templates import render

WIDE: Final = 1000
"""Width of an SVG's own coordinates."""

ROOMY: Final = 4.5
"""Height from which a place is not hidden by a label inside it, in heights of letters."""

BOLD: Final = 600
"""Weight from which letters are bold."""

Size = tuple[int, int]
"""Width and height, pixels."""

Place = tuple[float, float, float, float]
"""Left, top, right and bottom of a label, in an SVG's own coordinates."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Pen:
    """How the lines and letters of an SVG look.

    Attributes
    ----------
    width, under : float
        Of a line and of the dark line under it; pixels of the screen when `fixed`, else the SVG's own coordinates.
    fixed : bool
        Whether lines keep their width when the picture is scaled.
    shade, opacity : float
        Opacity of the dark line and of the line.
    letters, halo : float
        Height of letters and width of the dark line around them, in the SVG's own coordinates.
    weight : int
        Of letters, as CSS counts it.
    text : str
        Their colour; that of their line when empty.
    """

    width: float = 2.0
    under: float = 3.4
    fixed: bool = True
    shade: float = 0.4
    opacity: float = 1.0
    letters: float = 22.0
    halo: float = 5.0
    weight: int = 400
    text: str = ""

    def written(self, times: float) -> Pen:
        """Return the same pen with letters so many times as large."""
        return replace(self, letters=self.letters * times, halo=self.halo * times)


PEN: Final = Pen()
THIN: Final = Pen(width=1.2, under=2.6, opacity=0.7, letters=19.0, text="#cecece")


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One outline of an SVG: path, look, and a label with its place."""

    path: str
    colour: str
    dashes: str = "none"
    label: str = ""
    at: tuple[float, float] = (0.0, 0.0)


def svg(lines: Sequence[Line], size: Size, pen: Pen = PEN) -> bytes:
    """Return lines with their labels as an SVG that lies over a picture of a size."""
    return render("layer.svg.j2", lines=lines, wide=WIDE, high=high_of(size), pen=pen, under=css(SURROUND))


def path_of(points: Sequence[tuple[float, float]], size: Size) -> str:
    """Return the closed path through points that are fractions of the picture."""
    high = high_of(size)
    return "M" + "L".join(f"{x * WIDE:.1f} {y * high:.1f}" for x, y in points) + "Z"


def beside(
    points: Sequence[tuple[float, float]], label: str, size: Size, pen: Pen
) -> tuple[tuple[float, float], ...]:
    """Return where the label of a place may begin, best first: above, then inside where there is room, then below.

    Parameters
    ----------
    points : sequence of (x, y)
        Of the place, fractions of the picture.
    label : str
        What is written.
    size : (int, int)
        Width and height of the picture.
    pen : Pen
        What it is written and the place is drawn with.
    """
    high, letters = high_of(size), pen.letters
    edge = 4.0 if pen.fixed else pen.under + pen.halo / 2
    left = max(min(min(x for x, _ in points) * WIDE, WIDE - edge - _wide(label, pen)), edge)
    top, bottom = min(y for _, y in points) * high, max(y for _, y in points) * high
    gap = 0.25 * letters + (0.0 if pen.fixed else pen.under / 2)
    above, below, inside = (
        (top - gap,),
        (bottom + 0.75 * letters + gap,),
        (top + 0.75 * letters + gap, bottom - gap),
    )
    places = (*above, *inside, *below) if bottom - top > ROOMY * letters else (*above, *below, *inside)
    seen = [round(place, 1) for place in places if 0.9 * letters <= place <= high - 4]
    return tuple((round(left, 1), place) for place in seen or [round(0.9 * letters, 1)])


def free(
    points: Sequence[tuple[float, float]], label: str, size: Size, pen: Pen, taken: Sequence[Place]
) -> tuple[float, float] | None:
    """Return the best place of a label that hides no other; None where there is none."""
    for at in beside(points, label, size, pen):
        here = around(Line(path="", colour="", label=label, at=at), pen)
        if not any(overlap(here, other) for other in taken):
            return at
    return None


def around(line: Line, pen: Pen) -> Place:
    """Return the room that a label takes, nearly."""
    left, foot = line.at
    return left, foot - pen.letters, left + _wide(line.label, pen), foot + 4


def _wide(label: str, pen: Pen) -> float:
    """Return the width of a label, nearly: letters are about .58 of their height wide, bold ones .7."""
    return (0.58 if pen.weight < BOLD else 0.7) * pen.letters * len(label) + 6


def overlap(a: Place, b: Place) -> bool:
    """Tell whether two labels hide each other."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def high_of(size: Size) -> float:
    """Return the height of an SVG's own coordinates, `WIDE` being its width."""
    return round(WIDE * size[1] / size[0], 1)


def css(colour: RGB) -> str:
    """Return a colour as CSS writes it."""
    return "#{:02x}{:02x}{:02x}".format(*colour)
