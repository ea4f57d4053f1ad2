"""What a measurement says: readings, findings, regions, maps, and the `Spec` that explains them.

Types only. A `Reading` is a number or the reason why there is none; a `Finding` is a fact in words with a
fixed code; a `Region` is a place. Nothing here knows a limit that was set, a path or a log.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import IntEnum, StrEnum
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from qc.frame import Frame, Kind
    from qc.sheet.brief import Brief
    from qc.sheet.zones import Role, Zone

Worse = Literal["high", "low", "either"]
Bound = Literal["at least", "at most"]
Drawing = Literal["outlines", "tiles", "arrows", "curve", "none"]


class Unit(StrEnum):
    """The closed list of units a reading may have, as they stand in JSON and in column headers."""

    PERCENT_OF_CELLS = "% of cells"
    PERCENT_OF_FRAME = "% of frame"
    PERCENT_OF_PHOTOSITES = "% of photosites"
    PERCENT_OF_DETAIL = "% of detailed area"
    PERCENT_OF_FLASH = "% of flash"
    PERCENT_OF_WHITE = "% of diffuse white"
    PERCENT = "%"
    STOPS = "stops"
    PIXELS = "px"
    PIXELS_PER_FRAME = "px per frame width"
    CYCLES = "cycles/px"
    DEGREES = "degrees"
    FRACTION = "fraction of frame"
    MILLIMETRES = "mm"
    LAB = "CIELAB units"
    DELTA_E = "ΔE00"
    KELVIN = "K"
    MIRED = "mired"
    DUV = "Duv"
    FACTOR = "factor"
    ELECTRONS_PER_DN = "e-/DN"


class Level(StrEnum):
    """Level of a verdict, mildest first; the last two say that there was nothing to judge."""

    CLEAR = "clear"
    NOTE = "note"
    WARN = "warn"
    HALT = "halt"
    UNJUDGED = "unjudged"
    UNMEASURED = "unmeasured"


class Rank(IntEnum):
    """Order of causes of the same level in a verdict: what a technician must know first comes first."""

    ARRIVAL = 10
    SETTINGS = 20
    MISFIRE = 30
    PROTECTED = 40
    FOCUS = 50
    MOVED = 60
    COLOUR = 70
    REST = 80


@dataclass(frozen=True, slots=True)
class Alarm:
    """A finding that has a level whatever the limits are.

    Attributes
    ----------
    level : Level
        ``note``, ``warn`` or ``halt``.
    rank : Rank
        Where it stands among causes of its level.
    """

    level: Level
    rank: Rank


@dataclass(frozen=True, slots=True)
class Reason:
    """Why a number is missing or has no ±.

    Attributes
    ----------
    code : str
        A fixed word from the measurement's `Spec.reasons` or from `COMMON_REASONS`.
    text : str
        One clause in words, with the figures of this case.
    """

    code: str
    text: str

    def __str__(self) -> str:
        return f"{self.code}: {self.text}"


COMMON_REASONS: Mapping[str, str] = {
    "wrong_kind": "this kind of file does not carry what the measurement needs",
    "too_small": "the frame or zone has too few pixels",
    "clipped": "too much of it is at saturation",
    "too_dark": "the signal does not stand clear of the noise",
    "no_noise_model": "the sensor's noise is not known, so a ± cannot be stated",
    "no_colour_matrix": "the file carries no usable camera matrix",
    "no_white_balance": "the file carries no white balance",
    "saturation_unknown": "the level at which the sensor saturates cannot be told from this frame",
    "not_recorded": "the file does not record a setting that is needed",
    "outside_frame": "the zone lies outside the frame",
}
"""Reasons that any measurement may give."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One number, or the reason why there is none.

    Attributes
    ----------
    name : str
        Catalogue name, ``measurement.quantity``.
    unit : Unit
        Unit of `value` and `plus_minus`.
    zone : str or None
        Name of the zone, or None for the frame.
    value : float or None
        The number; never NaN or infinite. None when it could not be measured.
    plus_minus : float or None
        Two standard errors, None when not estimated.
    bound : {"at least", "at most"} or None
        Set when the true value may lie beyond `value`; `value` is then the end a verdict must use.
    reason : Reason or None
        Why `value` is None.
    doubt : Reason or None
        Why `plus_minus` is None although there is a value; None where a ± has no meaning.
    """

    name: str
    unit: Unit
    zone: str | None = None
    value: float | None = None
    plus_minus: float | None = None
    bound: Bound | None = None
    reason: Reason | None = None
    doubt: Reason | None = None

    def __post_init__(self) -> None:
        if (self.value is None) == (self.reason is None):
            raise ValueError(f"{self.name}: a reading has either a value or a reason")
        for number in (self.value, self.plus_minus):
            if number is not None and not math.isfinite(number):
                raise ValueError(f"{self.name}: {number} is not a number that can be reported")


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """A fact in words, with a fixed code and plain data.

    Attributes
    ----------
    code : str
        A fixed word, listed in a `Spec.findings` or in `qc.decode.FINDINGS`.
    text : str
        One sentence for people.
    zone : str or None
        Name of the zone it belongs to.
    data : mapping
        JSON-ready figures behind the sentence.
    """

    code: str
    text: str
    zone: str | None = None
    data: Mapping[str, Any] = field(default_factory=dict)


Box = tuple[float, float, float, float]
"""Left, top, width, height as fractions of the upright picture."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Region:
    """A place in the picture that a measurement found.

    Attributes
    ----------
    what : str
        ``"clipped"`` (in some colour), ``"burnt"`` (most of it in every colour), ``"ambient"``, …
    box : tuple of float
        Left, top, width, height as fractions of the upright picture.
    area : float
        % of the frame.
    colours : str
        Letters of the colours concerned, such as ``"RG"``; empty where it does not apply.
    zone : str or None
        Name of the zone that holds most of it.
    edge : float or None
        Photosites from 90 % of saturation to saturation along the rim, for clipped regions.
    outline : tuple of (x, y)
        Closed outline in fractions of the upright picture, for drawings; not part of the JSON contract.
    """

    what: str
    box: Box
    area: float
    colours: str = ""
    zone: str | None = None
    edge: float | None = None
    outline: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class TileMap:
    """One number a tile, for drawings and folds; it never holds a verdict.

    Attributes
    ----------
    name : str
        The reading it maps, such as ``"sharpness.blur"``.
    unit : Unit
        Unit of `values`.
    values : ndarray of float32, shape (rows, columns)
        Sensor orientation as measured; NaN where a tile says nothing. Tiles divide the frame equally.
    drawing : str
        Which drawing kind shows it.
    low, high : float or None
        Ends of the scale where they are fixed; None to take them from the values.
    angles : ndarray of float32, shape (rows, columns), or None
        For ``"arrows"``: direction in degrees, anticlockwise from +x in sensor orientation.
    """

    name: str
    unit: Unit
    values: NDArray[np.float32]
    drawing: Drawing = "tiles"
    low: float | None = None
    high: float | None = None
    angles: NDArray[np.float32] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """All that one measurement returns for one frame."""

    readings: tuple[Reading, ...] = ()
    findings: tuple[Finding, ...] = ()
    regions: tuple[Region, ...] = ()
    maps: tuple[TileMap, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Preset:
    """Default limits of one reading under one preset; None where that severity is not used.

    For ``worse="high"`` a value above a limit trips it, for ``"low"`` a value below it, for ``"either"`` a
    magnitude above it.
    """

    note: float | None = None
    warn: float | None = None
    halt: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingSpec:
    """What one reading is: `qc explain`, presets, columns and drawings are made from this.

    Attributes
    ----------
    name : str
        Catalogue name, ``measurement.quantity``.
    unit : Unit
        Its unit.
    phrase : str
        How a photographer would say it, with ``{value}`` and, where useful, ``{zone}``: "burnt {value} %".
        ``{stops}`` is "stop" or "stops", as the number asks for.
    phrase_below : str
        The same for values below 0, whose sign it says in words: "cool by {value} mired" beside "warm by
        {value} mired". Empty where there are none, or where the sign is said as a sign.
    phrase_zero : str
        What is said in place of either where the number shown is 0: "neither warm nor cool".
    called : str
        What the quantity is called where it has no number: "depth of field"; by its catalogue name when empty.
    meaning : str
        What the number is, in one or two sentences.
    low_end, high_end : str
        What the smallest and the largest possible value mean.
    method : str
        How it is computed, with formula.
    source : str
        The publication with equation or clause, or "common practice, no published source".
    worse : {"high", "low", "either"} or None
        Which direction is worse; None for a bare fact that never has a limit.
    decimals : int
        Decimals shown to people.
    per_zone : tuple of Role
        Zone roles it is also measured in; the frame's own value is given when `per_frame`.
    per_frame : bool
        Whether the frame as a whole has a value.
    limits : mapping of str to Preset
        Default limits by preset name (``"loose"``, ``"series"``, ``"strict"``).
    limits_source : str
        Where the default limits come from; required when there are any.
    limit_roles : tuple of Role
        The zone roles that a preset's limits apply to; empty for the frame. A limit for the frame never
        falls onto a zone.
    frame_limits : mapping of str to Preset
        Default limits of the frame as a whole, by preset name, where `limits` belong to `limit_roles` and the
        frame has limits of its own beside them; the source is `limits_source` too.
    budget : bool
        Whether the `budget` that a zone of the sheet states is its limit, at warn.
    comparable_when : str
        What must be held constant for two values to be comparable.
    refines : str
        Catalogue name of the reading that this one adds to: where that one has a value, this one may be missing
        without anything having been left unread.
    """

    name: str
    unit: Unit
    phrase: str
    meaning: str
    low_end: str
    high_end: str
    method: str
    source: str
    worse: Worse | None = None
    decimals: int = 2
    per_zone: tuple[Role, ...] = ()
    per_frame: bool = True
    limits: Mapping[str, Preset] = field(default_factory=dict)
    limits_source: str = ""
    phrase_below: str = ""
    phrase_zero: str = ""
    called: str = ""
    limit_roles: tuple[Role, ...] = ()
    frame_limits: Mapping[str, Preset] = field(default_factory=dict)
    budget: bool = False
    comparable_when: str = ""
    refines: str = ""

    def __post_init__(self) -> None:
        if (self.limits or self.frame_limits) and not (self.limits_source and self.worse):
            raise ValueError(f"{self.name}: default limits need a source and a direction")

    @property
    def spoken_name(self) -> str:
        """What the quantity is called in words."""
        return self.called or self.name.partition(".")[2].replace("_", " ")


@dataclass(frozen=True, slots=True, kw_only=True)
class Spec:
    """One measurement: everything the rest of the house needs to know of it.

    Attributes
    ----------
    name : str
        Short name, first part of its readings' names.
    version : int
        Raised whenever the same frame would give another number.
    measure : callable
        ``measure(frame, *, zones, brief, companions) -> Measured``; pure.
    readings : tuple of ReadingSpec
        In the order of reporting.
    findings : mapping of str to str
        Codes of its findings and what each means.
    reasons : mapping of str to str
        Codes of its reasons beyond `COMMON_REASONS`.
    suspect : frozenset of str
        Codes of those reasons behind which the very fault may hide that a limit looks for.
    kinds : frozenset of str
        Kinds of frame it can judge; others get the reason ``wrong_kind``.
    companions : bool
        True when it needs further frames (dark frames) and so does not run on a single capture.
    first : bool
        True when a watch must know it before the rest is measured.
    baseline : bool
        True when its numbers depend on the baseline: they are measured again when that changes.
    alarms : mapping of str to Alarm
        Those of its findings that have a level of their own.
    rank : Rank
        Where its readings stand when a verdict has several causes.
    drawing : str
        Drawing kind of its main picture.
    """

    name: str
    version: int
    measure: Callable[..., Measured]
    readings: tuple[ReadingSpec, ...]
    findings: Mapping[str, str] = field(default_factory=dict)
    reasons: Mapping[str, str] = field(default_factory=dict)
    suspect: frozenset[str] = frozenset()
    kinds: frozenset[Kind] = frozenset({"mosaic", "linear", "rendered"})
    companions: bool = False
    first: bool = False
    baseline: bool = False
    alarms: Mapping[str, Alarm] = field(default_factory=dict)
    rank: Rank = Rank.REST
    drawing: Drawing = "none"

    def reading(self, name: str) -> ReadingSpec:
        """Return the specification of one reading.

        Raises
        ------
        KeyError
            When this measurement has no such reading.
        """
        for spec in self.readings:
            if spec.name == name:
                return spec
        raise KeyError(name)

    def __call__(
        self,
        frame: Frame,
        *,
        zones: Sequence[Zone],
        brief: Brief,
        companions: Sequence[Frame] = (),
    ) -> Measured:
        """Measure one frame; a kind it cannot judge gives the reason for every reading of the frame."""
        if frame.kind not in self.kinds:
            reason = Reason("wrong_kind", f"{self.name} cannot be read from a {frame.kind} file")
            return Measured(
                readings=tuple(
                    Reading(name=r.name, unit=r.unit, reason=reason) for r in self.readings if r.per_frame
                )
            )
        if self.companions:
            return self.measure(frame, zones=zones, brief=brief, companions=companions)
        return self.measure(frame, zones=zones, brief=brief)
