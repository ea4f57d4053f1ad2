"""The readings of a result as rows in words, and how they lie on a terminal of any width."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rich.console import Console, ConsoleOptions, RenderResult
from rich.text import Text

from qc.judge import spoken_phrase, telling
from qc.reading import Level, Reading, ReadingSpec, Spec
from qc.result import Cause, Result
from qc.show.signs import COLUMN, clean, cut_middle, style_of
from qc.words import spoken_number

LONGEST_PLACE = 20
"""Zone names longer than this are cut in the middle on a terminal."""

_INDENT = 2
_GAP = "  "


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the full view: where, what, how sure, what else there is to say, whether a number is missing."""

    place: str
    said: str
    sure: str
    remark: str
    level: Level | None
    missing: bool = False


def rows(result: Result, specs: Sequence[Spec]) -> Iterator[Row]:
    """Yield the readings in words: the frame first, then each zone, in the order of reporting."""
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    causes = {(cause.reading, cause.zone): cause for cause in result.verdict.causes}
    told = [reading for reading in result.readings if reading.name in known]
    reasons = {reading.reason for reading in told}
    if len(told) > 1 and None not in reasons and len(reasons) == 1:
        # one fault keeps everything from being read: once is enough
        yield _missing("frame", told, causes)
        return
    for place in dict.fromkeys([None, *(reading.zone for reading in told)]):
        here = [reading for reading in told if reading.zone == place]
        often = Counter(reading.reason for reading in here)
        said = set()
        for reading in here:
            why = reading.reason
            if why is None or often[why] < 2:
                yield _row(reading, known[reading.name], causes.get((reading.name, reading.zone)))
            elif why not in said:
                # one reason for many readings is said once, where the first of them would stand
                said.add(why)
                yield _missing(place or "frame", [r for r in here if r.reason == why], causes)


def _missing(place: str, readings: Sequence[Reading], causes: Mapping[tuple[str, str | None], Cause]) -> Row:
    levels = [_level(causes.get((r.name, r.zone))) for r in readings]
    why = readings[0].reason
    return Row(
        place=clean(place),
        said=f"{len(readings)} numbers missing",
        sure="",
        remark=clean(why.text) if why else "",
        level=next((level for level in levels if level), None),
        missing=True,
    )


def _row(reading: Reading, spec: ReadingSpec, cause: Cause | None) -> Row:
    told = spec
    if cause is not None and cause.limit is not None and reading.value is not None:
        told = telling(spec, reading.value, cause.limit)
    sure = ""
    if reading.plus_minus is not None:
        sure = f"±{spoken_error(reading.plus_minus, spec.decimals)}"
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
        said=clean(spoken_phrase(reading, told)),
        sure=sure,
        remark=clean(remark),
        level=_level(cause),
        missing=reading.reason is not None,
    )


def _level(cause: Cause | None) -> Level | None:
    """Return the level to be shown beside a reading; what is only not measured has its reason there."""
    return None if cause is None or cause.level is Level.UNMEASURED else cause.level


def spoken_error(value: float, decimals: int) -> str:
    """Return a ± with the decimals of its number; what would round to nought is less than their last place."""
    if value and not round(value, decimals):
        return f"<{spoken_number(10.0**-decimals, decimals)}"
    return spoken_number(value, decimals)


@dataclass(frozen=True, slots=True)
class RowsView:
    """Rows for a terminal: numbers in columns as far as they fit; what does not goes on in a line of its own.

    What has no number is one sentence over the whole width, since there is nothing to stand in columns.
    """

    told: Sequence[Row]

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Yield one text a line."""
        width = max(options.max_width, 40)
        place = min(max((len(row.place) for row in self.told), default=0), LONGEST_PLACE, width // 4)
        room = width - _INDENT - place - len(_GAP)
        numbers = [row for row in self.told if not row.missing and (row.sure or row.remark)]
        sure = max((len(row.sure) for row in numbers), default=0)
        most = room - len(_GAP) - sure
        said = max((len(row.said) for row in numbers if len(row.said) <= most), default=0)
        last = None
        for row in self.told:
            name = "" if row.place == last else cut_middle(row.place, place)
            last = row.place
            for line in _lines(row, said, sure, room, console):
                yield Text(f"{' ' * _INDENT}{name:<{place}}{_GAP}", style="bold") + line
                name = ""


def _lines(row: Row, said: int, sure: int, room: int, console: Console) -> Sequence[Text]:
    mark = Text(f"{COLUMN[row.level]} {row.level}  ", style=style_of(row.level)) if row.level else Text()
    if row.missing:
        return _wrapped(mark + Text(f"{row.said}: ") + Text(row.remark, style="dim"), room, console)
    number = Text(f"{row.said:<{said}}{_GAP}") + Text(f"{row.sure:<{sure}}", style="dim")
    remark = mark + Text(row.remark)
    if len(number) + len(_GAP) + len(remark) <= room:
        line = number + Text(_GAP) + remark
        line.rstrip()
        return [line]
    number.rstrip()
    if len(number) > room:
        number = Text(f"{row.said} ") + Text(row.sure, style="dim")
    hang = Text(" " * 2 * _INDENT)
    under = [hang + line for line in _wrapped(remark, room - len(hang), console)] if remark else []
    return [*_wrapped(number, room, console), *under]


def _wrapped(text: Text, width: int, console: Console) -> Sequence[Text]:
    """Break a text into lines; those after the first are indented."""
    if len(text) <= width:
        return [text]
    hang = Text(" " * 2 * _INDENT)
    first, *more = text.wrap(console, width - len(hang))
    return [first, *(hang + line for line in more)]
