"""A sudden change of level against the last frames of the same settings and body."""

from __future__ import annotations

from qc.reading import Level
from qc.series.entry import Entry
from qc.series.findings import LIGHT_CHANGED, NOTHING, Told, told
from qc.series.shift import Shift, shift_of
from qc.series.slots import Slot, Slots, found, same_settings, with_slot
from qc.series.tiles import median_of
from qc.words import spoken_stops

NOTE, WARN = 0.15, 0.33
"""Stops of a change that get a level. Our own choice near the limits of an ordinary series, note 0.10, warn 0.20,
stop 0.33 (common practice, no published source: TRADE 1.2), and wider: those are held against the approved frame
through the same product, these without a sheet and whatever stands on the set."""

NOTE_CONTINUOUS, WARN_CONTINUOUS = 0.5, 1.0
"""The same where the sheet says that the light is continuous: a cloud is no fault. Our own choice."""

LAST = 5
"""Frames that a frame is held against."""

ENOUGH = 3
"""Frames that make a norm: so many are needed before a change is told, and after so many that differ in a row the
norm is theirs."""

LIFE = 30
"""Frames of the body with other settings after which the norm of these is forgotten. Our own choice: what stood on
the set so long ago says nothing about its light now."""

Kept = tuple[tuple[Entry, ...], tuple[Entry, ...]]
"""The frames that are the norm, and those that differed from it since the last that did not."""

State = Slots[Kept]
"""For each group of settings."""

START: State = ()


def step(state: State, entry: Entry) -> tuple[State, Told]:
    """Take up the next frame of one body and kind.

    Parameters
    ----------
    state : State
        After the frame before it.
    entry : Entry
        A whole frame that is not dark.

    Returns
    -------
    (State, Told)
        Nothing is told while the norm has fewer than `ENOUGH` frames, and where the picture as a whole does not
        agree on a change: then the scene changed, which is no fault.
    """
    if entry.light is None:
        return state, NOTHING
    slot = found(state, entry, same_settings)
    kept, shift = _next(slot.value if slot else ((), ()), entry)
    after = with_slot(state, Slot(last=entry, value=kept), instead_of=slot, life=LIFE)
    return after, _of(shift, entry) if shift is not None else NOTHING


def _next(kept: Kept, entry: Entry) -> tuple[Kept, Shift | None]:
    """Return what is kept from now on, and the change of light that is told."""
    norm, others = kept
    if len(norm) < ENOUGH:
        return ((*norm, entry), ()), None
    usual = median_of(norm)
    shift = shift_of(usual, entry.light) if usual is not None and entry.light is not None else None
    if shift is not None and abs(shift.stops) <= _limits(entry)[0]:
        return ((*norm, entry)[-LAST:], ()), None
    others = (*others, entry)
    return ((others, ()) if len(others) == ENOUGH else (norm, others)), shift


def _limits(entry: Entry) -> tuple[float, float]:
    return (NOTE, WARN) if entry.flash else (NOTE_CONTINUOUS, WARN_CONTINUOUS)


def _of(shift: Shift, entry: Entry) -> Told:
    note, warn = _limits(entry)
    strong = abs(shift.stops) > warn
    # a second decimal where the first would round a change onto its limit
    said = spoken_stops(shift.stops, 1 if abs(shift.stops) >= 0.4 else 2, signed=True)
    return told(
        LIGHT_CHANGED,
        Level.WARN if strong else Level.NOTE,
        f"{'light' if shift.shape == 'whole' else shift.shape} {said} against the last frames",
        limit=warn if strong else note,
        stops=round(shift.stops, 3),
        shape=shift.shape,
    )
