"""What a measurement and a verdict are known by: the same in every process and on every day.

A measurement depends on the capture's content, on the methods, on the zones with the sheet's brief, and on the
baseline; a verdict on these and on the limits. Whatever a key leaves out can change without decoding again.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING

from qc.intake.updates import Stamp
from qc.reading import Spec
from qc.sheet.limits import Limit, Place, resolve
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone

if TYPE_CHECKING:
    from qc.decode import MosaicHint


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """What one measurement is known by.

    Attributes
    ----------
    content : str or None
        What the capture is known by; None for a file that could not be read: the log then takes `known_as`.
    methods : str or None
        Names and versions of the measurements, as JSON in alphabetical order.
    zones : str or None
        ``"blake2b:…"`` of the zones, of the brief and of how a mosaic is to be read.
    baseline : str or None
        Content of the baseline; None where no measurement depends on it.
    """

    content: str | None
    methods: str | None
    zones: str | None
    baseline: str | None = None


def key_of(
    content: str | None,
    sheet: Sheet | None,
    specs: Sequence[Spec],
    baseline: str | None = None,
    *,
    mosaic: MosaicHint | None = None,
) -> Key:
    """Return the key of a measurement.

    Parameters
    ----------
    content : str or None
        What the capture is known by.
    sheet : Sheet or None
        With the zones that were measured; a sheet without zones that states nothing is as good as none.
    specs : sequence of Spec
        The measurements that were made, in any order.
    baseline : str or None
        Content of the baseline; left out where no measurement depends on it.
    mosaic : MosaicHint or None
        How an unmarked TIFF was read.
    """
    return Key(
        content=content,
        methods=methods_text({spec.name: spec.version for spec in specs}),
        zones=zones_digest(sheet, mosaic=mosaic),
        baseline=baseline if any(spec.baseline for spec in specs) else None,
    )


def limits_digest(sheet: Sheet | None, preset: str | None, specs: Sequence[Spec]) -> str:
    """Return what the limits are known by that `qc.sheet.limits.resolve` gives, wherever each comes from."""
    limits = resolve(specs, sheet, preset)
    ordered = sorted(limits.items(), key=lambda item: (item[0][0], item[0][1] is not None, item[0][1] or ""))
    alarms = {code: alarm.level for spec in specs for code, alarm in spec.alarms.items()}
    return _digest({"limits": [_limit(place, limit) for place, limit in ordered], "alarms": alarms})


def known_as(content: str | None, path: str, stamp: Stamp | None) -> str:
    """Return what a capture is known by in the log.

    Parameters
    ----------
    content : str or None
        ``"blake2b:…"`` where the file could be read.
    path : str
        As the operating system gives it.
    stamp : Stamp or None
        State of the file; None when it was gone.

    Returns
    -------
    str
        The content; for a file that could not be read (empty of it, locked, vanished) ``"unread:…"`` made from
        path and stamp, so that the log has that state of it once, and another state is another capture.
    """
    if content is not None:
        return content
    data = os.fsencode(path) + b"\0" + stamp_text(stamp).encode()
    return "unread:" + hashlib.blake2b(data, digest_size=32).hexdigest()


def pair_known_as(dark: str, lit: str) -> str:
    """Return what the ambient test of two frames is known by."""
    return "pair:" + hashlib.blake2b(f"{dark}\0{lit}".encode(), digest_size=32).hexdigest()


def stamp_text(stamp: Stamp | None) -> str:
    """Return a stamp as the log stores it: some disks number files beyond what SQLite holds as a number."""
    return "" if stamp is None else f"{stamp.size} {stamp.mtime_ns} {stamp.inode}"


def stamp_of(text: str) -> Stamp | None:
    """Read what `stamp_text` wrote."""
    return Stamp(*map(int, text.split())) if text else None


def sheet_key(text: str) -> str:
    """Return what the text of a sheet with its acceptances is known by."""
    return _digest(text)


def methods_text(methods: Mapping[str, int]) -> str:
    """Return names and versions of measurements in their one order."""
    return json.dumps(dict(methods), sort_keys=True)


def zones_digest(sheet: Sheet | None, *, mosaic: MosaicHint | None = None) -> str:
    """Return what zones, brief and the reading of a mosaic are known by; limits are not part of it."""
    intent = sheet or Sheet()
    hint = None if mosaic is None else asdict(mosaic)
    return _digest(
        {"zones": [_zone(zone) for zone in intent.zones], "brief": asdict(intent.brief()), "mosaic": hint}
    )


def _zone(zone: Zone) -> list[object]:
    return [zone.name, zone.role, zone.points, zone.reference, zone.lightness]


def _limit(place: Place, limit: Limit) -> list[object]:
    return [*place, asdict(limit.values), limit.origin, limit.accepted]


def _digest(value: object) -> str:
    text = json.dumps(value, sort_keys=True, ensure_ascii=True, allow_nan=False)
    return "blake2b:" + hashlib.blake2b(text.encode(), digest_size=32).hexdigest()
