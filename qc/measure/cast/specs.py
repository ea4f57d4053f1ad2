"""What the readings of `cast` mean, in words, with sources and default limits."""

from __future__ import annotations

from qc.reading import Preset, ReadingSpec, Unit
from qc.sheet.zones import Role

FINDINGS = {
    "patch_reference": "what a patch was compared with; data: reference, lab, white, warm_cool_white, matrix,"
    " rendered",
}

REASONS = {
    "uneven": "the light on the patch is too uneven for a reference",
    "glaring": "a part of the patch mirrors the light",
    "unknown_reference": "the reference is neither neutral nor a patch of a chart edition that is known",
    "reference_not_neutral": "the reference has a colour of its own, so warm and cool have no meaning",
    "no_temperature": "the colour is too far from any white for a colour temperature",
    "no_such_colour": "the sensor has no photosites of this colour",
}

_PATCH = (Role.PATCH,)
_SAME = "same balance and matrix, same white, same reference; the patch in the same light and at the same angle"
_CHAIN = (
    "mean light of the patch → balance and camera matrix (DNG 1.7.1.0 chapter 6) → XYZ under D50, scaled to the"
    " lightness of the reference (L* 50 for neutral) → CIELAB; "
)
_LAB = "ISO/CIE 11664-4 (CIELAB); DNG 1.7.1.0 chapter 6 (matrix)"
_CCT = "Ohno, LEUKOS 10(1), 47-55, 2013 (CCT and Duv); linear Bradford adaptation as in ICC.1:2022 annex E"

_CHROMA_LIMITS = {
    "loose": Preset(note=2.0, warn=4.0, halt=8.0),
    "series": Preset(warn=2.0, halt=4.0),
    "strict": Preset(note=1.0, warn=2.0, halt=3.0),
}
_CHROMA_LIMITS_SOURCE = (
    "white balance error √(Δa*²+Δb*²): 2, 4 and 8 as FADGI 2016 four, three and one star and Metamorfoze 1.0"
    " (2012) table 1.2 (2); 3 as ISO 19264-1:2021 grade A, read in secondary sources; 1 is our own choice"
)


def _lab_reading(name: str, phrase: str, meaning: str, low: str, high: str, formula: str) -> ReadingSpec:
    return ReadingSpec(
        name=name,
        unit=Unit.LAB,
        phrase=phrase,
        called=phrase.replace(" {value}", ""),
        meaning=meaning,
        low_end=low,
        high_end=high,
        method=_CHAIN + formula,
        source=_LAB,
        decimals=1,
        worse="either",
        per_zone=_PATCH,
        per_frame=False,
        comparable_when=_SAME,
    )


def _gain(colour: str) -> ReadingSpec:
    return ReadingSpec(
        name=f"cast.gain_{colour}",
        unit=Unit.FACTOR,
        phrase=f"{colour} × {{value}}",
        called=f"gain of {colour}",
        meaning=f"Factor on {colour} light, green kept, that would bring the patch to its reference.",
        low_end=f"near 0: there is far too much {colour}",
        high_end=f"no upper end: there is far too little {colour}; 1 is right",
        method=f"(reference {colour} / reference green) × (patch green / patch {colour}), camera light",
        source="DNG 1.7.1.0, AsShotNeutral: balance gains are the inverse of the neutral's camera values",
        decimals=3,
        per_zone=_PATCH,
        per_frame=False,
        comparable_when=_SAME,
    )


READINGS: tuple[ReadingSpec, ...] = (
    ReadingSpec(
        name="cast.chroma",
        unit=Unit.LAB,
        phrase="cast {value}",
        called="cast",
        meaning="How far the patch is from the colour it should have, exposure left out.",
        low_end="0: exactly its reference",
        high_end="no upper end; 2 is a visible cast on a neutral, 8 a strong one",
        method=_CHAIN + "√(Δa*² + Δb*²) from the reference",
        source=_LAB,
        decimals=1,
        worse="high",
        per_zone=_PATCH,
        per_frame=False,
        limits=_CHROMA_LIMITS,
        limits_source=_CHROMA_LIMITS_SOURCE,
        limit_roles=_PATCH,
        comparable_when=_SAME,
    ),
    _lab_reading(
        "cast.delta_a",
        "a* {value}",
        "Cast along green to magenta.",
        "below 0: greener than the reference",
        "above 0: more magenta than the reference",
        "Δa*",
    ),
    _lab_reading(
        "cast.delta_b",
        "b* {value}",
        "Cast along blue to yellow.",
        "below 0: bluer than the reference",
        "above 0: yellower than the reference",
        "Δb*",
    ),
    ReadingSpec(
        name="cast.difference",
        unit=Unit.DELTA_E,
        phrase="colour off by {value}",
        called="colour difference",
        meaning="Colour difference from the reference as people see it, at equal lightness.",
        low_end="0: the same colour",
        high_end="no upper end; about 1 is just visible side by side",
        method=_CHAIN + "CIEDE2000, kL = kC = kH = 1",
        source="ISO/CIE 11664-6 (CIEDE2000)",
        decimals=1,
        worse="high",
        per_zone=_PATCH,
        per_frame=False,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="cast.warm_cool",
        unit=Unit.MIRED,
        phrase="warm {value} mired",
        called="warm or cool",
        phrase_below="cool {value} mired",
        phrase_zero="neither warm nor cool",
        meaning="How much warmer (above 0) or cooler a neutral would look than the set's white.",
        low_end="below 0: cooler",
        high_end="above 0: warmer; 3 mired is about 90 K at 5500 K",
        method=_CHAIN + "a neutral's XYZ adapted to the flash's white; 10⁶/CCT less that of the white",
        source=_CCT,
        decimals=1,
        worse="either",
        per_zone=_PATCH,
        per_frame=False,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="cast.green_magenta",
        unit=Unit.DUV,
        phrase="green {value} Duv",
        called="green or magenta",
        phrase_below="magenta {value} Duv",
        phrase_zero="neither green nor magenta",
        meaning="How much greener (above 0) or more magenta a neutral would look than the set's white.",
        low_end="below 0: magenta",
        high_end="above 0: green; 0.003 is just visible on a neutral surface beside a neutral one",
        method=_CHAIN + "a neutral's XYZ adapted to the flash's white; Duv less that of the white",
        source=_CCT + "; visibility: common practice, no published source",
        decimals=4,
        worse="either",
        per_zone=_PATCH,
        per_frame=False,
        comparable_when=_SAME,
    ),
    _gain("red"),
    _gain("blue"),
    ReadingSpec(
        name="patch.unevenness",
        unit=Unit.PERCENT,
        phrase="patch uneven by {value} %",
        called="patch unevenness",
        meaning="How unevenly the patch is lit. Above 5 % it is refused as a reference.",
        low_end="0: the same light all over it",
        high_end="no upper end",
        method="standard deviation / mean of up to 8 × 8 tiles, the noise of a tile's mean removed, of the worst"
        " colour",
        source="FADGI 2016 and 2023, lightness uniformity as standard deviation over mean; the latter from"
        " secondary sources",
        decimals=1,
        worse="high",
        per_zone=_PATCH,
        per_frame=False,
        limits={
            "loose": Preset(note=3.0),
            "series": Preset(note=2.0, warn=3.0),
            "strict": Preset(note=1.0, warn=2.0),
        },
        limits_source="1 and 3 % as FADGI 2016 four and three star; 2 %: common practice, no published source",
        limit_roles=_PATCH,
        comparable_when="the same zone",
    ),
    ReadingSpec(
        name="patch.clipped",
        unit=Unit.PERCENT,
        phrase="patch clipped over {value} %",
        called="clipping of the patch",
        meaning="How much of the patch is clipped in any colour. Above 0.5 % it is refused as a reference.",
        low_end="0: nothing is at saturation",
        high_end="100: all of it is",
        method="100 × cells of the patch with any clipped photosite / cells of the patch",
        source="clipping as DNG 1.7.1.0 chapter 5, per photosite; the 0.5 % is our own choice",
        per_zone=_PATCH,
        per_frame=False,
        comparable_when="same body, ISO and file kind",
    ),
)
