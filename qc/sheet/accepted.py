"""`Acceptance`: what one capture shows is intended, so one limit at one place holds from a wider bar on.

Types and arithmetic; `qc.sheet.accepted_file` keeps acceptances as ``NAME.accepted.toml`` in the output folder. An
acceptance is for one reading at one place of one set: it never widens another.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal
from pathlib import Path

from qc.reading import Level, Preset, ReadingSpec, Worse
from qc.words import spoken_number, stop_word

SUFFIX = ".accepted.toml"

NO_SHEET = "set"
"""What a set without a sheet is called."""

MARGIN = Decimal("0.1")
"""Part of the observed value that an accepted limit lies beyond it. Our own choice: the next frame of the same
intention is never exactly like this one."""

Bars = list[tuple[Level, float]]
"""Severities that have a bar, gravest first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Acceptance:
    """One limit that was widened because what a capture shows is intended.

    Attributes
    ----------
    reading : str
        Catalogue name.
    zone : str or None
        Name of the zone, None for the frame.
    value : float
        What the capture showed, in the reading's unit.
    bar : float
        From where on it is an alarm again.
    was : float or None
        The gravest bar that the value had passed; None when a person did not keep it.
    capture : str
        File name of the capture, printable.
    content : str or None
        What it is known by.
    at : str
        Local time with offset, ISO 8601.
    """

    reading: str
    zone: str | None = None
    value: float
    bar: float
    was: float | None = None
    capture: str
    content: str | None = None
    at: str

    @property
    def origin(self) -> str:
        """Where a limit comes from that this acceptance set: ``"accepted at SB_0042.dng, 10:12"``."""
        return f"accepted at {self.capture}, {self.at[11:16]}"

    def same_as(self, other: Acceptance) -> bool:
        """Tell whether two are the same act, whatever bar it has now."""
        return (self.at, self.reading, self.zone) == (other.at, other.reading, other.zone)


def accepted_path(out: Path, sheet: Path | None, *, folder: Path | None = None) -> Path:
    """Return where the acceptances of a set are kept.

    Sheets of one name in different folders inside the watched one are different sets, and so is a set called
    ``set`` from what was accepted without a sheet: their files have names of their own.

    Parameters
    ----------
    out : Path
        The output folder.
    sheet : Path or None
        The set sheet; its name less ``.set.toml`` is the set's. Without one the set is called ``set``.
    folder : Path or None
        The watched folder; of a sheet that lies in a folder inside it, the way there is part of the name.
    """
    if sheet is None:
        return out / f"{NO_SHEET}{SUFFIX}"
    name = sheet.name.removesuffix(".toml").removesuffix(".set")
    if name == NO_SHEET:
        name = f"{NO_SHEET}.set"
    lies = Path(os.path.abspath(sheet)).parent  # noqa: PTH100 - as named
    if folder is not None and folder in lies.parents:
        name = "+".join((*lies.relative_to(folder).parts, name))
    return out / f"{name}{SUFFIX}"


def bar_for(value: float, spec: ReadingSpec) -> float:
    """Return the bar that an observed value gives: a tenth of it beyond it, at least one unit of the last decimal.

    Rounded outward to the decimals that people are shown, so that the bar is the number they read.

    Parameters
    ----------
    value : float
        Observed, in the reading's unit.
    spec : ReadingSpec
        The reading; one for which either direction is worse has a bar for its magnitude.
    """
    unit = Decimal(1).scaleb(-spec.decimals)
    seen = Decimal(repr(float(value)))
    margin = max(abs(seen) * MARGIN, unit)
    beyond = -seen if spec.worse == "low" else abs(seen) if spec.worse == "either" else seen
    rounded = (beyond + margin).quantize(unit, rounding=ROUND_CEILING)
    return float(-rounded if spec.worse == "low" else rounded) + 0.0  # never −0.0


def spoken_bar(acceptance: Acceptance, spec: ReadingSpec) -> str:
    """Say what is accepted as a photographer would, the zone's name first: "label burnt up to 0.77 %"."""
    either, bar = spec.worse == "either", acceptance.bar
    below = bool(spec.phrase_below) and (acceptance.value if either else bar) < 0
    phrase = spec.phrase_below if below else spec.phrase
    shown = abs(bar) if below else bar
    said = phrase.format(
        value=f"{'up' if either or (spec.worse == 'low') == below else 'down'} to"
        f" {spoken_number(shown, spec.decimals)}",
        stops=stop_word(shown, spec.decimals),
        zone=acceptance.zone or "frame",
    )
    if acceptance.zone is not None and "{zone}" not in phrase:
        said = f"{acceptance.zone} {said}"
    return f"{said} either way" if either else said


def widened(limit: Preset, acceptance: Acceptance, worse: Worse) -> tuple[Preset, frozenset[Level]]:
    """Return limits with an acceptance applied, and the severities whose bar it moved.

    The bars that the accepted value passed move to the acceptance's; a bar that the value keeps within stays, and
    no milder bar is moved beyond it.

    Parameters
    ----------
    limit : Preset
        The limits without it.
    acceptance : Acceptance
        What is accepted.
    worse : {"high", "low", "either"}
        The reading's direction.
    """
    sign = -1.0 if worse == "low" else 1.0
    value = abs(acceptance.value) if worse == "either" else sign * acceptance.value
    bar = sign * acceptance.bar
    values: dict[Level, float] = {}
    moved = set()
    for level, stands in _bars(limit):
        if sign * stands >= value:
            bar = min(bar, sign * stands)
        elif sign * stands < bar:
            values[level] = sign * bar
            moved.add(level)
            continue
        values[level] = stands
    return Preset(**{level.value: bar for level, bar in values.items()}), frozenset(moved)


def _bars(limit: Preset) -> Bars:
    given = ((Level.HALT, limit.halt), (Level.WARN, limit.warn), (Level.NOTE, limit.note))
    return [(level, bar) for level, bar in given if bar is not None]
