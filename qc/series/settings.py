"""Settings changed since the previous frame of the same body."""

from __future__ import annotations

from qc.errors import printable
from qc.reading import Level
from qc.series.entry import Entry
from qc.series.findings import NOTHING, SETTINGS_CHANGED, Told, told
from qc.settings import differing, in_words

State = Entry | None
"""The previous frame of the body."""

START: State = None


def step(previous: State, entry: Entry) -> tuple[State, Told]:
    """Take up the next frame of one body and kind.

    Parameters
    ----------
    previous : Entry or None
        The frame before it.
    entry : Entry
        A whole frame; dark ones count too, since an ambient test needs the settings of the shot.

    Returns
    -------
    (Entry, Told)
        A change is told once: the new settings are the norm from then on, and going back is a change too.
        What is not recorded is not compared.
    """
    changed = differing(previous.settings, entry.settings) if previous is not None else {}
    if previous is None or not changed:
        return entry, NOTHING
    pairs = {field: list(pair) for field, pair in changed.items()}
    text = in_words(changed, between="to")
    return entry, told(SETTINGS_CHANGED, Level.WARN, text, since=printable(previous.name), settings=pairs)
