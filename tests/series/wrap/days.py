"""Days made up for tests of the wrap: captures as the log gives them, without a log."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from qc.day import Day, Taken
from qc.event import Event
from qc.log.rows import Logged
from qc.result import CameraFacts, FileFacts, Result
from qc.series.entry import Entry
from qc.series.make import entry_of
from qc.series.order import order_of
from qc.series.run import fold
from tests.log.made import content
from tests.series.days import UNJUDGED, with_camera
from tests.sheet.toys import SPECS
from tests.show.results import result

SHEET = '[set]\nname = "Stoneware bottles, front"\n'


def logged(number: int, name: str = "", **changes: Any) -> Logged:
    """A capture named SB_NUMBER.dng, taken and arrived NUMBER seconds into the day.

    Changes are of a `Logged`, or ``folder``, ``taken``, ``arrival``, ``settings``, ``state``, ``bytes``, ``size``
    and further fields of a `Result`.
    """
    fields = set(Logged.__dataclass_fields__) - {"result"}
    own = {key: changes.pop(key) for key in list(changes) if key in fields}
    name = name or f"SB_{number:04}.dng"
    folder, arrival = changes.pop("folder", ""), changes.pop("arrival", number)
    at = f"2026-11-25T10:{arrival // 60 % 60:02}:{arrival % 60:02}.000+00:00"
    measured = _result(number, name, folder, changes)
    path = folder + name
    given: dict[str, Any] = {
        "content": measured.file.content or f"path:{path}",
        "path": path,
        "paths": (path,),
        "order": order_of(measured.camera.settings, at, name, arrival),
        "arrived_at": at,
        "replaced": False,
    }
    return Logged(result=measured, **given | own)


def _result(number: int, name: str, folder: str, changes: dict[str, Any]) -> Result:
    taken = changes.pop("taken", f"2026-11-25T09:{number // 60 % 60:02}:{number % 60:02}.000")
    settings = replace(changes.pop("settings", with_camera()), taken=taken)
    width, height = changes.pop("size", (600, 400))
    file = FileFacts(
        path=f"/day/{folder}{name}",
        name=name,
        bytes=changes.pop("bytes", 50_000_000),
        content=changes.pop("content_of_file", content(number)),
        state=changes.pop("state", "whole"),
        detail=changes.pop("detail", None),
        companions=changes.pop("companions", ()),
    )
    camera = CameraFacts(settings=settings, kind=changes.pop("kind", "mosaic"), width=width, height=height)
    given: dict[str, Any] = {"verdict": UNJUDGED, "readings": (), "findings": (), "regions": ()}
    return result(None, file=file, camera=camera, **given | changes)


def day(
    captures: Iterable[Logged],
    *,
    replaced: Sequence[Logged] = (),
    events: Sequence[Event] = (),
    **of_entries: dict[str, Any],
) -> Day:
    """A day of captures in any order; `of_entries` changes entries by the stem of their name: ``SB_0003={…}``."""
    entries: dict[str, Entry] = {}
    by_content = {}
    for one in captures:
        entry = entry_of(one.result, order=one.order, light=None, specs=SPECS, content=one.content)
        entries[one.content] = replace(entry, **of_entries.get(entry.name.partition(".")[0], {}))
        by_content[one.content] = one
    standings = fold(entries.values(), specs=SPECS)
    return Day(
        captures=tuple(
            Taken(logged=by_content[s.content], entry=entries[s.content], standing=s) for s in standings
        ),
        replaced=tuple(replace(one, replaced=True) for one in replaced),
        events=tuple(enumerate(events, start=1)),
    )


def event(kind: str, name: str | None = None, **fields: Any) -> Event:
    """An event of a capture."""
    return Event(kind=kind, at="2026-11-25T10:00:00.000+00:00", text=f"{kind} {name}", name=name, **fields)


def in_sets(one: Logged, text: str = SHEET, *, digest: str = "blake2b:5e", name: str | None = None) -> Logged:
    """A capture that was judged by a sheet of this text."""
    of_sheet = replace(one.result, sheet_digest=digest, sheet_name=name)
    return replace(one, sheet_text=text, result=of_sheet)
