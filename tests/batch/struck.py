"""A set that is struck in the evening: a day with planted faults, a second drive, what people read."""

from __future__ import annotations

import csv
import html
import re
import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from qc.rehearse.day import Planned, day_sheet, plan, shoot_day
from qc.rehearse.faults import Fault

SIZE = (800, 1200)
"""The smallest frames in which the sharpness of the seal can be read."""

FAULTS = (
    *(Fault.BURNT, Fault.SOFT, Fault.MISFIRE, Fault.BURNT, Fault.CUT, Fault.COPY, Fault.AMBIENT, Fault.BURNT),
    Fault.SETTING_STAYS,
)
MISSING = 9990
"""The number whose file never came."""

CLOSED = 13.0
"""The aperture that stays is a closed one: opened, it would burn the label too."""

FRAMES = 40
SHEET = "bottles.set.toml"

Cause = tuple[str, str, tuple[str, ...]]
"""Level, words and frames, as a page has them."""


def plan_day() -> tuple[Planned, ...]:
    """Return the day: 40 files, the counter rolls over in it."""
    day = plan(3, FRAMES, FAULTS, between=2, first=9985, left_out=(MISSING,))
    faults = [frame.planted.fault if frame.planted else None for frame in day]
    closed = faults.index(Fault.SETTING_STAYS)
    return (*day[:closed], *(replace(frame, aperture=CLOSED) for frame in day[closed:]))


def names_of(day: Sequence[Planned], fault: Fault) -> tuple[str, ...]:
    return tuple(frame.name for frame in day if frame.planted is not None and frame.planted.fault is fault)


def fill(folder: Path, day: Sequence[Planned]) -> None:
    """Put the captures into a folder, and the sheet, which asks for a clean plate too, beside it."""
    folder.mkdir()
    for _ in shoot_day(day, folder, size=SIZE):
        pass
    out = folder.with_name(f"{folder.name}.qc")
    out.mkdir()
    text, asked = day_sheet(SIZE), 'needs = ["dark", "patch"'
    assert asked in text
    (out / SHEET).write_text(text.replace(asked, f'{asked}, "clean plate"'))


@dataclass(frozen=True, slots=True, kw_only=True)
class Drive:
    """The second drive: which file differs by one bit, which is not there, which is one more."""

    folder: Path
    flipped: str
    missing: str
    extra: str


def copy_to_drive(folder: Path, day: Sequence[Planned]) -> Drive:
    ordinary = [frame.name for frame in day if frame.planted is None]
    drive = Drive(folder=folder.parent / "drive", flipped=ordinary[3], missing=ordinary[5], extra="SB_0500.dng")
    shutil.copytree(folder, drive.folder)
    data = bytearray((drive.folder / drive.flipped).read_bytes())
    data[len(data) // 2] ^= 1
    (drive.folder / drive.flipped).write_bytes(data)
    (drive.folder / drive.missing).unlink()
    (drive.folder / drive.extra).write_bytes(bytes(data[::-1]))
    return drive


# what people read


def to_decide(page: Path) -> list[Cause]:
    """Return the headings of the report with their frames."""
    part = _between(page.read_text(), '<section id="decide">', '<section id="day">')
    articles = re.findall(r'<article class="cause (\w+)">(.*?)</article>', part, re.DOTALL)
    return [(level, _words(body, r'<span class="title">(.*?)</span>'), _linked(body)) for level, body in articles]


def found(page: Path) -> list[tuple[str, str]]:
    """Return what the report says of the day as a whole, with its level."""
    part = _between(page.read_text(), '<section id="day">', '<section id="over-time">')
    lines = re.findall(r'<li><span class="mark (\w+)">.*?</span>(.*?)(?:<span|</li>)', part, re.DOTALL)
    return [(level, _plain(text)) for level, text in lines]


def asked(page: Path) -> dict[str, list[tuple[str, tuple[str, ...]]]]:
    """Return what the photographer's page asks for, by its headings: words and frames."""
    parts = page.read_text().split("<h2>")[1:]
    told: dict[str, list[tuple[str, tuple[str, ...]]]] = {}
    for part in parts:
        title, _, body = part.partition("</h2>")
        name = _plain(re.sub(r'<span class="mark.*?</span>', "", title))
        lines = re.findall(r"<li\b.*?</li>", body, re.DOTALL)
        told[name] = [(_plain(_ask(line)), tuple(re.findall("<b>(.*?)</b>", line))) for line in lines]
    return told


def sections(text: str) -> dict[str, str]:
    """Return what the retoucher's text says, by the names in its headings of frames."""
    parts = re.split(r"^### ", text, flags=re.MULTILINE)[1:]
    return {name: part for part in parts for name in re.findall("`(.*?)`", part.partition("\n")[0])}


def rows(table: Path) -> list[dict[str, str]]:
    with table.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def _ask(line: str) -> str:
    """Return what stands in a line before its frames, without its mark."""
    return re.sub(r'<span class="mark.*?</span>', "", line.partition('<span class="frames')[0])


def _linked(body: str) -> tuple[str, ...]:
    return tuple(re.findall(r'<a href="#[^"]*" data-frame="[^"]*">(.*?)</a>', body))


def _words(text: str, pattern: str) -> str:
    match = re.search(pattern, text, re.DOTALL)
    assert match is not None, pattern
    return _plain(match[1])


def _between(text: str, start: str, end: str) -> str:
    assert text.count(start) == text.count(end) == 1
    return text[text.index(start) : text.index(end)]


def _plain(text: str) -> str:
    return " ".join(html.unescape(re.sub(r"<[^>]*>", "", text)).split())
