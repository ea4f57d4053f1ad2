"""What stands against the captures of a day, by cause: the headings of a report."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from qc.judge import OF_CAPTURE
from qc.reading import Level, Rank, Spec
from qc.result import Cause
from qc.series.findings import AMBIENT_TEST, LIGHT_CHANGED, NO_FLASH, SETTINGS_CHANGED
from qc.series.levels import severity

if TYPE_CHECKING:
    from qc.day import Day


@dataclass(frozen=True, slots=True, kw_only=True)
class CauseGroup:
    """One cause and the captures that it stands against.

    Attributes
    ----------
    reading : str
        Catalogue name of the reading, code of the finding, or ``"file.state"``.
    zone : str or None
        Zone.
    level : Level
        What it gives alone.
    answered : bool
        Whether a person answered it on these captures.
    frames : tuple of (str, Cause)
        Content and cause of each capture, in the order taken.
    """

    reading: str
    zone: str | None
    level: Level
    answered: bool = False
    frames: tuple[tuple[str, Cause], ...]

    @property
    def contents(self) -> tuple[str, ...]:
        """The captures, in the order taken."""
        return tuple(content for content, _ in self.frames)


def causes(day: Day, *, specs: Sequence[Spec] | None = None) -> tuple[CauseGroup, ...]:
    """Return every cause of every standing once, by reading or code, zone, level and whether it was answered.

    Parameters
    ----------
    day : Day
        The day.
    specs : sequence of Spec or None
        The measurements: which of their readings comes first; None for all of the registry.

    Returns
    -------
    tuple of CauseGroup
        Worst first, then in the order of `Rank`, then that with the most captures. Causes that give no level
        (something with a limit could not be read) come last.
    """
    from qc.measure import specs as all_specs

    groups: dict[tuple[str, str | None, Level, bool], list[tuple[str, Cause]]] = {}
    for taken in day.captures:
        for cause in taken.standing.causes:
            place = cause.reading, cause.zone
            key = (*place, cause.level, place in taken.standing.answered)
            groups.setdefault(key, []).append((taken.entry.content, cause))
    found = [
        CauseGroup(reading=reading, zone=zone, level=level, answered=answered, frames=tuple(frames))
        for (reading, zone, level, answered), frames in groups.items()
    ]
    ranks = _ranks(all_specs() if specs is None else specs)
    return tuple(sorted(found, key=lambda group: _order(group, ranks)))


def _order(group: CauseGroup, ranks: Mapping[str, int]) -> tuple[int, int, int, str, str, bool]:
    rank = ranks.get(group.reading, Rank.REST)
    if rank == Rank.PROTECTED and group.zone is None:
        rank = Rank.REST  # a burnt highlight goes first only where a zone must hold detail
    return -severity(group.level), rank, -len(group.frames), group.reading, group.zone or "", group.answered


def _ranks(specs: Sequence[Spec]) -> Mapping[str, int]:
    """Return the place of each reading and code in the order of importance that `qc.judge` and the series have."""
    alarms = {**OF_CAPTURE, **{code: alarm for spec in specs for code, alarm in spec.alarms.items()}}
    return {
        **{reading.name: int(spec.rank) for spec in specs for reading in spec.readings},
        **{code: int(alarm.rank) for code, alarm in alarms.items()},
        "file.state": Rank.ARRIVAL,
        SETTINGS_CHANGED: Rank.SETTINGS,
        NO_FLASH: Rank.MISFIRE,
        LIGHT_CHANGED: Rank.REST,
        AMBIENT_TEST: Rank.REST,
    }
