"""Something kept for each group of captures of the same settings, the last few groups only."""

from __future__ import annotations

from typing import TypeVar

from qc.series.entry import Entry
from qc.settings import differing

T = TypeVar("T")

Groups = tuple[tuple[Entry, T], ...]
"""Last capture of each group and what is kept for the group, the group used last first."""

MOST = 8
"""Groups that are remembered. Our own choice: a set alternates between a few settings."""


def alike(a: Entry, b: Entry) -> bool:
    """Tell whether two captures of one body have the same recorded settings and size."""
    return a.size == b.size and not differing(a.settings, b.settings)


def kept(groups: Groups[T], entry: Entry, start: T) -> T:
    """Return what is kept for the capture's group, `start` for a new one."""
    return next((value for last, value in groups if alike(last, entry)), start)


def keeping(groups: Groups[T], entry: Entry, value: T) -> Groups[T]:
    """Return the groups with another value for the capture's own."""
    others = tuple(group for group in groups if not alike(group[0], entry))
    return ((entry, value), *others[: MOST - 1])
