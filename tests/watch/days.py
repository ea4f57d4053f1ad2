"""What a rehearsed day ought to give, what it gave, and why."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from qc.reading import Level
from qc.rehearse.day import Planned
from qc.rehearse.faults import Fault
from qc.series.entry import Standing

EVERY = tuple(Fault)
ALARMS = (Level.WARN, Level.HALT)


def expected(day: Sequence[Planned]) -> dict[str, Level]:
    """Return what ought to be answered: the name of each such frame and its level."""
    return {frame.name: frame.level for frame in day if frame.level in ALARMS}


def alarms(standings: Mapping[str, Standing]) -> dict[str, Level]:
    return {name: standing.level for name, standing in standings.items() if standing.level in ALARMS}


def explain(standings: Mapping[str, Standing]) -> str:
    """Return every alarm with its causes, for the message of a test that failed."""
    return "\n".join(
        f"{name}: {standing.level} {[cause.text for cause in standing.causes]}"
        for name, standing in standings.items()
        if standing.level in ALARMS
    )
