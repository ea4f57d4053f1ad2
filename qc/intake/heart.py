"""The heartbeat of a watch: a silent watcher is worse than none."""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Iterator
from pathlib import Path
from statistics import median
from typing import TYPE_CHECKING

from qc.disk import free_bytes
from qc.errors import printable
from qc.event import Event, now
from qc.intake.updates import Heartbeat
from qc.reading import Level
from qc.series.entry import Purpose

if TYPE_CHECKING:
    from qc.intake.arrivals import Arrivals
    from qc.intake.desk import Desk
    from qc.intake.intent import Intent
    from qc.intake.ledger import Ledger
    from qc.sheet.sheet import Sheet

SOONEST_S, LATEST_S = 1.0, 5.0
"""Seconds between heartbeats: at least when something changed, at most when nothing did."""

USUAL = 20
"""How many of the last captures tell the usual size of one."""


class Heart:
    """When to say how the watch stands, and what.

    Parameters
    ----------
    folder : Path
        The watched folder, for the free space of its disk.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._sizes: deque[int] = deque(maxlen=USUAL)
        self._last: tuple[str, float] | None = None
        self._measured = 0
        self._said: Heartbeat | None = None
        self._said_at = float("-inf")
        self._looked_at = float("-inf")
        self._hurry = False
        self._full = False

    @property
    def beating(self) -> bool:
        """Whether the watch has begun to tell how it stands."""
        return self._said is not None

    def came(self, name: str, size: int) -> None:
        """Note that a capture was told."""
        self._last = name, time.monotonic()
        self._measured += 1
        if size:
            self._sizes.append(size)

    def disk_news(self) -> Iterator[Event]:
        """Yield an event when the watched folder's disk has no room for one more capture, or has it again."""
        free = free_bytes(self._folder)
        full = free is not None and free < max(self._sizes, default=1)
        if full and not self._full:
            text = f"the disk of {printable(self._folder)} is full: the next capture has no room"
            yield Event(kind="disk_full", at=now(), text=text, level=Level.HALT)
        if self._full and not full:
            yield Event(kind="disk_room", at=now(), text=f"the disk of {printable(self._folder)} has room again")
        self._full = full

    def hurry(self) -> None:
        """Ask for a heartbeat at once."""
        self._hurry = True

    def pause(self) -> float:
        """Return the seconds until the next heartbeat is due at the latest."""
        return 0.0 if self._hurry else max(0.0, self._said_at + LATEST_S - time.monotonic())

    def time_to_look(self, every_s: float) -> bool:
        """Tell whether it is time again for what is done now and then; notes that it was."""
        due = time.monotonic() >= self._looked_at + every_s
        if due:
            self._looked_at = time.monotonic()
        return due

    def beat(
        self, arrivals: Arrivals, ledger: Ledger, desk: Desk, *, intent: Intent, running: int
    ) -> Heartbeat | None:
        """Return a heartbeat when one is due."""
        since = time.monotonic() - self._said_at
        if since < SOONEST_S and not self._hurry:
            return None
        free = free_bytes(self._folder)
        halts = tuple(desk.day.open_halts())
        names = {s.content: entry.name for s in halts if (entry := desk.day.entry(s.content)) is not None}
        beat = Heartbeat(
            last_name=self._last[0] if self._last else None,
            last_age_s=round(time.monotonic() - self._last[1], 1) if self._last else None,
            measured=self._measured,
            waiting=arrivals.waiting + running,
            arriving=arrivals.arriving,
            free_bytes=free,
            free_frames=int(free / median(self._sizes)) if free is not None and self._sizes else None,
            needs=_lacking(intent.sheet, desk.purposes()),
            folder=arrivals.folder_state,
            log=ledger.state,
            open_halts=halts,
            names=names,
            sheet_trouble=intent.trouble,
        )
        if not self._hurry and since < LATEST_S and not _news(beat, self._said):
            return None
        self._said, self._said_at, self._hurry = beat, time.monotonic(), False
        return beat


def _news(beat: Heartbeat, before: Heartbeat | None) -> bool:
    if before is None:
        return True
    told = (
        "last_name",
        "measured",
        "waiting",
        "arriving",
        "needs",
        "folder",
        "log",
        "open_halts",
        "sheet_trouble",
    )
    return any(getattr(beat, name) != getattr(before, name) for name in told)


def _lacking(sheet: Sheet | None, given: set[Purpose]) -> tuple[str, ...]:
    if sheet is None:
        return ()
    there = {purpose.value.replace("-", " ") for purpose in given}
    if sheet.baseline is not None:
        there.add(Purpose.BASELINE.value)
    return tuple(need for need in sheet.needs if need.replace("-", " ") not in there)
