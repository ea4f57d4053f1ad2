"""One step of the day for one capture: first what it shows beside its neighbours, then what alarms are up.

Two steps, since a row of alarms can be as long as the day while pictures are held against a few neighbours only: a
late capture then costs little (`qc.series.run`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from qc.reading import Level, Spec, Worse
from qc.result import Cause
from qc.series import alarms, light, misfire, settings
from qc.series.entry import Entry, Purpose, Standing
from qc.series.findings import NOTHING
from qc.series.levels import worst
from qc.series.slots import Slot, Slots, found, same_body, with_slot
from qc.series.standing import own_verdict, ranked, without
from qc.sheet.limits import Place

LIFE = 100
"""Captures of other bodies after which a body is forgotten. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What is kept of one body and kind of file: the state of each fold."""

    settings: settings.State = settings.START
    light: light.State = light.START
    misfire: misfire.State = misfire.START


@dataclass(frozen=True, slots=True, kw_only=True)
class Seen:
    """One capture beside its neighbours.

    Attributes
    ----------
    entry : Entry
        The capture.
    level : Level
        Of the verdict that counts for it apart from the series.
    causes : tuple of Cause
        All that stands against it, answered ones left out, most important first.
    dark : bool
        Whether it counts as a frame without flash.
    data : mapping
        Figures of the series' findings.
    """

    entry: Entry
    level: Level
    causes: tuple[Cause, ...] = ()
    dark: bool = False
    data: Mapping[str, Any] = field(default_factory=dict)

    @property
    def silent(self) -> bool:
        """Whether it says nothing about the alarms that other captures raised."""
        return self.dark or self.entry.state != "whole"


SeenState = Slots[Body]
UpState = Slots[alarms.State]


def see(state: SeenState, entry: Entry) -> tuple[SeenState, Seen]:
    """Hold the next capture in the order taken against its neighbours; one that is left out has none."""
    if entry.purpose is Purpose.LEAVE_OUT or entry.state != "whole":
        own = without(own_verdict(entry, dark=False), entry.answered)
        return state, Seen(entry=entry, level=own.level, causes=own.causes)
    slot = found(state, entry, same_body)
    body = slot.value if slot else Body()
    changed, of_settings = settings.step(body.settings, entry)
    flash, dark, of_flash = misfire.step(body.misfire, entry)
    lit, of_light = (body.light, NOTHING) if dark else light.step(body.light, entry)
    told = (of_settings, of_flash, of_light)
    own = without(own_verdict(entry, dark=dark), entry.answered)
    series = [cause for one in told for cause in one.causes if alarms.place_of(cause) not in entry.answered]
    causes = ranked(own, series)
    seen = Seen(
        entry=entry,
        level=worst(causes) or own.level,
        causes=causes,
        dark=dark,
        data={code: figures for one in told for code, figures in one.data.items()},
    )
    after = Slot(last=entry, value=Body(settings=changed, light=lit, misfire=flash))
    return with_slot(state, after, instead_of=slot, life=LIFE), seen


def weigh(state: UpState, seen: Seen, worse: Mapping[str, Worse]) -> tuple[UpState, Standing]:
    """Tell where the next capture in the order taken stands, with the alarms that are up on its body."""
    entry, causes = seen.entry, seen.causes
    after, easing = state, tuple[Place, ...]()
    count, first_name = (1, entry.name) if causes else (0, "")
    if entry.purpose is not Purpose.LEAVE_OUT:
        slot = found(state, entry, same_body)
        before = slot.value if slot else alarms.START
        up, easing = alarms.step(before, entry, causes, worse=worse, silent=seen.silent)
        last = slot.last if slot and entry.kind is None else entry  # the kind is known of the one before
        after = with_slot(state, Slot(last=last, value=up), instead_of=slot, life=LIFE)
        if causes:
            first = up[alarms.place_of(causes[0])]
            count, first_name = first.count, first.first_name
    return after, Standing(
        content=entry.content,
        level=seen.level,
        causes=causes,
        repeats=count,
        first_name=first_name,
        easing=easing,
        data=seen.data,
    )


def worse_of(specs: Sequence[Spec]) -> Mapping[str, Worse]:
    """Return for each reading that can have a limit which way is worse."""
    return {r.name: r.worse for spec in specs for r in spec.readings if r.worse is not None}
