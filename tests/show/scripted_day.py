"""A day at the set as a watch would tell it, for tests and for looking at: ``python -m tests.show.scripted_day``.

Nothing is measured: the updates are made up. ``--pace 0.2`` makes it five times as fast, ``--json`` shows what a
program reads, ``| cat`` what a pipe gets. The first argument names the folder that would be watched.
"""

from __future__ import annotations

import argparse
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from qc.event import Event, now
from qc.intake.updates import Early, Heartbeat, Judged, Restated, Update
from qc.reading import Level, Spec
from qc.result import Cause, FileFacts, Result, Verdict
from qc.series.entry import Standing
from qc.show.watching.menu import Act, Wish
from tests.sheet.toys import SPECS
from tests.show.results import CAMERA, result

NASTY = "\x1b[31mred[/bold]\tשלום_瓶子_e\u0301\u0301\u0301\u0301\u0301\udcff_" + "very" * 12 + "_0001.dng"
"""Control characters, markup, letters from the right, wide signs, heaps of marks, a byte that is not UTF-8."""

BURNT = Cause(
    reading="burnt.area",
    zone="label",
    level=Level.WARN,
    limit=0.05,
    origin="preset series",
    text="label burnt 0.12 %",
)
NO_FLASH = Cause(
    reading="no_flash", zone=None, level=Level.WARN, limit=None, origin="always", text="no flash in this frame"
)
CHANGED = Cause(
    reading="settings_changed",
    zone=None,
    level=Level.WARN,
    limit=None,
    origin="always",
    text="settings changed since SB_0017.dng: aperture f/8 was f/11, ISO 200 was ISO 100",
)
SOFT = Cause(
    reading="blur.width", zone="neck", level=Level.WARN, limit=1.5, origin="preset series", text="neck blur 1.8 px"
)
CUT = Cause(
    reading="file.state",
    zone=None,
    level=Level.HALT,
    limit=None,
    origin="always",
    text="truncated: the picture's data end at 11.2 of 24.7 MB, and nothing writes to the file any more",
)


FULL: dict[str, Any] = {"free_bytes": 212_000_000_000, "free_frames": 8_590, "needs": ("dark", "patch")}


def cause(base: Cause, level: Level | None = None, text: str | None = None) -> Cause:
    return replace(base, level=level or base.level, text=text or base.text)


def shot(number: int, name: str | None = None, *, causes: Sequence[Cause] = (), sheet: bool = True) -> Result:
    name = name or f"SB_{number:04}.dng"
    seconds = 36_000 + number * 21
    taken = f"2026-11-25T{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}+01:00"
    level = causes[0].level if causes else Level.CLEAR if sheet else Level.UNJUDGED
    return replace(
        result(),
        file=FileFacts(path=f"in/{name}", name=name, bytes=24_700_000, content=f"blake2b:{number:04}"),
        camera=replace(CAMERA, settings=replace(CAMERA.settings, taken=taken)),
        verdict=Verdict(level=level, causes=tuple(causes)),
    )


def standing(of: Result, *, causes: Sequence[Cause] | None = None, repeats: int = 0, first: str = "") -> Standing:
    causes = of.verdict.causes if causes is None else tuple(causes)
    level = causes[0].level if causes else of.verdict.level if not of.verdict.causes else Level.CLEAR
    repeats = repeats or (1 if causes else 0)
    return Standing(
        content=str(of.file.content),
        level=level,
        causes=tuple(causes),
        repeats=repeats,
        first_name=first or (of.file.name if causes else ""),
    )


def measured(of: Result, *, repeats: int = 0, first: str = "") -> Judged:
    return Judged(result=of, standing=standing(of, repeats=repeats, first=first))


def event(kind: str, text: str, level: Level | None = None, name: str | None = None) -> Event:
    return Event(kind=kind, at=now(), text=text, level=level, name=name)


@dataclass
class Day:
    """Tells the day; keeps what the heartbeats say."""

    count: int = 0
    beat: Heartbeat = field(default_factory=lambda: Heartbeat(**FULL))
    halts: dict[str, tuple[str, Standing]] = field(default_factory=dict)

    def heart(self, **changes: object) -> Heartbeat:
        names = {content: name for content, (name, _) in self.halts.items()}
        halts = tuple(own for _, own in self.halts.values())
        self.beat = replace(self.beat, open_halts=halts, names=names, measured=self.count)
        self.beat = replace(self.beat, **changes)  # type: ignore[arg-type]  # a test names any field
        return self.beat

    def frame(self, of: Result, *, repeats: int = 0, first: str = "") -> Iterator[Update]:
        self.count += 1
        yield self.heart(last_name=of.file.name, last_age_s=0.4, waiting=1)
        yield Early(result=replace(of, digest=None))
        whole = measured(of, repeats=repeats, first=first)
        if whole.standing.level is Level.HALT:
            self.halts[whole.standing.content] = of.file.name, whole.standing
        yield whole
        yield self.heart(last_age_s=1.6, waiting=0)

    def answered(self, of: Result) -> Iterator[Update]:
        self.halts.pop(str(of.file.content), None)
        yield Restated(name=of.file.name, standing=standing(of, causes=()))
        yield self.heart()

    def __iter__(self) -> Iterator[Update]:
        yield event("started", "watching in/bottles")
        yield self.heart()
        for number in range(1, 8):
            yield from self.frame(shot(number))
        dark = shot(8, causes=[NO_FLASH])
        yield from self.frame(dark)
        yield event("role", "SB_0008.dng is a dark frame", name="SB_0008.dng")
        yield Restated(
            name="SB_0008.dng",
            standing=standing(
                dark,
                causes=[
                    cause(NO_FLASH, Level.NOTE, "dark: 6.8 stops under the flash of SB_0007.dng, at worst 5.1")
                ],
            ),
        )
        yield self.heart(needs=("patch",), last_age_s=9.0)
        yield from self.frame(shot(9))
        yield from self.frame(shot(10, causes=[cause(BURNT, Level.NOTE, "label burnt 0.02 %")]))
        yield from self.frame(shot(11, causes=[BURNT]))
        yield event(
            "accepted",
            "intended: label burnt up to 0.15 % (was 0.05 %), as in SB_0011.dng; undo takes it back",
            name="SB_0011.dng",
        )
        yield self.heart(last_age_s=14.0)
        yield from self.frame(shot(12))
        burnt = [shot(n, causes=[cause(BURNT, Level.HALT, f"label burnt 0.{n} %")]) for n in range(13, 17)]
        for number, of in enumerate(burnt, 1):
            yield from self.frame(of, repeats=number, first="SB_0013.dng")
        both = shot(17, causes=[cause(BURNT, Level.HALT, "label burnt 0.17 %"), cause(SOFT, Level.HALT)])
        yield from self.frame(both, repeats=5, first="SB_0013.dng")
        yield self.heart(last_age_s=75.0)
        for of in [*burnt[1:], both]:
            yield from self.answered(of)
        yield from self.frame(shot(18, causes=[CHANGED]))
        yield self.heart(arriving=("SB_0019.dng",), last_age_s=20.0)
        yield event("arriving", "SB_0019.dng is not complete yet: 11.2 of 24.7 MB", name="SB_0019.dng")
        yield self.heart(arriving=("SB_0019.dng",), last_age_s=35.0)
        yield from self.frame(shot(19, causes=[CUT]))
        yield self.heart(arriving=())
        yield event("folder_lost", "in/bottles cannot be read: no such folder. Is its disk connected?", Level.HALT)
        yield self.heart(folder="lost", free_bytes=None, free_frames=None, last_age_s=65.0)
        yield event("folder_back", "in/bottles can be read again; everything in it has been looked at")
        yield self.heart(folder="well", free_bytes=212_000_000_000, free_frames=8_571, last_age_s=95.0)
        yield event(
            "log_lost", "not logged, measuring goes on: in/bottles.qc: no space left on the disk", Level.WARN
        )
        yield self.heart(log="lost", last_age_s=125.0)
        yield from self.frame(shot(20))
        yield from self.frame(shot(21, NASTY, causes=[cause(BURNT, text=f"{NASTY} burnt 0.3 %")]))
        yield event("log_back", "the log is written again; what was missing has been added")
        yield self.heart(log="well")
        for number in range(22, 26):
            yield from self.frame(shot(number))
        yield self.heart(last_age_s=4_000.0)
        yield event("ended", "the watch ended")


class Scripted:
    """Stands for a watch: tells the scripted day, with a pause after each update."""

    specs: Sequence[Spec] = SPECS

    def __init__(self, day: Day, out: Path, pause: float) -> None:
        self.out = out
        self._day = day
        self._pause = pause
        self._ended = threading.Event()
        self._woken = threading.Event()

    def run(self) -> Iterator[Update]:
        for update in self._day:
            if self._ended.is_set():
                return
            yield update
            until = time.monotonic() + self._pause
            while (left := until - time.monotonic()) > 0 and self._woken.wait(left):
                self._woken.clear()
                if self._ended.is_set():
                    return
                yield self._day.heart()

    def stop(self) -> None:
        self._ended.set()
        self._woken.set()

    def wake(self) -> None:
        self._woken.set()


def perform(wish: Wish) -> list[Event]:
    if wish.act is Act.UNDO:
        return [event("undone", "undone: the last was taken back")]
    causes = [standing.causes[0].text for standing in wish.about]
    return [event("answered", f"{wish.act.said}: {text}") for text in causes]


def offer(standing: Standing) -> str | None:
    return "accept label burnt up to 3.05 %" if standing.causes[0].reading == BURNT.reading else None


def main(show: Callable[..., bool] | None = None) -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", nargs="?", default="in/bottles")
    parser.add_argument("--pace", type=float, default=1.0)
    parser.add_argument("--json", action="store_true")
    parser.add_argument("--no-color", action="store_true")
    parser.add_argument("--no-sheet", action="store_true")
    chosen = parser.parse_args()
    from qc_cli.output import Output
    from qc_cli.views import show as shown
    from qc_cli.watch import ending

    scripted = Scripted(Day(), Path(f"{chosen.folder}.qc"), 0.6 * chosen.pace)
    output = Output(json=chosen.json, no_color=chosen.no_color)
    with ending(scripted.stop):
        halts = (show or shown)(scripted, output, perform=perform, offer=offer, judged=lambda: not chosen.no_sheet)
    raise SystemExit(int(halts))


if __name__ == "__main__":
    main()
