"""Measured values beside the truth of a rehearsed frame, each with the tolerance it is held to."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.rehearse.truth import Truth
from qc.result import Result
from qc.sheet.zones import Zone

AREA_TOLERANCE = 0.05
"""% of cells, beside the cells that noise decides (`Truth.unsure_area`)."""
BLACK_TOLERANCE = 0.25
"""DN."""
STOPS_TOLERANCE = 0.1
CAST_TOLERANCE = 0.3
"""CIELAB units."""
BLUR_TOLERANCE = 0.15
"""Pixels, and above one pixel a fraction of the truth."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One measured value beside its truth.

    Attributes
    ----------
    what : str
        What was measured, with its unit.
    measured, true : str
        As shown.
    within : str
        Stated tolerance; empty for words, which must be the same.
    holds : bool
        Whether the measured value lies within it.
    """

    what: str
    measured: str
    true: str
    within: str = ""
    holds: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Compare:
    """One result beside the truth of its frame, row by row.

    Attributes
    ----------
    truth : Truth
        Of the frame, or of the lit frame of an ambient test.
    result : Result
        What was measured.
    zones : sequence of Zone
        Of the set sheet.
    """

    truth: Truth
    result: Result
    zones: Sequence[Zone]

    def clipped(self, zone: str | None = None) -> Row:
        """Compare the clipped area of the frame or a zone."""
        place = self._zone(zone)
        tolerance = AREA_TOLERANCE + self.truth.unsure_area(place)
        what = f"{zone or 'frame'} clipped, % of cells"
        return self._reading(what, "highlights.clipped_area", zone, self.truth.clipped_area(place), tolerance)

    def saturation(self, colour: str) -> Row:
        """Compare the level at which a colour saturates, within the width of its plateau."""
        found = next((f.data for f in self.result.findings if f.code == "saturation"), {})
        level, sensor = found.get(colour, {}).get("level"), self.truth.sensor
        true = sensor.level(self.truth.cfa.colours.index(colour))
        width = max(sensor.plateau, 0.001) * (true - sensor.black)
        return number(f"{colour} saturates at, DN", level, true, width, decimals=0)

    def black(self) -> Row:
        """Compare the black that the masked border showed, where the file states another."""
        found = next((f.data for f in self.result.findings if f.code == "black_differs"), {})
        return number("black, DN", found.get("measured"), self.truth.sensor.black, BLACK_TOLERANCE)

    def blur(self, zone: str) -> Row:
        """Compare the blur of a zone."""
        place = self._zone(zone)
        assert place is not None
        true = self.truth.blur(place)
        return self._reading(f"{zone} blur, px", "sharpness.blur", zone, true, BLUR_TOLERANCE * max(1.0, true))

    def cast(self, zone: str) -> tuple[Row, Row]:
        """Compare how far a patch lies off neutral."""
        place = self._zone(zone)
        assert place is not None
        _, a, b = self.truth.lab(place).tolist()
        return (
            self._reading(f"{zone} a* off neutral", "cast.delta_a", zone, a, CAST_TOLERANCE),
            self._reading(f"{zone} b* off neutral", "cast.delta_b", zone, b, CAST_TOLERANCE),
        )

    def stops_under(self, zone: str | None = None) -> Row:
        """Compare how far the room lies under the flash."""
        true = self.truth.stops_under(self._zone(zone))
        what = f"{zone or 'frame'}, stops under"
        return self._reading(what, "ambient.stops_under", zone, true, STOPS_TOLERANCE)

    def source(self, place: str, colour: str) -> tuple[Row, Row]:
        """Compare where the room's light comes from and what colour it has."""
        found = next((f.data for f in self.result.findings if f.code == "ambient_source"), {})
        return (
            word("side it lights", str(found.get("place", "none named")), place),
            word("its colour", str(found.get("colour", "none named")), colour),
        )

    def level(self, expected: str) -> Row:
        """Compare the verdict's level."""
        return word("verdict", str(self.result.verdict.level), expected)

    def blames(self, reading: str, zone: str | None) -> Row:
        """Tell whether a reason of the verdict is the planted fault, by its zone or, for the frame, its code."""
        causes = {(cause.reading, cause.zone) for cause in self.result.verdict.causes}
        expected = zone or reading.replace("_", " ")
        return word("reason given", expected if (reading, zone) in causes else "another, none", expected)

    def _zone(self, name: str | None) -> Zone | None:
        return None if name is None else next(zone for zone in self.zones if zone.name == name)

    def _reading(self, what: str, name: str, zone: str | None, true: float, tolerance: float) -> Row:
        reading = self.result.reading(name, zone)
        if reading is None:
            return Row(what=what, measured="not measured", true=f"{true:.2f}", within="", holds=False)
        if reading.value is None:
            code = reading.reason.code if reading.reason else "no value"
            return Row(what=what, measured=code, true=f"{true:.2f}", within=f"{tolerance:.2f}", holds=False)
        bound = {"at least": "≥ ", "at most": "≤ "}.get(reading.bound or "", "")
        return number(what, reading.value, true, tolerance, before=bound)


def number(
    what: str, measured: float | None, true: float, tolerance: float, *, decimals: int = 2, before: str = ""
) -> Row:
    """Return a row for a number; `before` stands in front of the measured one."""
    shown = "not measured" if measured is None else before + _fixed(measured, decimals)
    holds = measured is not None and abs(measured - true) <= tolerance
    return Row(
        what=what,
        measured=shown,
        true=_fixed(true, decimals),
        within=f"{tolerance:.{decimals}f}",
        holds=holds,
    )


def word(what: str, measured: str, true: str) -> Row:
    """Return a row for a word, which must be the same."""
    return Row(what=what, measured=measured, true=true, holds=measured == true)


def _fixed(value: float, decimals: int) -> str:
    """Return a number without a minus before zero."""
    text = f"{value:.{decimals}f}"
    return text.lstrip("-") if not text.strip("-0.") else text
