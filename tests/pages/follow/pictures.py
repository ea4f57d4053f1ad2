"""Pictures of the page of a watch, of rehearsed captures, in the states and windows in which it must read well.

python -m tests.pages.follow.pictures FOLDER [STATE…]
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from qc.log.keys import key_of, limits_digest
from qc.log.log import Log
from qc.log.rows import Captured
from qc.measure import specs
from qc.pages.follow import store
from qc.pages.follow.details import Details, details_of
from qc.pipeline import measure_capture
from qc.reading import Level
from qc.rehearse.shoot import SHEET_NAME, shoot
from qc.rehearse.studio import Studio
from qc.result import Result
from qc.series.entry import Standing
from qc.series.order import order_of
from qc.series.tiles import light_of
from qc.sheet.read import read_sheet
from qc.sheet.sheet import Sheet
from qc.show.layers import jpeg_of
from qc.show.mark import mark_of
from qc.show.text import settings_line, time_of
from qc.show.watching import words
from tests.browsing import CHROMIUM
from tests.pages.follow.scripted import LOG_LOST, LOST, Script, State, alarm, frame, newest, state, still_open

SIZES = ((2560, 1440), (1280, 800), (390, 844))
SIDE, QUALITY = 1600, 80

Keys = Sequence[str]


@dataclass(frozen=True)
class Shown:
    """One rehearsed capture as the page is given it."""

    newest: State
    jpeg: bytes
    mark: bytes | None
    details: Details


def main(folder: Path, wanted: Sequence[str]) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as room:
        shown = rehearsed(Path(room) / "bottles")
    for name, (told, keys) in scenes(shown).items():
        if not wanted or name in wanted:
            take(folder, name, told, keys, shown)


def rehearsed(folder: Path) -> dict[str, Shown]:
    """Shoot, measure and log; returns each take by what was planted in it."""
    out, taken = folder.with_name("bottles.qc"), {}
    with Log.open(out) as log:
        for number, one in enumerate(shoot(Studio(size=(1000, 1500)), folder), start=1):
            sheet = read_sheet(folder / SHEET_NAME)
            result = measure_capture(one.path, sheet)
            log.add(_captured(result, one.path, number, sheet))
            taken[one.take.about] = result, sheet
    return {about: _shown(out, result, sheet) for about, (result, sheet) in taken.items()}


def _captured(result: Result, path: Path, number: int, sheet: Sheet) -> Captured:
    arrived = f"2026-11-25T10:{number:02}:00+01:00"
    return Captured(
        result=result,
        path=path.name,
        stamp=None,
        key=key_of(result.file.content, sheet, specs()),
        limits=limits_digest(sheet, None, specs()),
        light=light_of(result.digest) if result.digest is not None else None,
        order=order_of(result.camera.settings, arrived, path.name, number),
        took_s=0.1,
        arrived_at=arrived,
    )


def _shown(out: Path, result: Result, sheet: Sheet) -> Shown:
    verdict = result.verdict
    standing = Standing(content=result.file.content or "", level=verdict.level, causes=verdict.causes)
    assert result.digest is not None
    jpeg, size = jpeg_of(result.digest, SIDE, QUALITY)
    mark = mark_of(result, standing, sheet.zones, specs(), size)
    key = store.key_of(standing.content)
    reason = words.opening(verdict.causes[0].text) if verdict.causes else ""
    newest = frame(
        int(Path(result.file.name).stem[-4:]),
        str(verdict.level),
        reason,
        key=key,
        name=f"SB_{Path(result.file.name).stem[-4:]}.dng",
        picture=f"/picture/{key}.jpg",
        mark=f"/mark/{key}.svg?1" if mark else None,
        size=list(size),
        time=time_of(result),
        causes=[cause.text for cause in verdict.causes],
        settings=settings_line(result),
        more=sum(cause.level is verdict.level for cause in verdict.causes[1:]),
    )
    return Shown(newest, jpeg, mark, details_of(out, standing.content, key=key, specs=specs()))


def scenes(shown: Mapping[str, Shown]) -> dict[str, tuple[State, Keys]]:
    """The states by name, each with the keys that are pressed in it."""
    burnt, clear, soft = (
        shown[about].newest for about in ("spot slipped onto the label", "approved", "focus moved back")
    )
    asked = [alarm(int(burnt["number"]), burnt["reason"]), alarm(1, "left −0.3 stop", "warn")]
    halt = state(burnt, "cccncccwcc", alarms=asked)
    warn = {**soft, "level": str(Level.WARN), "word": str(Level.WARN), "again": "3rd in a row"}
    early: dict[str, Any] = {"picture": None, "size": None, "mark": None, "without": "the picture follows"}
    return {
        "halt": (halt, ()),
        "warn": (state(warn, "cccncccccww"), ()),
        "nothing": (state(None, hint=list(words.unjudged())), ()),
        "lost": (state(clear, "cccncccwccc", troubles=[LOST]), ()),
        "log-lost": (state(clear, "cccncccwccc", troubles=[LOG_LOST]), ()),
        "clear": (state(clear, "cccncccwccc", said=["accepted: label burnt up to 11.7 %"]), ()),
        "open": (
            state(clear, "cccncccwhhc", opens=[still_open(10, frames=2), still_open(4, "neck blur 1.8 px")]),
            (),
        ),
        "open-question": (
            state(clear, "cccncccwhhc", opens=[still_open(10)], alarms=asked, asks=newest(int(clear["number"]))),
            ("Enter", "Enter", "Enter"),
        ),
        "looking": (
            state({**clear, **early, "level": "unjudged", "word": "first look", "looking": True}, "ccc"),
            (),
        ),
        "question": (halt, ("Enter",)),
        "keys": (halt, ("?",)),
        "known": (halt, ("d",)),
        "details": (halt, ("d", "d")),
        "ended": (state(clear, "cccncccwccc", watch="ended"), ()),
    }


def take(folder: Path, name: str, told: State, keys: Keys, shown: Mapping[str, Shown]) -> None:
    """Write the pictures of one state, one for each window."""
    from playwright.sync_api import sync_playwright

    script = Script()
    for one in shown.values():
        key = one.newest["key"]
        script.pictures[key] = one.jpeg
        script.marks[key] = one.mark or b""
        script.details[key] = one.details.html.decode()
        script.layers |= {f"{key}/{layer}": data for layer, data in one.details.files.items()}
    others = [key for key in script.details if told["frame"] is None or key != told["frame"]["key"]]
    for step, key in zip(told["strip"][-2::-1], others, strict=False):
        step["key"] = key
    chromium = next(path for known in CHROMIUM if (path := shutil.which(known)))
    with script.served() as watch, sync_playwright() as playwright:
        script.hub.put(told)
        browser = playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        for wide, high in SIZES:
            page = browser.new_page(viewport={"width": wide, "height": high})
            page.goto(watch.link)
            page.wait_for_timeout(700)
            for key in keys:
                page.keyboard.press(key)
            page.wait_for_timeout(500)
            page.screenshot(path=folder / f"{name}-{wide}.png")
            page.close()
        browser.close()


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2:])
