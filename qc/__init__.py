"""framegauge: quality control of tethered captures on a still-life set.

``measure_capture(path)`` walks the whole way from a file to a verdict; ``open_frame`` and the measurements of
``qc.measure`` are there for those who want a single number. Names are resolved on first use, so that
``import qc`` costs nothing that is not needed.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.batch.check import check_day as check_day
    from qc.contract import event_json as event_json
    from qc.contract import from_json as from_json
    from qc.contract import to_json as to_json
    from qc.decode import MosaicHint as MosaicHint
    from qc.decode import frame_from_mosaic as frame_from_mosaic
    from qc.decode import open_frame as open_frame
    from qc.digest import Digest as Digest
    from qc.errors import CaptureError as CaptureError
    from qc.errors import DamagedError as DamagedError
    from qc.errors import EmptyError as EmptyError
    from qc.errors import LogError as LogError
    from qc.errors import QcError as QcError
    from qc.errors import SheetError as SheetError
    from qc.errors import TruncatedError as TruncatedError
    from qc.errors import UnreadableError as UnreadableError
    from qc.errors import UnsupportedError as UnsupportedError
    from qc.errors import UsageError as UsageError
    from qc.errors import VanishedError as VanishedError
    from qc.errors import WorkerLostError as WorkerLostError
    from qc.event import Event as Event
    from qc.frame import Camera as Camera
    from qc.frame import Cfa as Cfa
    from qc.frame import Frame as Frame
    from qc.intake.api import awatch as awatch
    from qc.intake.api import watch as watch
    from qc.intake.updates import Early as Early
    from qc.intake.updates import Heartbeat as Heartbeat
    from qc.intake.updates import Judged as Judged
    from qc.intake.updates import Recalled as Recalled
    from qc.intake.updates import Restated as Restated
    from qc.intake.watch import Watch as Watch
    from qc.log.log import Log as Log
    from qc.measure import specs as specs
    from qc.measure.ratio import position_ratio as position_ratio
    from qc.pipeline import measure_ambient as measure_ambient
    from qc.pipeline import measure_capture as measure_capture
    from qc.pipeline import measure_stages as measure_stages
    from qc.pipeline import rejudge as rejudge
    from qc.reading import Finding as Finding
    from qc.reading import Level as Level
    from qc.reading import Measured as Measured
    from qc.reading import Preset as Preset
    from qc.reading import Reading as Reading
    from qc.reading import ReadingSpec as ReadingSpec
    from qc.reading import Reason as Reason
    from qc.reading import Region as Region
    from qc.reading import Spec as Spec
    from qc.reading import TileMap as TileMap
    from qc.reading import Unit as Unit
    from qc.result import Cause as Cause
    from qc.result import Result as Result
    from qc.result import Verdict as Verdict
    from qc.series.entry import Purpose as Purpose
    from qc.series.entry import Standing as Standing
    from qc.sheet.brief import Brief as Brief
    from qc.sheet.effective import effective_sheet as effective_sheet
    from qc.sheet.find import find_sheet as find_sheet
    from qc.sheet.read import read_sheet as read_sheet
    from qc.sheet.sheet import Sheet as Sheet
    from qc.sheet.zones import Role as Role
    from qc.sheet.zones import Zone as Zone
    from qc.show.pictures import save_pictures as save_pictures

_PLACES = {
    "qc.batch.check": ("check_day",),
    "qc.decode": ("MosaicHint", "frame_from_mosaic", "open_frame"),
    "qc.digest": ("Digest",),
    "qc.errors": (
        "CaptureError",
        "DamagedError",
        "EmptyError",
        "LogError",
        "QcError",
        "SheetError",
        "TruncatedError",
        "UnreadableError",
        "UnsupportedError",
        "UsageError",
        "VanishedError",
        "WorkerLostError",
    ),
    "qc.frame": ("Camera", "Cfa", "Frame"),
    "qc.measure": ("specs",),
    "qc.measure.ratio": ("position_ratio",),
    "qc.pipeline": (
        "measure_ambient",
        "measure_capture",
        "measure_stages",
        "rejudge",
    ),
    "qc.reading": (
        "Finding",
        "Level",
        "Measured",
        "Preset",
        "Reading",
        "ReadingSpec",
        "Reason",
        "Region",
        "Spec",
        "TileMap",
        "Unit",
    ),
    "qc.result": ("Cause", "Result", "Verdict"),
    "qc.sheet.brief": ("Brief",),
    "qc.sheet.effective": ("effective_sheet",),
    "qc.sheet.find": ("find_sheet",),
    "qc.sheet.read": ("read_sheet",),
    "qc.sheet.sheet": ("Sheet",),
    "qc.sheet.zones": ("Role", "Zone"),
    "qc.contract": (
        "event_json",
        "from_json",
        "to_json",
    ),
    "qc.show.pictures": ("save_pictures",),
    "qc.event": ("Event",),
    "qc.intake.api": (
        "watch",
        "awatch",
    ),
    "qc.intake.watch": ("Watch",),
    "qc.log.log": ("Log",),
    "qc.series.entry": (
        "Purpose",
        "Standing",
    ),
    "qc.intake.updates": ("Early", "Heartbeat", "Judged", "Recalled", "Restated"),
}
_PLACE_OF = {name: place for place, names in _PLACES.items() for name in names}

__all__ = sorted(_PLACE_OF)
"""Every public name; a test holds it against the imports above."""


def __getattr__(name: str) -> object:
    if name not in _PLACE_OF:
        raise AttributeError(f"module 'qc' has no attribute {name!r}")
    value = getattr(import_module(_PLACE_OF[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*globals(), *__all__]
