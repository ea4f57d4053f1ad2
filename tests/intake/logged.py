"""A watched folder with real captures measured, judged and logged as a watch does it."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from qc.event import Event, now
from qc.intake.intent import Intent
from qc.intake.updates import Stamp
from qc.log.keys import key_of, limits_digest
from qc.log.log import Log
from qc.log.rows import Captured
from qc.measure import specs
from qc.pipeline import measure_capture
from qc.result import Cause, Result
from qc.series.order import order_of
from qc.series.run import fold
from qc.series.tiles import light_of
from tests.cli.conftest import CAMERA, scene, write

SHEET = """\
[set]
name = "Stoneware bottles"
preset = "series"
[[zone]]
name = "label"
role = "protect"
box = [0.5, 0.5, 0.4, 0.4]
"""


@dataclass
class Day:
    """A folder, its output folder, and what a watch would do there."""

    folder: Path
    preset: str | None = None
    number: int = field(default=0)

    def __post_init__(self) -> None:
        self.folder.mkdir(parents=True, exist_ok=True)
        self.out.mkdir(exist_ok=True)

    @property
    def out(self) -> Path:
        return self.folder.with_name(f"{self.folder.name}.qc")

    def intent(self) -> Intent:
        return Intent(self.folder, self.out, preset=self.preset)

    def started(self, **data: object) -> None:
        with Log.open(self.out) as log:
            log.event(Event(kind="started", at=now(), text="watching", data=data))

    def shoot(self, name: str, *, burnt: bool = False, level: float = 0.3, seed: int = 0) -> Result:
        """Write a capture, measure it by what is intended now, and log it."""
        light = scene(level, burnt=burnt) * (1 + 1e-3 * seed + 1e-4 * self.number)
        path = self.folder / name
        path.parent.mkdir(exist_ok=True)
        write(path, np.asarray(light), CAMERA)
        return self.log(path)

    def log(self, path: Path) -> Result:
        self.number += 1
        intent = self.intent()
        sheet = intent.for_capture(path)
        result = measure_capture(path, sheet, preset=self.preset)
        found = path.stat()
        with Log.open(self.out) as log:
            log.add(
                Captured(
                    result=result,
                    path=str(path.relative_to(self.folder)),
                    stamp=Stamp(found.st_size, found.st_mtime_ns, found.st_ino),
                    key=key_of(result.file.content, sheet, specs()),
                    limits=limits_digest(sheet, self.preset, specs()),
                    sheet_text=intent.text_of(sheet) or None,
                    order=order_of(result.camera.settings, now(), path.name, self.number),
                    light=light_of(result.digest) if result.digest is not None else None,
                    took_s=0.1,
                )
            )
        return result

    def causes(self, name: str) -> list[Cause]:
        """Return what stands against a capture as the day has it now."""
        with Log.open(self.out) as log:
            entries = list(log.entries(specs()))
        content = {entry.content for entry in entries if entry.name == name}
        return [c for s in fold(entries, specs=specs()) if s.content in content for c in s.causes]

    def events(self, *kinds: str) -> list[Event]:
        with Log.open(self.out) as log:
            return [event for _, event in log.events(kinds=kinds or None)]
