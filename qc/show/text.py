"""A result in words: one line a frame, and on demand every reading, for a terminal or a pipe.

Screen words are set words: what a photographer says, with zone names, never coordinates or catalogue names. Text
from files and sheets is cleaned of control characters and is never read as markup. On a terminal the line wraps
inside its column; on a pipe it stays one line, however long.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from rich.console import Group
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from qc.judge import spoken_phrase
from qc.reading import Level, Spec
from qc.result import CameraFacts, Result
from qc.show.rows import Row as Row
from qc.show.rows import RowsView
from qc.show.rows import rows as rows
from qc.show.signs import COLUMN as COLUMN
from qc.show.signs import LONGEST_NAME as LONGEST_NAME
from qc.show.signs import PLAIN as PLAIN
from qc.show.signs import clean as clean
from qc.show.signs import cut_middle as cut_middle
from qc.show.signs import style_of as style_of

NUMBERS_TOLD = 3
"""How many numbers the line of an unjudged frame holds."""


def time_of(result: Result) -> str:
    """Return the time of day the capture was taken, ``HH:MM:SS``, or dashes."""
    return clock_of(result.camera.settings.taken)


def clock_of(taken: str | None) -> str:
    """Return the time of day of a recorded time, ``HH:MM:SS``, or dashes."""
    return taken[11:19] if taken is not None and len(taken) >= 19 else "--:--:--"


def reason_of(result: Result, specs: Sequence[Spec]) -> str:
    """Return the one most important reason, and how many more there are at the same level.

    A frame that is not judged has its numbers instead, and so has an ambient test without a reason: those of
    the frame that a limit could hang on.
    """
    causes = result.verdict.causes
    if causes:
        more = sum(cause.level == causes[0].level for cause in causes) - 1
        return clean(causes[0].text) + (f"  (+{more})" if more else "")
    if result.verdict.level is not Level.UNJUDGED and result.schema != "qc.ambient/1":
        return ""
    return ", ".join(figures_of(result, specs))


def figures_of(result: Result, specs: Sequence[Spec]) -> tuple[str, ...]:
    """Return the first numbers of the frame that a limit could hang on, in words."""
    known = {r.name: r for spec in specs for r in spec.readings if r.worse is not None}
    told = [r for r in result.readings if r.zone is None and r.value is not None and r.name in known]
    return tuple(clean(spoken_phrase(r, known[r.name])) for r in told[:NUMBERS_TOLD])


def name_of(result: Result) -> str:
    """Return the capture's name, or the names of all frames of an ambient test."""
    names = [file.name for file, _ in (*result.lit, *result.dark)] or [result.file.name]
    return clean(" / ".join(names))


def plain_line(result: Result, specs: Sequence[Spec], *, name_width: int = 0) -> str:
    """Return the line of one frame without colour or wrapping: for a pipe, a log, a test."""
    level = result.verdict.level
    cells = (
        time_of(result),
        f"{name_of(result):<{min(name_width, LONGEST_NAME)}}",
        PLAIN[level],
        f"{level:<10}",
        reason_of(result, specs),
    )
    return "  ".join(cells[:3]) + " " + "  ".join(cells[3:]).rstrip()


def line(result: Result, specs: Sequence[Spec], *, name_width: int = 0) -> Table:
    """Return the line of one frame for a terminal."""
    level = result.verdict.level
    row = Table.grid(padding=(0, 2, 0, 0))
    row.add_column(no_wrap=True)
    row.add_column(no_wrap=True, min_width=min(name_width, LONGEST_NAME))
    row.add_column(no_wrap=True, min_width=12)
    row.add_column(overflow="fold")
    mark = Text(f"{COLUMN[level]} {level}", style=style_of(level))
    row.add_row(Text(time_of(result)), Text(cut_middle(name_of(result))), mark, Text(reason_of(result, specs)))
    return row


def plain_details(result: Result, specs: Sequence[Spec]) -> Iterator[str]:
    """Yield every reading and finding as plain lines, one each; the place stands on every line, for searching."""
    yield f"  {settings_line(result)}"
    told = list(rows(result, specs))
    place, said, sure = (max((len(text) for text in column), default=0) for column in _columns(told))
    for row in told:
        mark = f"{PLAIN[row.level]} {row.level}  " if row.level else ""
        yield f"  {row.place:<{place}}  {row.said:<{said}}  {row.sure:<{sure}}  {mark}{row.remark}".rstrip()
    for note in notes(result):
        yield f"  {note}"


def _columns(told: Sequence[Row]) -> tuple[list[str], list[str], list[str]]:
    return [row.place for row in told], [row.said for row in told], [row.sure for row in told]


def details(result: Result, specs: Sequence[Spec]) -> Group:
    """Return every reading and finding for a terminal."""
    found = [Padding(Text(note), (0, 0, 0, 2)) for note in notes(result)]
    settings = Padding(Text(settings_line(result), style="dim"), (0, 0, 0, 2))
    return Group(settings, RowsView(tuple(rows(result, specs))), *found)


def notes(result: Result) -> Iterator[str]:
    """Yield what was found in words, then why some ± are missing, each once; not what the frame's line says."""
    first = result.verdict.causes[0].text if result.verdict.causes else None
    for finding in result.findings:
        if finding.text == first:
            continue
        named = finding.zone is None or finding.text.startswith(finding.zone)
        yield clean(finding.text if named else f"{finding.zone}: {finding.text}")
    doubts = (reading.doubt.text for reading in result.readings if reading.doubt is not None)
    for doubt in dict.fromkeys(doubts):
        yield clean(f"±? {doubt}")


def settings_line(result: Result) -> str:
    """Return the recorded settings, the size and what read the file, as far as they are known."""
    return clean(", ".join(_settings(result.camera)) or "no settings recorded")


def _settings(camera: CameraFacts) -> Iterator[str]:
    settings = camera.settings
    if settings.shutter_s is not None:
        yield shutter(settings.shutter_s)
    if settings.aperture is not None:
        yield f"f/{settings.aperture:.3g}"
    if settings.iso is not None:
        yield f"ISO {settings.iso:g}"
    if settings.focal_mm is not None:
        yield f"{settings.focal_mm:.4g} mm"
    if camera.width and camera.height:
        yield f"{camera.width} × {camera.height}"
    if camera.kind is not None:
        yield camera.kind


def shutter(seconds: float) -> str:
    """Return a shutter time as it stands on a camera: "1/160 s", "0.5 s"."""
    return f"1/{1 / seconds:.0f} s" if seconds < 0.3 else f"{seconds:.2g} s"
