"""Times that cameras recorded, compared only where that can be done."""

from __future__ import annotations

from datetime import datetime, timedelta

from qc.series.entry import Entry

SLACK = timedelta(seconds=2)
"""By how much a time may lie before another and still be no earlier: times are cut to seconds, and the files of
one frame are written one after the other. Our own choice."""


def recorded(entry: Entry) -> datetime | None:
    """Return when a capture was taken by its camera's clock; None where that is not recorded."""
    try:
        return datetime.fromisoformat(entry.settings.taken or "")
    except ValueError:
        return None


def is_earlier(one: datetime | None, other: datetime | None) -> bool:
    """Tell whether a time lies before another by more than `SLACK`; of times that cannot be compared none does."""
    if one is None or other is None or (one.tzinfo is None) != (other.tzinfo is None):
        return False
    return other - one > SLACK
