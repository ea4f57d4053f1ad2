"""What people accepted as intended in a set, by which frame and when; what was taken back had never been."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qc.day import Day
from qc.event import Event
from qc.intake.filing import acceptance_of
from qc.log.said import said
from qc.reading import ReadingSpec, Spec
from qc.series.wrap.sheets import Set
from qc.sheet.accepted import Acceptance, spoken_bar
from qc.show.text import clean
from qc.words import spoken_number


@dataclass(frozen=True, slots=True, kw_only=True)
class Accepted:
    """One thing that was accepted.

    Attributes
    ----------
    text : str
        What: "label burnt up to 0.77 %, the limit was 0.20".
    frame : str
        File name of the frame that showed it, printable.
    at : str
        When, ISO 8601.
    """

    text: str
    frame: str
    at: str

    @property
    def clock(self) -> str:
        """Time of day, ``HH:MM``."""
        return self.at[11:16]


def accepted_in(one: Set, day: Day, specs: Sequence[Spec]) -> tuple[Accepted, ...]:
    """Return what was accepted in a set, oldest first; what was only answered still stands (`asks.seen`).

    From the log's events, and from the set's last sheet, whose acceptances a person may have written by hand.

    Parameters
    ----------
    one : Set
        The set.
    day : Day
        With its events.
    specs : sequence of Spec
        The measurements.
    """
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    contents = {taken.entry.content for taken in one.captures}
    acts = [event for _, event in said(day.events).acts if event.content in contents]
    told = (_told(acceptance, known) for acceptance in _acceptances(one, day, acts))
    return tuple(sorted(told, key=lambda accepted: accepted.at))


def _acceptances(one: Set, day: Day, acts: Sequence[Event]) -> Iterator[Acceptance]:
    ever = [acceptance_of(event) for _, event in day.events if event.kind == "accepted"]
    still = [acceptance_of(event) for _, event in said(day.events).acts if event.kind == "accepted"]
    here = [acceptance_of(event) for event in acts if event.kind == "accepted"]
    on_sheet = one.sheet.accepted if one.sheet is not None else ()
    for acceptance in on_sheet:
        # taken back since the last frame was judged
        if not _among(acceptance, ever) or _among(acceptance, still):
            yield acceptance
    yield from (acceptance for acceptance in here if not _among(acceptance, on_sheet))


def _among(acceptance: Acceptance, others: Sequence[Acceptance]) -> bool:
    return any(acceptance.same_as(other) for other in others)


def _told(acceptance: Acceptance, known: dict[str, ReadingSpec]) -> Accepted:
    spec = known.get(acceptance.reading)
    place = f" {acceptance.zone}" if acceptance.zone else ""
    text = (
        f"{acceptance.reading}{place} up to {acceptance.bar:g}" if spec is None else spoken_bar(acceptance, spec)
    )
    if acceptance.was is not None and spec is not None:
        text += f"; the limit was {spoken_number(acceptance.was, spec.decimals)}"
    return Accepted(text=clean(text), frame=clean(acceptance.capture), at=acceptance.at)
