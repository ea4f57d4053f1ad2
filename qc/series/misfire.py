"""A frame without flash: a misfire, or the dark frame of an ambient test. The pixels are the same."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from qc.errors import printable
from qc.reading import Level
from qc.series.entry import Entry, Purpose
from qc.series.findings import AMBIENT_TEST, NO_FLASH, NOTHING, Told, told
from qc.series.slots import Slot, Slots, found, same_settings, with_slot
from qc.series.tiles import DARKEST, median_of
from qc.sheet.limits import Place

NEARLY_BLACK = "nearly_black"
"""The pipeline's code for a picture with nothing in it; the series' own cause takes its place."""

STOPS_UNDER = 3.0
"""More than this under the last lit frames is no flash (common practice, no published source)."""

NEARLY_ALL = 0.95
"""Part of the tiles that must lie so far under: a lamp may stand in the picture. Our own choice."""

FEWEST_TILES = 8
"""Tiles with enough light in the lit frames to say so."""

LAST = 5
"""Lit frames that a frame is held against."""

LIFE = 30
"""Lit frames of the body with other settings after which those of these are forgotten. Our own choice."""

RUNNING = 3
"""Lit frames of the same settings after which a series is running."""


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What is kept of one body.

    Attributes
    ----------
    lit : Slots of tuple of Entry
        Last lit frames of each group of settings.
    row : int
        Frames without flash in a row so far that nobody declared or answered.
    names : tuple of str
        File names of the first and the last of them.
    """

    lit: Slots[tuple[Entry, ...]] = ()
    row: int = 0
    names: tuple[str, ...] = ()


START = State()


def step(state: State, entry: Entry) -> tuple[State, bool, Told]:
    """Take up the next frame of one body and kind.

    Parameters
    ----------
    state : State
        After the frame before it.
    entry : Entry
        A whole frame.

    Returns
    -------
    (State, bool, Told)
        The bool: whether this is a dark frame, by declaration or by its pixels.
    """
    if not entry.flash:
        return state, False, NOTHING
    slot = found(state.lit, entry, same_settings)
    lit = slot.value if slot else ()
    if entry.purpose is Purpose.DARK:
        return State(lit=state.lit), True, _of_test(entry)
    if not _is_dark(lit, entry):
        after = Slot(last=entry, value=(*lit, entry)[-LAST:])
        return State(lit=with_slot(state.lit, after, instead_of=slot, life=LIFE)), False, NOTHING
    if is_answered(entry):
        no_row = State(lit=state.lit)
        return no_row, True, _of_misfire(no_row, entry, running=False)
    names = (*state.names[:1], entry.name)
    row = State(lit=state.lit, row=state.row + 1, names=names)
    return row, True, _of_misfire(row, entry, running=len(lit) >= RUNNING)


def is_answered(entry: Entry) -> bool:
    """Tell whether a person has answered that a frame has no flash."""
    return (NO_FLASH, None) in with_misfire(entry.settled)


def with_misfire(places: frozenset[Place]) -> frozenset[Place]:
    """Return places at which "nearly black" is "no flash" too: the series says so of what the pipeline found."""
    return places | {(NO_FLASH, None)} if (NEARLY_BLACK, None) in places else places


def _is_dark(lit: tuple[Entry, ...], entry: Entry) -> bool:
    if NEARLY_BLACK in entry.found:
        return True
    usual, now = median_of(lit), entry.light
    if usual is None or now is None or usual.shape != now.shape:
        return False
    enough = usual >= DARKEST  # NaN is not
    if int(enough.sum()) < FEWEST_TILES:
        return False
    under = now[enough] < usual[enough] * 2.0**-STOPS_UNDER
    return bool(np.mean(under) >= NEARLY_ALL)


def _of_misfire(state: State, entry: Entry, *, running: bool) -> Told:
    halt = running and state.row > 1
    text = "no flash in this frame"
    if halt:
        first, last = (printable(name) for name in state.names)
        text = f"no flash in {state.row} frames in a row: {first} {'and' if state.row == 2 else 'to'} {last}"
    if entry.ambient_text:
        text += f"; {_ambient(entry)}"
    level = Level.HALT if halt else Level.WARN
    return told(NO_FLASH, level, text, in_a_row=state.row, declared=False, lit=entry.ambient_lit)


def _of_test(entry: Entry) -> Told:
    if not entry.ambient_text:
        return NOTHING
    level = Level.UNJUDGED if entry.ambient is None else entry.ambient.level
    calm = level if level in (Level.CLEAR, Level.UNMEASURED) else Level.UNJUDGED
    return told(AMBIENT_TEST, calm, _ambient(entry), declared=True, lit=entry.ambient_lit)


def _ambient(entry: Entry) -> str:
    text = entry.ambient_text
    return text if text.startswith("ambient") else f"ambient {text}"
