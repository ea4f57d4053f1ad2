"""Something kept for each of several kinds of capture, and forgotten when none of the kind has come for a while.

What is forgotten cannot make a late capture matter for the rest of the day: so a late one is folded in quickly.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

from qc.series.entry import Entry
from qc.settings import different_body, differing

T = TypeVar("T")

Alike = Callable[[Entry, Entry], bool]
"""Whether two captures are of one kind."""

MOST = 8
"""Kinds that are remembered at once, the one that came last first. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Slot(Generic[T]):
    """What is kept of one kind.

    Attributes
    ----------
    last : Entry
        A capture of the kind.
    value : object
        What is kept.
    age : int
        How many captures of other kinds have come since.
    """

    last: Entry
    value: T
    age: int = 0


Slots = tuple[Slot[T], ...]


def same_settings(a: Entry, b: Entry) -> bool:
    """Tell whether two captures of one body have the same recorded settings and size."""
    return a.size == b.size and not differing(a.settings, b.settings)


def same_body(a: Entry, b: Entry) -> bool:
    """Tell whether two captures may be of one body and one kind of file.

    Of a file that could not be decoded the kind is not known, and what is not recorded is not compared.
    """
    kinds = {a.kind, b.kind} - {None}
    return len(kinds) < 2 and different_body(a.settings, b.settings) is None


def found(slots: Slots[T], entry: Entry, alike: Alike) -> Slot[T] | None:
    """Return the slot of a capture's kind, None where there is none."""
    return next((slot for slot in slots if alike(entry, slot.last)), None)


def with_slot(slots: Slots[T], slot: Slot[T], *, instead_of: Slot[T] | None, life: int) -> Slots[T]:
    """Return the slots with one that was used now.

    Parameters
    ----------
    slots : tuple of Slot
        As they were.
    slot : Slot
        The one used now.
    instead_of : Slot or None
        What it was before.
    life : int
        Captures of other kinds after which a kind is forgotten.
    """
    others = (replace(other, age=other.age + 1) for other in slots if other is not instead_of)
    return (slot, *(other for other in others if other.age <= life))[:MOST]
