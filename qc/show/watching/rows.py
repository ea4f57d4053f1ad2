"""Frames that wait for an answer, put together by what is wrong with them: one cause, one line, one answer."""

from __future__ import annotations

from collections.abc import Iterable

from qc.reading import Level
from qc.series.alarms import ONCE
from qc.series.entry import Standing
from qc.sheet.limits import Place

Row = list[tuple[str, Standing]]
"""File names and standings of frames that have the same first cause at the same level."""

ALARMS = (Level.HALT, Level.WARN)

Mark = tuple[str, Place | None, Level]
"""One alarm of one capture. One that was answered as a warn and becomes a halt is another."""


def rows_of(named: Iterable[tuple[str, Standing]]) -> list[Row]:
    """Return frames in rows, in the order of the first frame of each.

    A halt never shares a row with warns: whoever answers those has not seen it. Of one cause the halts come first.
    """
    rows: dict[object, Row] = {}
    for name, standing in named:
        place = place_of(standing)
        alone = place is None or place[0] in ONCE
        rows.setdefault(mark_of(standing) if alone else (place, standing.level), []).append((name, standing))
    return _gravest_first(list(rows.values()))


def mark_of(standing: Standing) -> Mark:
    """Return what an alarm is known by."""
    return standing.content, place_of(standing), standing.level


def place_of(standing: Standing) -> Place | None:
    """Return where the first cause of a standing is; None where nothing is wrong."""
    cause = standing.causes[0] if standing.causes else None
    return (cause.reading, cause.zone) if cause is not None else None


def waits(standing: Standing) -> bool:
    """Tell whether a capture waits for an answer."""
    return standing.level in ALARMS or is_unread(standing)


def is_unread(standing: Standing) -> bool:
    """Tell whether nothing could be measured of a file, and nobody has said that this is known."""
    place = place_of(standing)
    of_file = place is not None and place[0] == "file.state"
    return standing.level is Level.UNMEASURED and of_file and place not in standing.answered


def _gravest_first(rows: list[Row]) -> list[Row]:
    """Return rows with those at halt moved before the warns of the same cause."""
    ordered: list[Row] = []
    for row in rows:
        _, standing = row[0]
        same = [at for at, other in enumerate(ordered) if place_of(other[0][1]) == place_of(standing)]
        if standing.level is Level.HALT and same and ordered[same[0]][0][1].level is not Level.HALT:
            ordered.insert(same[0], row)
        else:
            ordered.append(row)
    return ordered
