"""Which one of a capture's causes is said of it, and whether it was said of the frame before already."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from qc.result import Cause
from qc.series.alarms import place_of
from qc.series.entry import Standing
from qc.words import ordinal


@dataclass(frozen=True, slots=True, kw_only=True)
class Foremost:
    """The one cause that is said of a capture.

    Attributes
    ----------
    cause : Cause
        Which.
    more : int
        How many others of its level there are.
    again : str
        ``"3rd in a row"`` where it was said of the frame before; else empty.
    """

    cause: Cause
    more: int
    again: str


def foremost_of(standing: Standing, before: Standing | None = None) -> Foremost | None:
    """Return which cause is said of a capture, and whether for the first time; None where nothing is wrong.

    Parameters
    ----------
    standing : Standing
        Of the capture.
    before : Standing or None
        Of the frame taken before it.
    """
    causes = worst_of(standing)
    if not causes:
        return None
    fresh = _fresh(causes, before) if standing.repeats > 1 else causes
    again = "" if fresh else f"{ordinal(standing.repeats)} in a row"
    return Foremost(cause=(fresh or causes)[0], more=len(causes) - 1, again=again)


def worst_of(standing: Standing) -> list[Cause]:
    """Return the first cause and those of its level. A clear frame may have one: what could not be looked at."""
    return [cause for cause in standing.causes if cause.level == standing.causes[0].level]


def _fresh(causes: Sequence[Cause], before: Standing | None) -> list[Cause]:
    """Return those causes of a frame with a repeated first one that are new or have become worse."""
    if before is None:
        return []
    # an alarm that was answered in the frame before is a new one in this
    levels = {place_of(cause): cause.level for cause in before.causes if place_of(cause) not in before.answered}
    places = [place_of(cause) for cause in causes]
    fresh = [cause for cause, place in zip(causes, places, strict=True) if levels.get(place) != cause.level]
    return [cause for cause in fresh if cause is not causes[0] or places[0] in levels]
