"""The shape of a set sheet and of what was accepted, as pydantic checks it. Used where they are read only."""

from __future__ import annotations

from datetime import datetime
from fractions import Fraction
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from qc.sheet.zones import Role

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[Number, Field(gt=0)]
Percent = Annotated[Number, Field(ge=0, le=100)]
Chromaticity = Annotated[Number, Field(gt=0, lt=1)]
Words = Annotated[str, Field(min_length=1)]

SLACK = 1e-9
"""How far beyond the picture an edge may lie: fractions like 0.7 + 0.3 do not add up to 1 exactly."""


def _box(box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
    left, top, width, height = box
    if width <= 0 or height <= 0:
        raise ValueError("width and height must be above 0")
    _inside(((left, top), (left + width, top + height)))
    return box


def _points(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    if len(points) < 3:
        raise ValueError("needs at least three points")
    _inside(points)
    following = (*points[1:], points[0])
    twice_area = sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(points, following, strict=True))
    if abs(twice_area) < SLACK:
        raise ValueError("the points enclose no area")
    return points


def _inside(points: tuple[tuple[float, float], ...]) -> None:
    xs, ys = zip(*points, strict=True)
    if max(xs) <= 0 or min(xs) >= 1 or max(ys) <= 0 or min(ys) >= 1:
        raise ValueError("lies outside the picture: places are fractions of the picture, 0 to 1")
    if min(*xs, *ys) < -SLACK or max(*xs, *ys) > 1 + SLACK:
        raise ValueError("lies partly outside the picture: places are fractions of the picture, 0 to 1")


def seconds(value: object) -> float:
    """Read a shutter time: a number of seconds, or text such as ``"1/200"``.

    Raises
    ------
    ValueError
        When it is neither, or not above 0 and at most 1 s.
    """
    hint = 'must be a shutter time such as "1/200", or seconds'
    if isinstance(value, bool) or not isinstance(value, (int, float, str)):
        raise ValueError(hint)
    try:
        time = float(Fraction(value.strip().removesuffix("s").strip() if isinstance(value, str) else value))
    except (ValueError, OverflowError, ZeroDivisionError):
        raise ValueError(hint) from None
    if not 0 < time <= 1:
        raise ValueError(f"{value} is no time at which a flash is in step: {hint}")
    return time


def _reference(text: str) -> str:
    edition, slash, patch = text.partition("/")
    if text != "neutral" and not (slash and edition.strip() and patch.strip()):
        raise ValueError('must be "neutral" or "EDITION/patch"')
    return text


class _Table(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class LimitTable(_Table):
    """Limits of one reading."""

    note: Number | None = None
    warn: Number | None = None
    halt: Number | None = None


class ZoneTable(_Table):
    """One ``[[zone]]``."""

    name: Words
    role: Role
    box: Annotated[tuple[Number, Number, Number, Number], AfterValidator(_box)] | None = None
    points: Annotated[tuple[tuple[Number, Number], ...], AfterValidator(_points)] | None = None
    budget: Percent | None = None
    reference: Annotated[str, AfterValidator(_reference)] | None = None
    lightness: Annotated[Number, Field(gt=0, le=100)] | None = None
    limits: dict[str, LimitTable] = {}


class SetTable(_Table):
    """The ``[set]``."""

    name: Words | None = None
    preset: Literal["loose", "series", "strict"] | None = None
    light: Literal["flash", "continuous"] = "flash"
    baseline: Words | None = None
    captures: Words | None = None
    sync_limit: Annotated[float, BeforeValidator(seconds)] | None = None
    needs: tuple[Words, ...] = ()
    flash_white: tuple[Chromaticity, Chromaticity] | None = None
    magnification: Positive | None = None
    pixel_pitch_um: Positive | None = None
    circle_px: Positive | None = None


class SheetTables(_Table):
    """The whole sheet."""

    set: SetTable = SetTable()
    limits: dict[str, LimitTable] = {}
    zone: tuple[ZoneTable, ...] = ()


class AcceptedTable(_Table):
    """One ``[[accepted]]``."""

    reading: Words
    zone: Words | None = None
    value: Number
    bar: Number
    was: Number | None = None
    capture: Words
    content: Words | None = None
    at: datetime


class AcceptedTables(_Table):
    """All that was accepted for one set."""

    accepted: tuple[AcceptedTable, ...] = ()
