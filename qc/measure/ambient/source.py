"""Where ambient light falls, and what colour it has there, in words."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.measure.ambient.colour import Hue, Ratio
from qc.measure.ambient.light import Light, Pair
from qc.measure.ambient.readings import WORST, Groups, at_percentile
from qc.measure.ambient.structure import Structure, zone_of
from qc.measure.ambient.tiles import Tiles
from qc.measure.ambient.words import under_flash
from qc.orientation import upright
from qc.reading import Finding, Reason
from qc.sheet.zones import Zone
from qc.words import spoken_stops

Array = NDArray[np.float64]

UNEVEN = 0.5
"""Stops between two halves from which ambient light counts as falling on one of them. Our own choice."""

ZONE_ABOVE = 1.0
"""Stops above the frame from which a zone is named for itself. Our own choice."""

HueOf = Callable[[Ratio], Hue | Reason]


def source_findings(
    pair: Pair, tiles: Tiles, where: NDArray[np.bool_], zones: Mapping[str, Light], hue_of: HueOf
) -> list[Finding]:
    """Say which side of the upright picture gets most ambient light, and which zones, each with its colour.

    The colour of a side is that of what it has more than the rest: the lamp that lights it, not the room.
    """
    colour = pair.colour
    whole = pair.light(tiles, where)
    findings = []
    place, inside = _side(pair, tiles, where)
    if inside is None:
        if whole.measured()[colour]:
            findings.append(_finding("the whole frame", None, whole, None, hue_of(Ratio.of(whole)), colour))
    else:
        here, rest = pair.light(tiles, where & inside), pair.light(tiles, where & ~inside)
        hue = hue_of(Ratio.of(here).above(Ratio.of(rest)))
        findings.append(_finding(place, None, here, _above(here, rest, colour), hue, colour))
    for name, light in zones.items():
        above = _above(light, whole, colour)
        if light.measured()[colour] and above >= ZONE_ABOVE:
            findings.append(_finding(name, name, light, above, hue_of(Ratio.of(light)), colour))
    return findings


def _side(pair: Pair, tiles: Tiles, where: NDArray[np.bool_]) -> tuple[str, NDArray[np.bool_] | None]:
    """Return the half or corner with most ambient light for its flash, as a mask of tiles; None when even."""
    x, y = _upright_halves(where.shape, pair.lit.orientation)
    across, right = _contrast(pair, tiles, where, x)
    down, bottom = _contrast(pair, tiles, where, y)
    if max(across, down) < UNEVEN:
        return "", None
    words = ("right" if right else "left", "bottom" if bottom else "top")
    masks = (x == right, y == bottom)
    if min(across, down) >= max(UNEVEN, 0.6 * max(across, down)):
        return f"{words[1]} {words[0]}", masks[0] & masks[1]
    return (words[0], masks[0]) if across >= down else (words[1], masks[1])


def _upright_halves(shape: tuple[int, ...], orientation: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Which tiles lie in the right, and in the bottom half of the upright picture; sensor orientation."""
    index = np.arange(shape[0] * shape[1]).reshape(shape)
    turned = upright(index, orientation)
    rows, columns = turned.shape
    halves = []
    for upper in (np.arange(columns)[None, :] >= columns / 2, np.arange(rows)[:, None] >= rows / 2):
        half = np.zeros(index.size, dtype=bool)
        half[turned.ravel()] = np.broadcast_to(upper, turned.shape).ravel()
        halves.append(half.reshape(shape))
    return halves[0], halves[1]


def _contrast(pair: Pair, tiles: Tiles, where: NDArray[np.bool_], upper: NDArray[np.bool_]) -> tuple[float, bool]:
    """Return the stops between two halves, and whether `upper` (right, bottom) has more; 0 where unclear."""
    if not (where & upper).any() or not (where & ~upper).any():
        return 0.0, False
    second, first = pair.light(tiles, where & upper), pair.light(tiles, where & ~upper)
    more = second.stops()[pair.colour] < first.stops()[pair.colour]
    bright, dim = (second, first) if more else (first, second)
    if not bright.measured()[pair.colour]:
        return 0.0, bool(more)
    return _above(bright, dim, pair.colour), bool(more)


def _above(here: Light, rest: Light, colour: int) -> float:
    """Return the stops that ambient light lies above the rest; at least, when the rest is at the floor."""
    return float(rest.stops()[colour] - here.stops()[colour])


def _finding(
    place: str, zone: str | None, light: Light, above: float | None, hue: Hue | Reason, colour: int
) -> Finding:
    stops = float(light.stops()[colour])
    word = "" if isinstance(hue, Reason) else f"{hue.word} "
    # a zone's name stands before its findings wherever they are shown
    where = "" if zone else (" over the whole frame" if above is None else f" {at_place(place)}")
    than = "" if above is None else f", {spoken_stops(above)} more than the rest"
    data: dict[str, object] = {"place": place, "stops_under": round(stops, 2)}
    data["above_rest_stops"] = None if above is None else round(above, 2)
    if isinstance(hue, Reason):
        data |= {"colour": None, "words": [], "why_no_colour": str(hue)}
    else:
        data |= {
            "colour": hue.words[0],
            "words": list(hue.words),
            "kelvin": None if hue.kelvin is None else round(hue.kelvin),
            "mired_plus_minus": None if hue.mired_pm is None else round(hue.mired_pm, 1),
            "duv": None if hue.duv is None else round(hue.duv, 4),
        }
    text = f"{word}ambient light{where}, {under_flash(stops)}{than}"
    return Finding(code="ambient_source", text=text, zone=zone, data=data)


def worst_place(pair: Pair, groups: Groups, whole: Light, zones: Sequence[Zone]) -> list[Finding]:
    """Say where ambient light comes nearest to the flash, when that is clearly nearer than over the frame."""
    colour = pair.colour
    stops = groups.light.stops()[colour]
    sure = groups.where & groups.light.measured()[colour]
    if not sure.any():
        return []
    limit = float(stops[at_percentile(stops, sure, WORST)])
    if float(whole.stops()[colour]) - limit < UNEVEN:
        return []
    place = sure & (stops <= limit)
    zone = zone_of(place, tuple(zones), pair.lit.orientation)
    field = ninth(place, pair.lit.orientation)
    words = f"in {zone}" if zone else at_place(field)
    text = f"ambient light comes nearest to the flash {'here' if zone else words}: {under_flash(limit)}"
    data = {"place": zone or field, "words": words, "stops_under": round(limit, 2)}
    return [Finding(code="worst_place", text=text, zone=zone, data=data)]


def at_place(field: str) -> str:
    """Say a part of the picture: "on the left", "at the top right", "in the middle"."""
    if field in ("left", "right"):
        return f"on the {field}"
    return f"in the {field}" if field == "middle" else f"at the {field}"


def ninth(place: NDArray[np.bool_], orientation: int) -> str:
    """Return which ninth of the upright picture holds most of a place."""
    turned = upright(place, orientation)
    rows, columns = (part * 3 // size for part, size in zip(np.nonzero(turned), turned.shape, strict=True))
    row, column = divmod(int(np.bincount(rows * 3 + columns, minlength=9).argmax()), 3)
    words = [("top", "", "bottom")[row], ("left", "", "right")[column]]
    return " ".join(word for word in words if word) or "middle"


def mirrored_findings(
    pair: Pair, found: Structure | None, neutral: Reason | Array, hue_of: HueOf
) -> list[Finding]:
    """Say what the brightest thing is that the room lights and gloss mirrors, with its zone and colour."""
    if found is None or not found.regions:
        return []
    zone = found.regions[0].zone
    word = _mirrored_word(pair, found, neutral, hue_of)
    percent = 100.0 * found.value
    text = f"{word + ' ' if word else ''}reflection or light of the room, {percent:.1f} % of white"
    data = {"percent_of_white": round(percent, 2), "colour": word or None, "places": len(found.regions)}
    return [Finding(code="ambient_mirrored", text=text, zone=zone, data=data)]


def _mirrored_word(pair: Pair, found: Structure, neutral: Reason | Array, hue_of: HueOf) -> str:
    """Colour of the brightest mirrored thing: gloss mirrors a light without colouring it."""
    excess = found.excess[:, found.place].mean(axis=1)
    if isinstance(neutral, Reason) or excess.min() <= 0:
        return ""
    noise = np.full(len(excess), found.plus_minus / 2) / neutral
    black = np.full(len(excess), pair.black_error) / neutral
    answer = hue_of(Ratio(excess / neutral, noise, black))
    return "" if isinstance(answer, Reason) else answer.word
