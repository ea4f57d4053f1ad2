"""Where a frame is burnt and in which colours, in plain sentences."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from qc.reading import Region
from qc.result import Result
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role
from qc.show.handoff.markdown import prose
from qc.show.handoff.places import spoken_place
from qc.words import spoken_number

SMALL = 0.01
"""Area in % of the frame under which a clipped place outside of the protected zones is only summed, and does not
put a frame on the list by itself: 6,000 pixels of 60 megapixels. Our own choice."""

LEAST = 0.01
"""Smallest number that is said, %; ``frames.jsonl`` has the rest."""

UNINTENDED = "highlights.unintended_area"

_NAMES = {"R": "red", "G": "green", "B": "blue"}

_INTENDED = frozenset({Role.ALLOW, Role.BACKDROP})


@dataclass(frozen=True, slots=True)
class _Told:
    place: str
    how: str


def burnt_lines(result: Result, sheet: Sheet | None) -> Iterator[str]:
    """Yield where highlights are lost that were not meant to be, largest first.

    Parameters
    ----------
    result : Result
        Of the capture.
    sheet : Sheet or None
        Whose zones say where burning is intended (``allow``, ``backdrop``), and where the smallest place counts
        (``protect``).
    """
    roles = {zone.name: zone.role for zone in sheet.zones} if sheet is not None else {}
    unmeant = [
        r for r in result.regions if r.what in ("clipped", "burnt") and roles.get(r.zone or "") not in _INTENDED
    ]
    small = [r for r in unmeant if r.area < SMALL and roles.get(r.zone or "") is not Role.PROTECT]
    large = [region for region in unmeant if region not in small]
    yield from _places(large)
    yield from _reaching(result, {name for name, role in roles.items() if role is Role.PROTECT}, large)
    if large and small:
        area = sum(region.area for region in small)
        places = "a small place" if len(small) == 1 else "small places, together"
        yield f"Besides, {places} {_percent(area)} of the picture."
    yield from (f"{prose(f.text)}." for f in result.findings if f.code == "more_regions" and large)
    # an intended place is told where there is more of it than was allowed
    beyond = [c for c in result.verdict.causes if roles.get(c.zone or "") in _INTENDED and c.limit is not None]
    yield from (f"More than intended: {prose(c.text)}." for c in beyond if c.reading.startswith("highlights."))


def _reaching(result: Result, protected: set[str], told: Iterable[Region]) -> Iterator[str]:
    """Yield protected zones into which a place reaches that lies mostly elsewhere, and so is told of elsewhere."""
    named = {region.zone for region in told}
    for reading in result.readings:
        if reading.name != UNINTENDED or reading.zone not in protected - named or (reading.value or 0.0) < LEAST:
            continue
        share = spoken_number(reading.value or 0.0, 2)
        yield f"**{prose(reading.zone or '')}**: {share} % of it burnt, by a place that lies mostly outside of it."


def _places(regions: Iterable[Region]) -> Iterator[str]:
    areas: dict[_Told, list[float]] = {}
    for region in regions:
        place = f"**{prose(region.zone)}**" if region.zone else spoken_place(region.box)
        areas.setdefault(_Told(place, _how(region)), []).append(region.area)
    for told, each in sorted(areas.items(), key=lambda item: -sum(item[1])):
        places = f"{len(each)} places, together " if len(each) > 1 else ""
        where = told.place if told.place.startswith("*") else told.place.capitalize()
        yield f"{where}: {told.how}, {places}{_percent(sum(each))} of the picture."


def _how(region: Region) -> str:
    colours = [_NAMES[letter] for letter in region.colours if letter in _NAMES]
    if region.what == "burnt":
        return "burnt in every colour, no detail left"
    if not colours:
        return "burnt"
    left = [name for letter, name in _NAMES.items() if letter not in region.colours]
    if not left:
        return "burnt in red, green and blue, not everywhere in all three"
    holds = "holds" if len(left) == 1 else "hold"
    return f"burnt in {' and '.join(colours)}; {' and '.join(left)} still {holds} detail"


def _percent(area: float) -> str:
    return f"under {LEAST} %" if area < LEAST else f"{spoken_number(area, 2)} %"
