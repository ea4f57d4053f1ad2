"""Which lit frame a dark frame is tested against."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence

from qc.series import body
from qc.series.entry import Entry, Purpose
from qc.series.order import in_order
from qc.settings import different_body, differing, not_scalable


def pairs(entries: Iterable[Entry]) -> Mapping[str, str]:
    """Return for each dark frame the nearest lit frame of the same settings, by content.

    Parameters
    ----------
    entries : iterable of Entry
        Captures of a day, in any order.

    Returns
    -------
    mapping of str to str
        Without the dark frames that have none. See `pairs_of`.
    """
    state: body.SeenState = ()
    dark = set()
    ordered = in_order(entries)
    for entry in ordered:
        state, seen = body.see(state, entry)
        if seen.dark:
            dark.add(entry.content)
    return pairs_of(ordered, dark)


def pairs_of(ordered: Sequence[Entry], dark: Collection[str]) -> Mapping[str, str]:
    """Return for each dark frame the nearest lit frame of the same settings, by content.

    Nearest in the order taken, counted in lit frames of the same body; of two equally near the one before, so
    that a frame that comes later takes its place only when it is nearer. Body, kind, size, aperture, ISO, lens
    and focal length are the same and the shutter time within one stop, as `qc.measure.ambient` allows; a patch
    frame and a clean plate show another scene and are not taken.

    Parameters
    ----------
    ordered : sequence of Entry
        Captures of a day in the order taken.
    dark : collection of str
        Contents of the dark ones among them.
    """
    found: dict[str, str] = {}
    for place, entry in enumerate(ordered):
        if entry.content not in dark:
            continue
        before = _first(entry, (ordered[i] for i in range(place - 1, -1, -1)), dark)
        after = _first(entry, (ordered[i] for i in range(place + 1, len(ordered))), dark)
        near = [one for one in (before, after) if one is not None]
        if near:
            found[entry.content] = min(near, key=lambda one: one[0])[1]
    return found


def _first(entry: Entry, others: Iterator[Entry], dark: Collection[str]) -> tuple[int, str] | None:
    """Return how many lit frames away the first one of the same settings is, and its content."""
    lit = (other for other in others if other.content not in dark and _is_lit_with(entry, other))
    for away, other in enumerate(lit):
        if _fits(entry, other):
            return away, other.content
    return None


def _is_lit_with(entry: Entry, other: Entry) -> bool:
    of_scene = other.purpose in (None, Purpose.BASELINE)
    same_kind = (other.state, other.kind) == ("whole", entry.kind)
    return of_scene and same_kind and different_body(entry.settings, other.settings) is None


def _fits(entry: Entry, other: Entry) -> bool:
    return (
        entry.size == other.size
        and not differing(entry.settings, other.settings).keys() & {"lens", "focal_mm"}
        and not not_scalable(other.settings, entry.settings)
    )
