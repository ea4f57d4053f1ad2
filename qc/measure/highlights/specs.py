"""What the readings of `highlights` mean, in words, with sources and default limits.

"Burnt" is said of what is clipped in at least one colour: detail is lost there. What is empty is "burnt in every
colour". The budget of an allowed zone is of the first kind, as is what counts as unintended outside of it.
"""

from __future__ import annotations

from qc.reading import Preset, ReadingSpec, Unit
from qc.sheet.zones import Role

NAMES = {"R": "red", "G": "green", "B": "blue"}

FINDINGS = {
    "top_code": "a finished picture: clipping is counted at its top code, which the sensor may not have reached",
    "more_regions": "more clipped places than are listed; data: count, area in % of frame",
}

REASONS = {"no_such_colour": "the sensor has no photosites of this colour"}

_ZONES = (Role.PROTECT, Role.ALLOW, Role.SHARP, Role.WITNESS, Role.BACKDROP)
_CLIPPING = (
    "DNG 1.7.1.0 chapter 5 (white level is where the sensor or converter saturates), decided per photosite before"
    " any averaging"
)
_SAME = "same body, ISO and file kind: saturation belongs to all three"

_LIMITS = (
    "common practice, no published source: still-life work holds 0.5 to 2 % of the frame, protected surfaces hold"
    " 0.02 %; that textured highlights must not clip at all is Metamorfoze Preservation Imaging Guidelines 1.0"
    " (2012), 2.5"
)

_COLOUR = "highlights.clipped_{}"


def _of_colour(name: str) -> ReadingSpec:
    return ReadingSpec(
        name=_COLOUR.format(name),
        unit=Unit.PERCENT_OF_PHOTOSITES,
        phrase=f"{name} clipped {{value}} %",
        meaning=f"How many of the {name} photosites are at saturation. One colour clips before the others and"
        " bends the hue before it shows as white.",
        low_end=f"0: no {name} photosite is at saturation",
        high_end=f"100: all {name} photosites are",
        method=f"100 × clipped {name} photosites / {name} photosites in whole cells",
        source=_CLIPPING,
        comparable_when=_SAME,
    )


READINGS: tuple[ReadingSpec, ...] = (
    ReadingSpec(
        name="highlights.clipped_area",
        unit=Unit.PERCENT_OF_CELLS,
        phrase="clipped {value} %",
        meaning="How much of the picture has lost detail in at least one colour, intended or not.",
        low_end="0: nothing is at saturation",
        high_end="100: every cell has a clipped photosite",
        method="100 × cells with any clipped photosite / cells; a cell is 2 × 2 photosites, or one pixel",
        source=_CLIPPING,
        per_zone=_ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="highlights.burnt_area",
        unit=Unit.PERCENT_OF_CELLS,
        phrase="burnt in every colour {value} %",
        called="area burnt in every colour",
        meaning="How much of the picture is empty: clipped in every colour.",
        low_end="0: no cell is clipped in all its colours",
        high_end="100: there is no picture",
        method="100 × cells with a clipped photosite of every colour / cells; where a cell of a 6 × 6 mosaic lacks"
        " a colour, its neighbours speak for it",
        source=_CLIPPING,
        per_zone=_ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="highlights.unintended_area",
        unit=Unit.PERCENT_OF_CELLS,
        phrase="burnt {value} %",
        called="burnt area",
        meaning="How much is burnt, that is clipped in at least one colour, outside the zones where that is"
        " intended.",
        low_end="0: all clipping is where it was meant to be",
        high_end="100: everything is clipped and nothing was meant to be",
        method="100 × cells with any clipped photosite outside allow and backdrop zones / cells; a protect zone"
        " overrules an allow or backdrop zone that it overlaps",
        source=_CLIPPING,
        worse="high",
        per_zone=(Role.PROTECT, Role.SHARP, Role.WITNESS),
        limits={
            "loose": Preset(note=0.02, warn=0.1, halt=0.5),
            "series": Preset(note=0.01, warn=0.05, halt=0.2),
            "strict": Preset(warn=0.0, halt=0.02),
        },
        limit_roles=(Role.PROTECT,),
        frame_limits={
            "loose": Preset(note=2.0),
            "series": Preset(note=0.5, warn=2.0),
            "strict": Preset(note=0.1, warn=0.5),
        },
        limits_source=_LIMITS,
        comparable_when=_SAME + "; the same zones",
    ),
    ReadingSpec(
        name="highlights.intended_area",
        unit=Unit.PERCENT_OF_FRAME,
        phrase="burnt {value} % of the picture",
        called="burnt area that is intended",
        meaning="How much of the picture is burnt, that is clipped in at least one colour, in a zone where that is"
        " intended. The zone's `budget` is its limit.",
        low_end="0: nothing of the zone is burnt",
        high_end="the zone's own part of the picture: all of it is",
        method="100 × cells of the zone with any clipped photosite / cells of the frame; what a protect zone"
        " overlaps belongs to that",
        source=_CLIPPING,
        worse="high",
        per_zone=(Role.ALLOW,),
        per_frame=False,
        budget=True,
        comparable_when=_SAME + "; the same zones",
    ),
    *(_of_colour(name) for name in NAMES.values()),
    ReadingSpec(
        name="highlights.largest_region",
        unit=Unit.PERCENT_OF_FRAME,
        phrase="largest clipped place {value} % of the picture",
        called="largest clipped place",
        meaning="Area of the largest connected clipped place. A glint is small; a burnt face is not.",
        low_end="0: nothing is clipped",
        high_end="100: the whole frame is one clipped place",
        method="cells of the largest place that 8 neighbours connect, each clipped in any colour, / cells of the"
        " frame × 100",
        source="8-connected labelling, Bolelli et al., IEEE Trans. Image Processing 29, 2020 (by OpenCV); "
        + _CLIPPING,
        decimals=3,
        per_zone=(Role.PROTECT,),
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="highlights.headroom",
        unit=Unit.STOPS,
        phrase="brightest unclipped tone {value} {stops} under clipping",
        meaning="How much more light the brightest part that is neither clipped nor a glint could take before it "
        "clips. What is clipped already is not in it.",
        low_end="0: it is at saturation",
        high_end="no upper end: 3 and more is an under-exposed frame",
        method="−log2 of the 99.9th percentile, over cells, of the brightest colour as a part of its saturation"
        " less black. Specular cells are left out: clipped cells, 4 cells around them, and by a 3 × 3 median all"
        " specks under 5 cells. Where nothing reaches saturation it is taken to the tagged level.",
        source="the percentile is common practice, no published source; saturation as in " + _CLIPPING,
        worse="low",
        per_zone=(Role.PROTECT,),
        limits={
            "loose": Preset(note=0.05),
            "series": Preset(note=0.1),
            "strict": Preset(note=0.15, warn=0.05),
        },
        limit_roles=(Role.PROTECT,),
        limits_source="Metamorfoze Preservation Imaging Guidelines 1.0 (2012), 2.5: no code above 248 of 255,"
        " which is 0.09 stop under white (IEC 61966-2-1); applied to sensor light by our own choice",
        comparable_when=_SAME,
    ),
)
