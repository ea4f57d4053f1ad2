"""What accepting a value would do to the limits in force: which bar moves and to where, or why none does."""

from __future__ import annotations

from dataclasses import replace

from qc.reading import Level, ReadingSpec
from qc.sheet.accepted import Acceptance, spoken_bar, widened
from qc.sheet.limits import Limit

_GRAVEST_FIRST = (Level.HALT, Level.WARN, Level.NOTE)


def raised(limit: Limit | None, acceptance: Acceptance, spec: ReadingSpec) -> Acceptance | str:
    """Return the acceptance as it will hold, or why it would change nothing.

    Parameters
    ----------
    limit : Limit or None
        What is in force at that place, earlier acceptances applied.
    acceptance : Acceptance
        What a capture shows, with the bar it asks for.
    spec : ReadingSpec
        Of its reading.

    Returns
    -------
    Acceptance or str
        With the bar that will be in force for the gravest severity that moves, no farther out than a graver one
        that stays, and what that was. Otherwise a clause: "already accepted: burnt up to 3.80 % (SB_0034.dng,
        10:12), so no limit changes".
    """
    if limit is None or spec.worse is None:
        return "nothing limits it any more, so no limit changes"
    after, moved = widened(limit.values, acceptance, spec.worse)
    for level in _GRAVEST_FIRST:
        if level in moved:
            return replace(acceptance, bar=getattr(after, level.value), was=getattr(limit.values, level.value))
    return f"{_in_force(limit, acceptance, spec)}, so no limit changes"


def _in_force(limit: Limit, acceptance: Acceptance, spec: ReadingSpec) -> str:
    """Say the nearest bar that the value is within already, and where it comes from."""
    level = next(level for level in reversed(_GRAVEST_FIRST) if getattr(limit.values, level.value) is not None)
    said = spoken_bar(replace(acceptance, bar=getattr(limit.values, level.value)), spec)
    origin = limit.origin_of(level)
    at = origin.removeprefix("accepted at ")
    return f"already accepted: {said} ({at})" if at != origin else f"within the limit already: {said} ({origin})"
