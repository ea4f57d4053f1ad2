"""A watch on a pipe: plain lines, or JSON Lines with everything that happens in them."""

from __future__ import annotations

from collections.abc import Iterator

from qc.contract import json_line, standing_json, to_json
from qc.event import Event, now
from qc.intake.updates import Early, Judged, Restated, Update
from qc.reading import Level
from qc.result import Result
from qc.series.entry import Standing

ATTENTION = (Level.NOTE, Level.WARN, Level.HALT)
"""Levels that an event can have."""


def json_lines(update: Update) -> Iterator[str]:
    """Yield an update as lines of ``qc.capture/1`` or ``qc.event/1``; a heartbeat is none.

    Each capture that is told has one ``qc.capture/1``. Its first look, and what the day makes of it later, are
    events.
    """
    if isinstance(update, Judged):
        yield json_line(update.result, update.standing)
    elif isinstance(update, Early):
        yield json_line(first_look(update.result))
    elif isinstance(update, Restated):
        yield json_line(restated(update.name, update.standing))
    elif isinstance(update, Event):
        yield json_line(update)


def first_look(result: Result) -> Event:
    """Return a first look as an event; its readings and verdict are in the form of ``qc.capture/1``."""
    document = to_json(result)
    level = result.verdict.level
    reason = f": {result.verdict.causes[0].text}" if result.verdict.causes else ""
    return Event(
        kind="first_look",
        at=now(),
        text=f"{level} so far{reason}",
        name=result.file.name,
        content=result.file.content,
        level=level if level in ATTENTION else None,
        data={"state": result.file.state} | {key: document[key] for key in ("verdict", "readings", "findings")},
    )


def restated(name: str, standing: Standing) -> Event:
    """Return what the day makes of a capture now as an event."""
    reason = f": {standing.causes[0].text}" if standing.causes else ""
    return Event(
        kind="series",
        at=now(),
        text=f"now {standing.level}{reason}",
        name=name,
        content=standing.content,
        level=standing.level if standing.level in ATTENTION else None,
        data={"standing": standing_json(standing)},
    )
