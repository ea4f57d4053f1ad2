"""What changed between two states of a set sheet, in words."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from qc.reading import Preset, ReadingSpec
from qc.sheet.accepted import Acceptance, spoken_bar
from qc.sheet.sheet import Sheet

_PLAIN = {
    "name": "name",
    "preset": "preset",
    "light": "light",
    "baseline": "baseline",
    "captures": "captures",
    "sync_limit_s": "sync limit",
    "needs": "needs",
    "flash_white": "white of the flash",
    "magnification": "magnification",
    "pixel_pitch_um": "pixel pitch",
    "circle_px": "circle",
}
"""Fields of a sheet that are said by their old and new value."""


def changes(old: Sheet, new: Sheet) -> tuple[str, ...]:
    """Return what changed from one state of a sheet to the next.

    Parameters
    ----------
    old, new : Sheet
        The two states.

    Returns
    -------
    tuple of str
        One clause each, in the order of the sheet; empty when nothing that counts changed.
    """
    return tuple(_changes(old, new))


def _changes(old: Sheet, new: Sheet) -> Iterator[str]:
    for field, word in _PLAIN.items():
        before, after = getattr(old, field), getattr(new, field)
        if before != after:
            yield f"{word} {_said(before)} → {_said(after)}"
    yield from _zones(old, new)
    yield from _limits(old.limits, new.limits, "frame")
    for zone in dict.fromkeys([*old.zone_limits, *new.zone_limits]):
        yield from _limits(old.zone_limits.get(zone, {}), new.zone_limits.get(zone, {}), zone)
    yield from _accepted(old, new)


def _zones(old: Sheet, new: Sheet) -> Iterator[str]:
    before, after = ({zone.name: zone for zone in sheet.zones} for sheet in (old, new))
    for name in dict.fromkeys([*before, *after]):
        if name not in after:
            yield f"zone {name} is gone"
        elif name not in before:
            yield f"zone {name} ({after[name].role}) is new"
        elif before[name].role != after[name].role:
            yield f"zone {name}: {before[name].role} → {after[name].role}"
        elif before[name].points != after[name].points:
            yield f"zone {name} moved"
        elif before[name] != after[name]:
            yield f"zone {name} changed"


def _limits(old: Mapping[str, Preset], new: Mapping[str, Preset], place: str) -> Iterator[str]:
    for name in dict.fromkeys([*old, *new]):
        if old.get(name) != new.get(name):
            yield f"{place}: {_known()[name].spoken_name}: {_bars(old.get(name))} → {_bars(new.get(name))}"


def _accepted(old: Sheet, new: Sheet) -> Iterator[str]:
    for one in old.accepted:
        now = next((other for other in new.accepted if other.same_as(one)), None)
        if now is None:
            yield f"not accepted any more: {_bar(one)}, from {one.capture}"
        elif now != one:
            yield f"accepted otherwise: {_bar(now)} (was {one.bar:g}), from {one.capture}"
    for one in new.accepted:
        if not any(other.same_as(one) for other in old.accepted):
            yield f"accepted: {_bar(one)}, from {one.capture}"


def _bar(one: Acceptance) -> str:
    return spoken_bar(one, _known()[one.reading])


def _known() -> Mapping[str, ReadingSpec]:
    from qc.measure import specs

    return {reading.name: reading for spec in specs() for reading in spec.readings}


def _bars(limit: Preset | None) -> str:
    if limit is None:
        return "the preset's"
    bars = [(word, getattr(limit, word)) for word in ("note", "warn", "halt")]
    return " ".join(f"{word} {bar:g}" for word, bar in bars if bar is not None) or "none"


def _said(value: object) -> str:
    if value is None or value == ():
        return "none"
    if isinstance(value, tuple):
        return ", ".join(str(part) for part in value)
    return f"{value:g}" if isinstance(value, float) else str(value)
