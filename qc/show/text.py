"""A result in words: one line a frame, and on demand every reading, for a terminal or a pipe.

Screen words are set words: what a photographer says, with zone names, never coordinates or catalogue names. Text
from files and sheets is cleaned of control characters and is never read as markup. On a terminal the line wraps
inside its column; on a pipe it stays one line, however long.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rich.color import Color
from rich.console import Group
from rich.padding import Padding
from rich.style import Style
from rich.table import Table
from rich.text import Text

from qc.judge import spoken_phrase
from qc.reading import Level, Reading, ReadingSpec, Spec
from qc.result import CameraFacts, Cause, Result
from qc.show.palette import LEVELS
from qc.words import spoken_number

COLUMN = {
    Level.CLEAR: "▁",
    Level.NOTE: "▃",
    Level.WARN: "▅",
    Level.HALT: "█",
    Level.UNJUDGED: " ",
    Level.UNMEASURED: "?",
}
"""Mark of each level: a column that rises with it."""

PLAIN = {
    Level.CLEAR: ".",
    Level.NOTE: "-",
    Level.WARN: "=",
    Level.HALT: "#",
    Level.UNJUDGED: " ",
    Level.UNMEASURED: "?",
}
"""The same where only plain text can be shown."""

LONGEST_NAME = 28
"""File names longer than this are cut in the middle on a terminal; on a pipe never."""


NUMBERS_TOLD = 3
"""How many numbers the line of an unjudged frame holds."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the full view: where, what, how sure, and what there is to say about it."""

    place: str
    said: str
    sure: str
    remark: str
    level: Level | None


def style_of(level: Level) -> Style:
    """Return how a terminal shows a level; its word and mark say it as well."""
    # an unjudged frame is plain text in the terminal's own colour
    return Style() if level is Level.UNJUDGED else Style(color=Color.from_rgb(*LEVELS[level]))


def clean(text: str) -> str:
    r"""Return text as one line that no terminal acts on: control characters as ``\xNN``."""
    return "".join(c if c.isprintable() else _escaped(c) for c in text)


def _escaped(sign: str) -> str:
    if "\udc80" <= sign <= "\udcff":  # a byte of a file name that is not UTF-8 (PEP 383)
        return f"\\x{ord(sign) - 0xDC00:02x}"
    return sign.encode("unicode_escape").decode("ascii")


def time_of(result: Result) -> str:
    """Return the time of day the capture was taken, ``HH:MM:SS``, or dashes."""
    taken = result.camera.settings.taken or ""
    return taken[11:19] if len(taken) >= 19 else "--:--:--"


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
    known = {r.name: r for spec in specs for r in spec.readings if r.worse is not None}
    told = [r for r in result.readings if r.zone is None and r.value is not None and r.name in known]
    return clean(", ".join(spoken_phrase(r, known[r.name]) for r in told[:NUMBERS_TOLD]))


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


def cut_middle(text: str, longest: int = LONGEST_NAME) -> str:
    """Return text of at most `longest` signs, cut in the middle: both ends of a file name tell captures apart."""
    if len(text) <= longest:
        return text
    head = (longest - 1) // 2
    return f"{text[:head]}…{text[-(longest - 1 - head) :]}"


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
    return Group(settings, Padding(_table(result, specs), (0, 0, 0, 2)), *found)


def _table(result: Result, specs: Sequence[Spec]) -> Table:
    view = Table.grid(padding=(0, 2, 0, 0))
    view.add_column(width=10, no_wrap=True)
    view.add_column(min_width=24, overflow="fold", ratio=6)
    view.add_column(no_wrap=True, min_width=6)
    view.add_column(overflow="fold", ratio=6)
    last = None
    for row in rows(result, specs):
        place = "" if row.place == last else cut_middle(row.place, 10)
        last = row.place
        remark = Text(row.remark, style="dim")
        if row.level is not None:
            remark = Text(f"{COLUMN[row.level]} {row.level}  ", style=style_of(row.level)) + Text(row.remark)
        view.add_row(Text(place, style="bold"), Text(row.said), Text(row.sure, style="dim"), remark)
    return view


def rows(result: Result, specs: Sequence[Spec]) -> Iterator[Row]:
    """Yield the readings in words: the frame first, then each zone, in the order of reporting."""
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    causes = {(cause.reading, cause.zone): cause for cause in result.verdict.causes}
    places = list(dict.fromkeys([None, *(reading.zone for reading in result.readings)]))
    for place in places:
        here = [r for r in result.readings if r.zone == place and r.name in known]
        told = Counter(str(r.reason) for r in here if r.reason is not None)
        said: set[str] = set()
        for reading in here:
            why = str(reading.reason)
            if told[why] < 2:
                yield _row(reading, known[reading.name], causes.get((reading.name, reading.zone)))
            elif why not in said and reading.reason is not None:
                # one reason for many readings is said once, where the first of them would stand
                said.add(why)
                levels = [_level(causes.get((r.name, r.zone))) for r in here if str(r.reason) == why]
                level = next((level for level in levels if level), None)
                yield Row(
                    clean(place or "frame"), f"{told[why]} numbers missing", "", clean(reading.reason.text), level
                )


def notes(result: Result) -> Iterator[str]:
    """Yield what was found in words, then why some ± are missing, each once."""
    for finding in result.findings:
        yield clean(finding.text if finding.zone is None else f"{finding.zone}: {finding.text}")
    doubts = (reading.doubt.text for reading in result.readings if reading.doubt is not None)
    for doubt in dict.fromkeys(doubts):
        yield clean(f"±? {doubt}")


def settings_line(result: Result) -> str:
    """Return the recorded settings, the size and what read the file, as far as they are known."""
    return clean(", ".join(_settings(result.camera)) or "no settings recorded")


def _row(reading: Reading, spec: ReadingSpec, cause: Cause | None) -> Row:
    sure = ""
    if reading.plus_minus is not None:
        sure = f"±{_error(reading.plus_minus, spec.decimals)}"
    elif reading.doubt is not None:
        sure = "±?"
    remark = ""
    if reading.reason is not None:
        remark = reading.reason.text
    elif cause is not None and cause.limit is not None:
        bar = spoken_number(cause.limit, spec.decimals)
        remark = f"{'under' if spec.worse == 'low' else 'over'} {bar} ({cause.origin})"
    return Row(
        place=clean(reading.zone or "frame"),
        said=clean(spoken_phrase(reading, spec)),
        sure=sure,
        remark=clean(remark),
        level=_level(cause),
    )


def _level(cause: Cause | None) -> Level | None:
    """Return the level to be shown beside a reading; what is only not measured has its reason there."""
    return None if cause is None or cause.level is Level.UNMEASURED else cause.level


def _error(value: float, decimals: int) -> str:
    """Return a ± with as many decimals as its number, or more where it would read as nought."""
    while decimals < 6 and 0 < value < 0.5 * 10.0**-decimals:
        decimals += 1
    return spoken_number(value, decimals)


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
