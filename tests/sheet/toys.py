"""Measurements made up for tests of limits, judging and showing: no number of theirs is ever measured."""

from __future__ import annotations

from qc.reading import Alarm, Level, Measured, Preset, Rank, ReadingSpec, Spec, Unit, Worse
from qc.sheet.zones import Role, Zone


def reading_spec(
    name: str,
    *,
    unit: Unit = Unit.STOPS,
    phrase: str = "{value} stops",
    worse: Worse | None = None,
    per_zone: tuple[Role, ...] = (),
    per_frame: bool = True,
    limits: dict[str, Preset] | None = None,
    frame_limits: dict[str, Preset] | None = None,
    limit_roles: tuple[Role, ...] = (),
    decimals: int = 2,
) -> ReadingSpec:
    return ReadingSpec(
        name=name,
        unit=unit,
        phrase=phrase,
        meaning="what it is",
        low_end="none",
        high_end="all",
        method="how",
        source="invented for tests",
        worse=worse,
        decimals=decimals,
        per_zone=per_zone,
        per_frame=per_frame,
        limits=limits or {},
        frame_limits=frame_limits or {},
        limits_source="invented for tests" if limits or frame_limits else "",
        limit_roles=limit_roles,
    )


def nothing(*_: object, **__: object) -> Measured:
    return Measured()


BURNT = Spec(
    name="burnt",
    version=3,
    measure=nothing,
    rank=Rank.PROTECTED,
    findings={"glint": "a small burnt place"},
    reasons={"no_such_colour": "the sensor lacks it"},
    readings=(
        reading_spec(
            "burnt.area",
            unit=Unit.PERCENT_OF_CELLS,
            phrase="burnt {value} %",
            worse="high",
            per_zone=(Role.PROTECT, Role.SHARP),
            limits={"series": Preset(note=0.01, warn=0.05, halt=0.2), "strict": Preset(halt=0.0)},
            frame_limits={"series": Preset(warn=2.0)},
            limit_roles=(Role.PROTECT,),
        ),
        reading_spec("burnt.fact", unit=Unit.PERCENT, phrase="{value} % of a fact"),
    ),
)

BLUR = Spec(
    name="blur",
    version=1,
    measure=nothing,
    rank=Rank.FOCUS,
    readings=(
        reading_spec(
            "blur.width",
            unit=Unit.PIXELS,
            phrase="blur {value} px",
            worse="high",
            decimals=1,
            per_zone=(Role.SHARP,),
            per_frame=False,
            limits={"series": Preset(note=1.0, warn=1.5, halt=2.5)},
            limit_roles=(Role.SHARP,),
        ),
    ),
)

TINT = Spec(
    name="tint",
    version=1,
    measure=nothing,
    findings={"no_flash_in_lit": "the flash did not fire", "settings_differ": "settings differ"},
    alarms={
        "no_flash_in_lit": Alarm(Level.HALT, Rank.MISFIRE),
        "settings_differ": Alarm(Level.WARN, Rank.SETTINGS),
    },
    rank=Rank.COLOUR,
    readings=(
        reading_spec(
            "tint.under",
            phrase="room {value} stops under",
            worse="low",
            decimals=1,
            per_zone=(Role.PROTECT,),
            limits={"series": Preset(warn=6.0)},
        ),
        reading_spec(
            "tint.shift",
            unit=Unit.MIRED,
            phrase="warm {value} mired",
            worse="either",
            decimals=0,
            limits={"series": Preset(warn=5.0)},
        ),
    ),
)

SPECS = (BURNT, BLUR, TINT)

LABEL = Zone.from_box("label", Role.PROTECT, (0.1, 0.1, 0.2, 0.2))
NECK = Zone.from_box("neck", Role.SHARP, (0.4, 0.1, 0.2, 0.2))
