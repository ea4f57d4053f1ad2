"""A watch that runs in a thread of its own, and small captures to feed it."""

from __future__ import annotations

import io
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from qc.decode import BAYER
from qc.event import Event
from qc.frame import Camera
from qc.intake.updates import Heartbeat, Judged, Restated, Update
from qc.intake.watch import Watch
from qc.rehearse.dng import encode_dng
from qc.rehearse.sensor import Sensor

PATIENCE_S = 90.0
"""How long a test waits for what must happen before it gives up; how long it takes is not what is tested."""


def camera(number: int, **changes: Any) -> Camera:
    """Return settings of the nth frame of a morning, one every 10 s."""
    at = 36_000 + 10 * number
    taken = f"2026-11-25T{at // 3600:02d}:{at // 60 % 60:02d}:{at % 60:02d}.250+01:00"
    facts: dict[str, Any] = {"make": "Own", "model": "Body", "serial": "7", "iso": 100, "shutter_s": 1 / 125}
    return Camera(**facts | {"aperture": 11.0, "taken": taken} | changes)


@cache
def capture(number: int, *, level: float = 0.3, size: tuple[int, int] = (120, 180), ljpeg: bool = False) -> bytes:
    """Return the bytes of a small capture; each number is another one."""
    light = np.full((3, *size), level) * np.linspace(0.5, 1.5, size[1])
    sensor = Sensor()
    mosaic = sensor.expose(light, BAYER["RGGB"], np.random.default_rng(number))
    more: dict[str, Any] = {"compression": "ljpeg", "tile": (64, 64)} if ljpeg else {}
    return encode_dng(mosaic, black=sensor.black, white=int(sensor.white), camera=camera(number), **more)


def finished(number: int, *, taken: str | None = None) -> bytes:
    """Return the bytes of a JPEG, with a recorded time (Exif 2.32, tag 36867) or without."""
    light = np.random.default_rng(number).integers(0, 255, (64, 96, 3), dtype=np.uint8)
    exif = Image.Exif()
    if taken is not None:
        exif.get_ifd(0x8769)[36867] = taken
    file = io.BytesIO()
    Image.fromarray(light).save(file, "JPEG", exif=exif)
    return file.getvalue()


class Running:
    """What a watch has told so far."""

    def __init__(self, watch: Watch) -> None:
        self.watch = watch
        self.updates: list[Update] = []
        self.failure: BaseException | None = None
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            for update in self.watch.run():
                self.updates.append(update)
        except BaseException as error:  # noqa: BLE001 - told to the test, which fails by it
            self.failure = error

    def until(self, happened: Callable[[], bool], what: str) -> None:
        """Wait until something has happened."""
        end = time.monotonic() + PATIENCE_S
        while not happened():
            if self.failure is not None:
                raise self.failure
            assert time.monotonic() < end, f"never: {what}; told: {self.told()}"
            time.sleep(0.02)

    def ready(self) -> None:
        """Wait until the watch listens."""
        self.until(lambda: any(isinstance(u, Heartbeat) for u in list(self.updates)), "a heartbeat")

    def measured(self) -> list[Judged]:
        return [u for u in list(self.updates) if isinstance(u, Judged)]

    def restated(self) -> list[Restated]:
        return [u for u in list(self.updates) if isinstance(u, Restated)]

    def names(self) -> Counter[str]:
        """Return how often each name was told as measured."""
        return Counter(u.result.file.name for u in self.measured())

    def states(self) -> dict[str, str]:
        return {u.result.file.name: u.result.file.state for u in self.measured()}

    def events(self, kind: str) -> list[Event]:
        return [u for u in list(self.updates) if isinstance(u, Event) and u.kind == kind]

    def beat(self) -> Heartbeat:
        """Return the last heartbeat."""
        return [u for u in list(self.updates) if isinstance(u, Heartbeat)][-1]

    def told(self) -> list[str]:
        """Return everything told, in words, for a message."""
        return [
            u.text if isinstance(u, Event) else u.result.file.name
            for u in list(self.updates)
            if isinstance(u, Event | Judged)
        ]

    def wait_for(self, *names: str) -> None:
        """Wait until each of these was told as measured."""
        self.until(lambda: set(names) <= set(self.names()), f"{names} measured")

    def settle_down(self) -> None:
        """Wait until nothing waits and nothing arrives."""
        start = len(self.updates)

        def quiet() -> bool:
            beats = [u for u in self.updates[start:] if isinstance(u, Heartbeat)]
            return bool(beats) and beats[-1].waiting == 0 and not beats[-1].arriving

        self.until(quiet, "quiet")

    def stop(self) -> None:
        self.watch.stop()
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive(), "the watch did not end"
        if self.failure is not None:
            raise self.failure


@contextmanager
def watching(folder: Path, **how: Any) -> Iterator[Running]:
    """Run a watch over a folder; it listens when this returns."""
    running = Running(Watch(folder, **how))
    try:
        running.ready()
        yield running
    finally:
        running.stop()


def snapshot(folder: Path) -> dict[str, tuple[int, int, bytes]]:
    """Return names, times and bytes of everything in a folder."""
    found = {}
    for path in sorted(folder.rglob("*")):
        facts = path.lstat()
        found[str(path.relative_to(folder))] = (
            facts.st_mtime_ns,
            facts.st_mode,
            path.read_bytes() if path.is_file() else b"",
        )
    return found
