"""What the readings of `sharpness` mean, in words, with sources and default limits."""

from __future__ import annotations

from qc.reading import Preset, ReadingSpec, Unit
from qc.sheet.zones import Role

FINDINGS = {
    "shake": "blur runs along one direction: the camera or the subject moved; data: major, minor, angle",
}

REASONS = {
    "no_detail": "nothing in it stands clear of the noise",
    "texture": "there is detail, but no isolated edges: a weave or very fine pattern has no blur that can be read",
    "soft_only": "only soft edges beyond what can be read: a shadow, or blur of more than 5 px",
    "too_noisy": "edges are there, but too weak against the noise for a blur",
    "few_edges": "too few edges for a blur",
    "few_directions": "the edges do not run in enough directions, or do not fit one spread",
    "round": "the blur has no direction",
    "few_tiles": "too few places of the frame have edges",
}

SUSPECT = frozenset({"no_detail", "texture", "soft_only", "too_noisy", "few_edges"})
"""What a place that was sharp gives when shake or focus has blurred it beyond reading. A smear of print is as
little an isolated edge as a weave is, and weak enough to drown: the reason does not tell them apart."""

_ZONES = (Role.SHARP, Role.PROTECT)
_METHOD = (
    "gradient of green light at known scales; σ² = (b − R² a)/(R² − 1) from the ratio R of ridge gradients with"
    " known smoothing of variance a and b, pixel aperture and filters included; ridges that stand alone only;"
)
_SOURCE = "Zhuo & Sim, Pattern Recognition 44(9), 1852-1858, 2011 (re-blur ratio), in linear light on the mosaic"
_SAME = "same body and file kind, same magnification; any exposure and contrast"
_LIMITS = {
    "loose": Preset(warn=2.5, halt=4.0),
    "series": Preset(note=1.25, warn=1.5, halt=2.5),
    "strict": Preset(note=0.95, warn=1.1, halt=1.5),
}
_LIMITS_SOURCE = (
    "MTF50 of FADGI 2016 four, three, two and one star (40, 35, 30, 25 % of half sampling) as Gaussian blur: 0.95,"
    " 1.1, 1.25, 1.5 px; 2.5 and 4 are our own choice. A small aperture alone may pass a note: see"
    " optics.expected_blur"
)


def _blur(name: str, phrase: str, meaning: str, **more: object) -> ReadingSpec:
    return ReadingSpec(
        name=f"sharpness.{name}",
        unit=Unit.PIXELS,
        phrase=phrase,
        meaning=meaning,
        low_end="0.5, at most: at the sampling limit (1 for 6 × 6 patterns)",
        high_end="5, at least: softer than can be read",
        **{  # type: ignore[arg-type]  # one table of fields for readings that share most of them
            "method": f"{_METHOD} the sharpest sizeable population, each ridge by its length",
            "source": _SOURCE,
            "per_zone": _ZONES,
            "comparable_when": _SAME,
            **more,
        },
    )


READINGS: tuple[ReadingSpec, ...] = (
    _blur(
        "blur",
        "blur {value} px",
        "σ of the Gaussian that blurs as the sharpest sizeable part of the place is blurred, in px.",
        worse="high",
        limits=_LIMITS,
        limits_source=_LIMITS_SOURCE,
        limit_roles=(Role.SHARP,),
    ),
    _blur(
        "blur_major",
        "blur {value} px along its longest",
        "Blur along the direction in which it is longest: shake shows here and not in the mean.",
        method=f"{_METHOD} variance along each direction of ridge, fitted by nᵀ Σ n; the larger axis of Σ",
        worse="high",
        refines="sharpness.blur",
        called="blur along its longest",
        limits=_LIMITS,
        limits_source=_LIMITS_SOURCE,
        limit_roles=(Role.SHARP,),
    ),
    _blur(
        "blur_minor",
        "blur {value} px along its shortest",
        "Blur along the direction in which it is shortest: what focus and aperture alone leave.",
        method=f"{_METHOD} variance along each direction of ridge, fitted by nᵀ Σ n; the smaller axis of Σ",
        called="blur along its shortest",
    ),
    ReadingSpec(
        name="sharpness.blur_angle",
        unit=Unit.DEGREES,
        phrase="blur runs along {value}°",
        called="direction of blur",
        meaning="Direction of the longest blur, anticlockwise from the right in the upright picture.",
        low_end="0: left to right",
        high_end="just under 180; 90 is up and down",
        method="direction of the larger axis of Σ, if the axes differ by 40 % and three standard errors",
        source=_SOURCE,
        decimals=0,
        per_zone=_ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="sharpness.blur_spread",
        unit=Unit.PIXELS,
        phrase="blur varies by {value} px",
        meaning="How much blur differs between the edges of the place: one standard deviation within the"
        " population that was read.",
        low_end="0: all edges are equally sharp within their noise",
        high_end="no upper end",
        method="standard deviation of ln σ over the population by length, noise taken off, times σ",
        source=_SOURCE,
        per_zone=_ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="sharpness.mtf50",
        unit=Unit.CYCLES,
        phrase="MTF50 {value} cycles/px",
        called="MTF50",
        meaning="Frequency at which a Gaussian of the blur and the pixel aperture together halve contrast.",
        low_end="near 0: nothing fine is left; 0.04 at a blur of 5 px",
        high_end="0.5: the sampling limit, where it is cut off",
        method="exp(−2 π² σ² f²) · sin(πf)/(πf) = 0.5, solved for f, at most 0.5",
        source="MTF of a Gaussian and of a square pixel aperture; ISO 12233 e-SFR gives the same on an edge",
        decimals=3,
        per_zone=_ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="sharpness.best_blur",
        unit=Unit.PIXELS,
        phrase="sharpest place {value} px",
        called="sharpest place",
        meaning="Blur of the sharpest place of the frame, whatever it is.",
        low_end="0.5, at most: at the sampling limit",
        high_end="5, at least: nothing in the frame is sharper",
        method="least mean of ln σ over 3 × 3 groups of tiles with at least 60 px of edges",
        source=_SOURCE,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="sharpness.sharp_area",
        unit=Unit.PERCENT_OF_DETAIL,
        phrase="{value} % of the detail is sharp",
        meaning="How much of the frame's detailed area is about as sharp as its sharpest place.",
        low_end="near 0: a thin plane is sharp",
        high_end="100: all detail is",
        method="tiles with σ ≤ max(1.3 × best, best + 0.3 px) over tiles with edges",
        source="common practice, no published source: 0.3 px is where a difference starts to show at full size",
        decimals=0,
        comparable_when=_SAME + "; the same subject",
    ),
    ReadingSpec(
        name="sharpness.plane_x",
        unit=Unit.FRACTION,
        phrase="sharp at {value} of the width",
        called="sharp place across",
        meaning="Where the sharpest quarter of the detail lies, from left to right.",
        low_end="0: left rim",
        high_end="1: right rim",
        method="mean place of the sharpest quarter of tiles by ridge length, upright picture",
        source="common practice, no published source",
        comparable_when=_SAME + "; the same subject",
    ),
    ReadingSpec(
        name="sharpness.plane_y",
        unit=Unit.FRACTION,
        phrase="sharp at {value} of the height",
        called="sharp place up and down",
        meaning="Where the sharpest quarter of the detail lies, from top to bottom.",
        low_end="0: top rim",
        high_end="1: bottom rim",
        method="mean place of the sharpest quarter of tiles by ridge length, upright picture",
        source="common practice, no published source",
        comparable_when=_SAME + "; the same subject",
    ),
    ReadingSpec(
        name="sharpness.plane_slope",
        unit=Unit.PIXELS_PER_FRAME,
        phrase="blur grows {value} px a frame width",
        called="growth of blur",
        meaning="How fast blur grows away from the line where the sharp plane meets the subject.",
        low_end="0: equally sharp all over",
        high_end="no upper end: a thin or tilted plane",
        method="least absolute residual of σ = least + slope × distance from a line, over tiles",
        source="common practice, no published source",
        comparable_when=_SAME + "; the same subject",
    ),
)
