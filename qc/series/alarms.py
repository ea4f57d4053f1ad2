"""Alarms that are up: how long, and easing until the value is well inside the limit that raised them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from qc.reading import Level, Worse
from qc.result import Cause
from qc.series.entry import Entry
from qc.series.findings import SETTINGS_CHANGED
from qc.series.levels import severity
from qc.sheet.limits import Place

EASED = 0.8
"""Part of its limit that a value must come under before the alarm is down (common practice, no published source:
hysteresis, TRADE 5 e); for a reading whose low values are worse, the limit over it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Up:
    """One alarm that is up.

    Attributes
    ----------
    level : Level
        Worst that raised it and has not eased.
    limit : float or None
        The limit of that; None for an alarm without a number.
    count : int
        Frames in a row in which it has been up.
    first_name : str
        File name of the first of them.
    """

    level: Level
    limit: float | None
    count: int
    first_name: str


ONCE = frozenset({SETTINGS_CHANGED, "file.state"})
"""Causes that are something that happened to one frame, not something that lasts: two in a row are two. A file
that is cut and one that is empty have nothing in common but that neither is whole."""

State = Mapping[Place, Up]
"""Alarms that are up, by reading or code, and zone."""

START: State = {}


def step(
    state: State, entry: Entry, causes: Sequence[Cause], *, worse: Mapping[str, Worse], silent: bool
) -> tuple[State, tuple[Place, ...]]:
    """Take up the next capture of one body.

    Parameters
    ----------
    state : State
        After the capture before it.
    entry : Entry
        The capture.
    causes : sequence of Cause
        What stands against it, answered and accepted ones left out.
    worse : mapping of str to str
        For each reading which way is worse.
    silent : bool
        Whether it says nothing about other alarms: a file that is not whole, a frame without flash.

    Returns
    -------
    (State, tuple of Place)
        The places: alarms that this capture would not raise and that are still up. Where a reading has no value
        in a capture its alarm stays as it is, neither counted nor ended.
    """
    after = {place_of(cause): _raised(state.get(place_of(cause)), entry, cause, worse) for cause in causes}
    easing = []
    for place, up in state.items():
        if place in after or place in entry.settled:
            continue
        value = entry.values.get(place)
        if silent or (value is None and up.limit is not None and place[0] in worse):
            after[place] = up
        elif value is not None and _still_up(up, value, worse.get(place[0])):
            after[place] = replace(up, count=up.count + 1)
            easing.append(place)
    return after, tuple(sorted(easing, key=lambda place: (place[0], place[1] or "")))


def place_of(cause: Cause) -> Place:
    """Return what a cause is counted under."""
    return cause.reading, cause.zone


def _raised(old: Up | None, entry: Entry, cause: Cause, worse: Mapping[str, Worse]) -> Up:
    new = Up(level=cause.level, limit=cause.limit, count=1, first_name=entry.name)
    if old is None or cause.reading in ONCE:
        return new
    value = entry.values.get(place_of(cause))
    worst = old if severity(old.level) > severity(new.level) else new
    if worst is old and (value is None or not _still_up(old, value, worse.get(cause.reading))):
        worst = new
    return Up(level=worst.level, limit=worst.limit, count=old.count + 1, first_name=old.first_name)


def _still_up(up: Up, value: float, worse: Worse | None) -> bool:
    if up.limit is None or worse is None or up.limit <= 0:
        return False  # of a limit of 0 there are no 80 %: such an alarm is down when nothing raises it
    if worse == "low":
        return value <= up.limit / EASED
    return (abs(value) if worse == "either" else value) >= EASED * up.limit
