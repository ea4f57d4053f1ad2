"""One step of the day for one capture: first what it shows beside its neighbours, then what alarms are up.

Two steps, since a row of alarms can be as long as the day while pictures are held against a few neighbours only: a
late capture then costs little (`qc.series.run`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from qc.reading import Spec, Worse
from qc.series import alarms, light, misfire, settings
from qc.series.entry import Entry, Purpose, Standing
from qc.series.findings import NOTHING
from qc.series.slots import Slot, Slots, found, same_body, with_slot
from qc.series.standing import Parted, own_verdict, parted
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
    stands : Parted
        What stands against it.
    dark : bool
        Whether it counts as a frame without flash.
    data : mapping
        Figures of the series' findings.
    """

    entry: Entry
    stands: Parted
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
        return state, Seen(entry=entry, stands=parted(entry, own_verdict(entry, dark=False)))
    slot = found(state, entry, same_body)
    body = slot.value if slot else Body()
    changed, of_settings = settings.step(body.settings, entry)
    flash, dark, of_flash = misfire.step(body.misfire, entry)
    lit, of_light = (body.light, NOTHING) if dark else light.step(body.light, entry)
    told = (of_settings, of_flash, of_light)
    series = [cause for one in told for cause in one.causes]
    seen = Seen(
        entry=entry,
        stands=parted(entry, own_verdict(entry, dark=dark), series),
        dark=dark,
        data={code: figures for one in told for code, figures in one.data.items()},
    )
    after = Slot(last=entry, value=Body(settings=changed, light=lit, misfire=flash))
    return with_slot(state, after, instead_of=slot, life=LIFE), seen


def weigh(state: UpState, seen: Seen, worse: Mapping[str, Worse]) -> tuple[UpState, Standing]:
    """Tell where the next capture in the order taken stands, with the alarms that are up on its body."""
    entry, stands = seen.entry, seen.stands
    causes = stands.causes
    after, easing = state, tuple[Place, ...]()
    count, first_name = (1, entry.name) if causes else (0, "")
    if entry.purpose is not Purpose.LEAVE_OUT:
        slot = found(state, entry, same_body)
        before = slot.value if slot else alarms.START
        up, easing = alarms.step(before, entry, stands.alarms, worse=worse, silent=seen.silent)
        last = slot.last if slot and entry.kind is None else entry  # the kind is known of the one before
        after = with_slot(state, Slot(last=last, value=up), instead_of=slot, life=LIFE)
        if causes and causes[0] in stands.alarms:  # what was answered is in no row
            first = up[alarms.place_of(causes[0])]
            count, first_name = first.count, first.first_name
    return after, Standing(
        content=entry.content,
        level=stands.level,
        causes=causes,
        repeats=count,
        first_name=first_name,
        easing=easing,
        data=seen.data,
        answered=tuple(alarms.place_of(cause) for cause in stands.answered),
    )


def worse_of(specs: Sequence[Spec]) -> Mapping[str, Worse]:
    """Return for each reading that can have a limit which way is worse."""
    return {r.name: r.worse for spec in specs for r in spec.readings if r.worse is not None}
