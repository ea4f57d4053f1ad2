"""Where a capture stands in the day: by the time it was taken, never by when it arrived or was measured.

A camera without a recorded offset is taken at its word: local time. A camera whose clock runs backwards gives
frames that stand earlier in the day: a fact, not an error.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from datetime import UTC, datetime
from itertools import groupby

from qc.frame import Camera
from qc.series.entry import Entry, Order, Purpose
from qc.series.tiles import light_of as light_of  # the log and the watch ask for both at once

_COUNTER = re.compile(r"([0-9]+)(?:\.[^.]*)?$")

_LAST, _FIRST = 9000, 1000
"""Frames of one moment with counters from the first on and under the second straddle a rollover 9999 → 0001."""


def order_of(settings: Camera, arrived: str, name: str, number: int) -> Order:
    """Return where a capture stands.

    Parameters
    ----------
    settings : Camera
        Its time taken is used where there is one: in UTC where an offset was recorded, else local as recorded.
    arrived : str
        Time of arrival, ISO 8601; its local part stands in for a time that the camera did not record.
    name : str
        File name; among frames of the same moment its trailing counter decides.
    number : int
        Number of arrival; decides last.

    Returns
    -------
    Order
        Sorts as text and numbers do, but for a counter that rolls over within one moment: see `in_order`.
    """
    time = _utc(settings.taken) or _wall(arrived)
    prefix, counter = divided(name)
    return time, prefix, int(counter or 0), number


def divided(name: str) -> tuple[str, str]:
    """Return what stands before the counter at the end of a file name, and its digits; none where it has none."""
    match = _COUNTER.search(name)
    return (name[: match.start()], match[1]) if match else (name, "")


def in_order(entries: Iterable[Entry]) -> list[Entry]:
    """Return the entries in the order taken."""
    by_order = sorted(entries, key=lambda entry: (entry.order, entry.content))
    return [entry for _, group in groupby(by_order, key=moment) for entry in _rolled(list(group))]


def moment(entry: Entry) -> tuple[str, str]:
    """Return what entries share whose counters alone tell which was first."""
    return entry.order[:2]


def _rolled(group: list[Entry]) -> Iterator[Entry]:
    # a frame that is left out has no say in where the others stand
    counters = [entry.order[2] for entry in group if entry.purpose is not Purpose.LEAVE_OUT] or [_FIRST]
    rolls_over = min(counters) < _FIRST and max(counters) >= _LAST
    start = next(i for i, entry in enumerate(group) if entry.order[2] >= _LAST) if rolls_over else 0
    return iter(group[start:] + group[:start])


def _utc(taken: str | None) -> str | None:
    """Return a recorded time as text that sorts; None for a time that cannot have been."""
    try:
        when = datetime.fromisoformat(taken or "")
        if when.tzinfo is not None:
            when = when.astimezone(UTC).replace(tzinfo=None)
    except (ValueError, OverflowError):
        return None
    return when.isoformat(timespec="milliseconds" if "." in (taken or "") else "seconds")


def _wall(arrived: str) -> str:
    try:
        return datetime.fromisoformat(arrived).replace(tzinfo=None).isoformat(timespec="milliseconds")
    except ValueError:
        return arrived
