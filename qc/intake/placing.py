"""What a new result is to the captures that are known: a new one, the same again, another content under its name.

The watch and the check of a whole day both file their results by this, so that their logs say the same.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.event import Event, now
from qc.intake.roster import Roster
from qc.intake.updates import Stamp
from qc.log.keys import key_of, known_as, limits_digest
from qc.log.rows import Captured
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.order import light_of, order_of
from qc.sheet.sheet import Sheet

if TYPE_CHECKING:
    from qc.decode import MosaicHint


@dataclass(frozen=True, slots=True, kw_only=True)
class Arrived:
    """A capture to be measured.

    Attributes
    ----------
    path : str
        Relative to the watched folder.
    stamp : Stamp
        Of the content that is complete.
    at : str
        When it was first seen; local time with offset, ISO 8601.
    number : int
        Number of arrival, in this watch.
    tried : bool
        Whether a worker was lost over it before.
    """

    path: str
    stamp: Stamp
    at: str
    number: int
    tried: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """What a capture was measured and judged by.

    Attributes
    ----------
    sheet : Sheet or None
        The set sheet with its acceptances.
    preset : str or None
        Default limits in place of the sheet's.
    text : str or None
        Text of the sheet and of its acceptances.
    mosaic : MosaicHint or None
        How an unmarked TIFF was read.
    """

    sheet: Sheet | None
    preset: str | None
    text: str | None
    mosaic: MosaicHint | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """How a result stands to what is known of its path and content.

    Attributes
    ----------
    content : str
        What the capture is known by.
    before : str or None
        What its path held before.
    twin : str or None
        Another path that holds the same.
    joined : tuple of str
        Paths of the finished pictures that belong to it.
    replaced : tuple of str
        Contents that it stands for from now on.
    """

    content: str
    before: str | None
    twin: str | None
    joined: tuple[str, ...]
    replaced: tuple[str, ...]


def place_of(roster: Roster, path: str, stamp: Stamp, content: str | None) -> Place:
    """Return how a result with a content (None: it could not be read) stands to what a roster knows."""
    content = known_as(content, path, stamp)
    before = roster.content_of(path)
    joined = roster.finished_of(path)
    kept = before is not None and roster.twin_of(path, before) is not None
    old = dict.fromkeys((None if kept else before, *(roster.content_of(one) for one in joined)))
    return Place(
        content=content,
        before=before,
        twin=roster.twin_of(path, content),
        joined=joined,
        replaced=tuple(one for one in old if one not in (None, content)),
    )


def captured(
    arrived: Arrived,
    result: Result,
    used: Used,
    place: Place,
    *,
    specs: Sequence[Spec],
    took_s: float = 0.0,
    complaints: str = "",
    events: Sequence[Event] = (),
    clock: Clock | None = None,
) -> Captured:
    """Return what the log is to hold of a capture; its result says what joined it and what it replaces.

    With a `clock`, a capture that recorded no time is placed by it, and one that did sets it.
    """
    settings, clock = result.camera.settings, clock or Clock()
    order = order_of(settings, clock.time_of(arrived.stamp), result.file.name, arrived.number)
    if settings.taken is not None:
        clock.note(order[0], arrived.stamp)
    facts = replace(result.file, companions=tuple(Path(path).name for path in place.joined))
    result = replace(result, file=facts, replaces=place.replaced[0] if place.replaced else None)
    return Captured(
        result=result,
        path=arrived.path,
        stamp=arrived.stamp,
        key=key_of(place.content, used.sheet, specs, mosaic=used.mosaic),
        limits=limits_digest(used.sheet, used.preset, specs),
        sheet_text=used.text,
        complaints=complaints,
        light=light_of(result.digest) if result.digest is not None else None,
        order=order,
        took_s=took_s,
        events=tuple(events),
        arrived_at=arrived.at,
        replaces=place.replaced,
    )


def events_of(roster: Roster, path: str, place: Place, *, was_whole: bool = True) -> Iterator[Event]:
    """Yield what has to be told of a result besides what was measured.

    Parameters
    ----------
    roster : Roster
        What is known of the folder.
    path : str
        Of the capture.
    place : Place
        How its result stands to what is known.
    was_whole : bool
        Whether what was measured under this path before was a whole file.
    """
    name = Path(path).name
    shown = printable(name)

    def event(kind: str, text: str, level: Level | None = None, **data: object) -> Event:
        return Event(kind=kind, at=now(), text=text, name=name, content=place.content, level=level, data=data)

    if place.twin is not None:
        twin = printable(Path(place.twin).name)
        if twin == shown:  # two folders
            shown, twin = printable(path), printable(place.twin)
        renamed = not roster.is_present(place.twin)
        text = f"{shown} is {twin} {'under another name' if renamed else 'once more'}: not measured again"
        yield event("duplicate", text, Level.NOTE, of=place.twin, renamed=renamed)
    elif place.before not in (None, place.content):
        text = f"{shown} holds another capture than before" if was_whole else f"{shown} is complete now"
        yield event("new_content", text)
    for one in place.joined:
        yield event("joined", f"{printable(Path(one).name)} belongs to {shown}")


class Clock:
    """How the camera's clock stands to the times at which its files were written.

    A capture that recorded no time, such as a cut one, is placed by it among those that did; the time at which it
    was found would put it last in a day that is checked at its end, and wherever the camera's clock is off.
    """

    def __init__(self) -> None:
        self._ahead = timedelta()

    def note(self, time: str, stamp: Stamp) -> None:
        """Take up a capture's recorded time, as `qc.series.order` has it, and when its file was written."""
        try:
            self._ahead = datetime.fromisoformat(time) - _written(stamp)
        except ValueError:  # a time that cannot have been
            return

    def time_of(self, stamp: Stamp) -> str:
        """Return the time that a capture without one would have recorded."""
        return (_written(stamp) + self._ahead).isoformat(timespec="milliseconds")


def _written(stamp: Stamp) -> datetime:
    return datetime.fromtimestamp(stamp.mtime_ns / 1e9)
