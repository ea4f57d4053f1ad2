"""What the readings and findings of the ambient test mean, and their default limits."""

from __future__ import annotations

from qc.reading import Alarm, Level, Preset, Rank, ReadingSpec, Unit
from qc.sheet.zones import Role

ZONES = (Role.PROTECT, Role.SHARP, Role.WITNESS, Role.PATCH, Role.BACKDROP)
"""Zones that are measured. Not ``allow`` (burnt on purpose) and not ``moving`` (not the same in both frames)."""

JUDGED = (Role.PROTECT, Role.SHARP, Role.WITNESS, Role.PATCH)

_FLASH_AMBIENT = (
    "exposure is additive and flash exposure does not depend on the shutter time (APEX arithmetic, Exif 2.32 "
    "annex C); common practice, no published source for a limit"
)
_SAME = "same shutter time, aperture and ISO; nothing moved between the frames"
_COLOUR_SOURCE = "ISO/CIE 11664-6 (CIEDE2000); Adobe DNG 1.7.1.0 chapter 6 for the way from camera colour"
_SHARES = (
    "common practice, no published source: ambient light up to 1 % of the flash is clean (6.6 stops), above 2 % "
    "(5.6) wants a look, above 5 % (4.3) spoils a product zone; seven stops is the careful figure"
)
_WORST = (
    "4 stops under lift a light grey by 0.09 stop and, from a tungsten lamp, shift it by C*ab 2.4, beyond the 2.0 "
    "that FADGI 2016 allows at four stars; 6 stops by 0.02 stop and 0.6 (computed); common practice besides"
)

READINGS: tuple[ReadingSpec, ...] = (
    ReadingSpec(
        name="ambient.stops_under",
        unit=Unit.STOPS,
        phrase="{value} {stops} under the flash",
        called="stops under the flash",
        phrase_below="{value} {stops} brighter than the flash",
        phrase_zero="as bright as the flash",
        meaning="How far everything but the flash lies under the flash, pooled over the frame or the zone.",
        low_end="0: the room is as bright as the flash; below 0 it is brighter",
        high_end="at the measuring floor, the least that can be said: the room leaves no trace",
        method="log2((ΣT − ΣA) / ΣA) in the green plane over usable tiles: T with, A without the flash; cells "
        "clipped in either left out, hot photosites replaced by what is around them; T − A above 20 × its ±. "
        "Below 3 × its ± A counts as A plus its ±, and the value as a bound. ± holds noise, black, and cells that "
        "may be clipped where the saturation level is not sure",
        source=_FLASH_AMBIENT,
        worse="low",
        decimals=1,
        per_zone=ZONES,
        limits={
            "loose": Preset(warn=4.3, halt=3.0),
            "series": Preset(note=6.6, warn=5.6, halt=4.3),
            "strict": Preset(note=7.0, warn=6.6, halt=5.6),
        },
        limits_source=_SHARES,
        limit_roles=JUDGED,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="ambient.to_flash",
        unit=Unit.PERCENT_OF_FLASH,
        phrase="{value} % of the flash",
        called="part of the flash",
        meaning="The same as a share: light of the room for 100 parts of flash.",
        low_end="0: none, never read as such; at the floor it is the most that it can be",
        high_end="100: as bright as the flash; without upper end",
        method="100 × ΣA / (ΣT − ΣA) over the same tiles",
        source=_FLASH_AMBIENT,
        per_zone=ZONES,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="ambient.worst_stops_under",
        unit=Unit.STOPS,
        phrase="{value} {stops} under at worst",
        called="stops under at worst",
        phrase_below="{value} {stops} brighter than the flash at worst",
        phrase_zero="as bright as the flash at worst",
        meaning="The same at the worst place that can be seen: shadows that the flash hardly reaches.",
        low_end="0 or less: somewhere the room is as bright as the flash",
        high_end="as `ambient.stops_under`: the room is as dark everywhere",
        method="2nd percentile over groups of 3 × 3 tiles in which A stands above 3 × its ±, among groups above "
        "L* 10 in the lit frame (the tagged white level being L* 100); a zone without such a group is one group",
        source=_FLASH_AMBIENT,
        worse="low",
        decimals=1,
        per_zone=ZONES,
        limits={
            "loose": Preset(warn=4.0, halt=2.0),
            "series": Preset(note=6.0, warn=5.0, halt=4.0),
            "strict": Preset(note=7.0, warn=6.0, halt=4.0),
        },
        limits_source=_WORST,
        comparable_when=_SAME,
    ),
    ReadingSpec(
        name="ambient.colour_shift",
        unit=Unit.DELTA_E,
        phrase="colour shift {value} ΔE",
        meaning="How much ambient light changes the colour of a light grey at the worst place.",
        low_end="0: no change of colour, whatever the brightness",
        high_end="no upper end; about 1 is just visible side by side",
        method="CIEDE2000 of a virtual neutral of L* 81 under flash plus ambient against flash alone, equal "
        "lightness, white = flash alone, from A / (T − A) per colour; the 98th percentile over groups of 3 × 3 "
        "tiles whose ± is under a third of the value, above L* 10; where there is none, a bound "
        "from the half of the groups with the least noise",
        source=_COLOUR_SOURCE,
        worse="high",
        per_zone=ZONES,
        limits={
            "loose": Preset(warn=2.0, halt=4.0),
            "series": Preset(note=0.5, warn=1.0, halt=2.0),
            "strict": Preset(note=0.3, warn=0.7, halt=1.5),
        },
        limits_source="half of the white balance limits of FADGI 2016 (2 at four stars, 4 at three): ambient "
        "light may use half of what the picture may be off by; the share is our choice",
        comparable_when=_SAME + "; the same flash white and camera matrices",
    ),
    ReadingSpec(
        name="ambient.temperature",
        unit=Unit.KELVIN,
        phrase="room light {value} K",
        called="colour temperature of the room",
        meaning="Correlated colour temperature of the ambient light. As good as the camera's matrix: its ± holds "
        "noise and black only.",
        low_end="1,000 K: candle red",
        high_end="100,000 K: blue sky; screens lie at 6,500 to 9,500",
        method="Ohno 2013 of the white for which the camera's neutral is A / (T − A) times its neutral under the "
        "flash's white, pooled over tiles with A above 10 × its ±; none where the ± exceeds 40 mired",
        source="Ohno, LEUKOS 10(1) 47-55, 2013; DNG 1.7.1.0 chapter 6",
        decimals=0,
        per_zone=ZONES,
        comparable_when="the same flash white as stated and the same matrices",
    ),
    ReadingSpec(
        name="ambient.tint",
        unit=Unit.DUV,
        phrase="tint green {value} Duv",
        called="tint of the room",
        phrase_below="tint magenta {value} Duv",
        phrase_zero="neither green nor magenta",
        meaning="Whether ambient light is greener or more magenta than a black body of its temperature.",
        low_end="below 0: magenta",
        high_end="above 0: green; daylight has +0.003",
        method="Duv of Ohno 2013, as `ambient.temperature`",
        source="Ohno, LEUKOS 10(1) 47-55, 2013; DNG 1.7.1.0 chapter 6",
        decimals=4,
        per_zone=ZONES,
        comparable_when="the same flash white as stated and the same matrices",
    ),
    ReadingSpec(
        name="ambient.structure",
        unit=Unit.PERCENT_OF_WHITE,
        phrase="reflection {value} % of white",
        called="reflection of the room",
        meaning="The brightest thing that the room lights and gloss mirrors: window, screen, lamp.",
        low_end="0: nothing stands out of even ambient light; given as a bound at the noise",
        high_end="100: as bright as diffuse white under the flash; brighter for a lamp in the picture",
        method="largest 3 × 3 median over fine tiles (288 along the long side) of A less what is ordinary there: "
        "the larger of the neighbourhood's A / (T − A) times T − A, and the neighbourhood's A (medians over a "
        "fifth of the frame); white is the tagged white level",
        source="common practice, no published source",
        worse="high",
        limits={
            "loose": Preset(warn=5.0),
            "series": Preset(note=1.0, warn=2.0, halt=5.0),
            "strict": Preset(note=0.5, warn=1.0, halt=2.0),
        },
        limits_source="common practice, no published source: no structure above 2 % of diffuse white in gloss",
        comparable_when=_SAME + "; the same exposure against white",
    ),
    ReadingSpec(
        name="ambient.flash_spread",
        unit=Unit.STOPS,
        phrase="flash differs by {value} {stops} between lit frames",
        meaning="How much the flash differs between the lit frames of one test: what a head does not repeat, the "
        "test cannot tell either.",
        low_end="0: every frame got the same flash",
        high_end="no upper end; a stop or more is a head that missed",
        method="largest less smallest of log2 of the flash part T − A against the measured lit frame, each the "
        "median over tiles that are usable in both",
        source="common practice, no published source",
        worse="high",
        limits={
            "loose": Preset(warn=0.15, halt=0.5),
            "series": Preset(note=0.05, warn=0.1, halt=0.3),
            "strict": Preset(note=0.03, warn=0.05, halt=0.2),
        },
        limits_source="common practice, no published source: heads that have settled repeat within 0.05 stop; the "
        "rest is our own choice",
        refines="ambient.stops_under",
        comparable_when=_SAME + "; the same power on every head",
    ),
)

ALARMS: dict[str, Alarm] = {
    "flash_in_dark": Alarm(Level.HALT, Rank.MISFIRE),
    "no_flash_in_lit": Alarm(Level.HALT, Rank.MISFIRE),
    "dark_like_flash": Alarm(Level.HALT, Rank.MISFIRE),
    "settings_differ": Alarm(Level.WARN, Rank.SETTINGS),
}
"""Findings that leave no test to judge, whatever the limits are."""

FINDINGS: dict[str, str] = {
    "flash_in_dark": "the dark frame is as bright as the lit one: the flash fired in it",
    "no_flash_in_lit": "the lit frame is no brighter than the dark one: the flash did not fire",
    "dark_like_flash": "a part of the dark frame is nearly as bright as the lit one, in the flash's own colour: a "
    "head may have fired",
    "settings_differ": "recorded settings differ between the frames",
    "scaled_shutter": "the dark frame was scaled by the ratio of the shutter times",
    "black_sources_differ": "only one frame has masked pixels; the tagged black is used for both",
    "below_black": "the dark frame lies below the stated black, so the ± was widened",
    "ambient_source": "where ambient light falls and its colour",
    "worst_place": "where ambient light comes nearest to the flash",
    "ambient_mirrored": "something lit by the room stands out of the dark frame",
    "single_dark": "only one dark frame: lamps on mains may flicker",
    "dark_spread": "how much the dark frames differ",
    "lit_chosen": "which of several lit frames is measured: the one of the middle level, of two the darker",
    "flash_repeatability": "how much the flash differs between lit frames",
    "prediction": "ambient light at other shutter times",
    "advice": "what to do about ambient light, in order",
}

REASONS: dict[str, str] = {
    "flash_in_dark": FINDINGS["flash_in_dark"],
    "no_flash_in_lit": FINDINGS["no_flash_in_lit"],
    "settings_differ": "settings differ by more than the dark frame may be scaled by",
    "continuous_light": "the set has continuous light: there is no flash to compare with",
    "colour_uncertain": "the colour of the ambient light is too uncertain to be stated",
    "one_lit": "only one lit frame of these settings was given",
    "at_floor": "no place is bright enough in the dark frame to be read",
}
