"""``counts.csv``: how many captures each set has, and what became of the numbers that are missing between them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from qc.day import Day
from qc.reading import Level
from qc.series.entry import Purpose
from qc.series.wrap.findings import COUNTER_RESTARTED, NUMBERS_EXPLAINED, NUMBERS_MISSING, NUMBERS_SPARSE
from qc.series.wrap.sheets import Set, sets_of
from qc.sheet.sheet import Sheet
from qc.show.handoff.cells import Cell, csv_lines

_HEAD = ("set", "captures", "first", "last", "first taken", "last taken", "files not whole")
_GAPS = ("numbers missing", "gaps")

GAPS = (NUMBERS_MISSING, NUMBERS_EXPLAINED, NUMBERS_SPARSE, COUNTER_RESTARTED)
"""What the day finds about numbers; told of the set of the frame before the gap."""


def counts_csv(day: Day, *, sheets: Mapping[str, Sheet]) -> Iterator[bytes]:
    """Yield ``counts.csv``, a row a set; the last row is the whole day, with all gaps."""
    levels = [level.value for level in Level]
    head = (*_HEAD, *levels, *(purpose.value for purpose in Purpose), *_GAPS)
    sets = sets_of(day, sheets)
    whole = Set(name="the whole day", sheet=None, captures=day.captures)
    return csv_lines(head, (_row(one, day, everything=one is whole) for one in (*sets, whole)))


def _row(one: Set, day: Day, *, everything: bool) -> list[Cell]:
    captures = one.captures
    levels = Counter(taken.standing.level for taken in captures)
    purposes = Counter(taken.entry.purpose for taken in captures)
    contents = {taken.entry.content for taken in captures}
    gaps = [f for f in day.findings if f.code in GAPS and (everything or set(f.contents[:1]) <= contents)]
    results = [taken.logged.result for taken in captures]
    ends = (results[0], results[-1]) if results else ()
    names = [result.file.name for result in ends] or ["", ""]
    times = [result.camera.settings.taken or "" for result in ends] or ["", ""]
    return [
        one.name,
        len(captures),
        *names,
        *times,
        sum(result.file.state != "whole" for result in results),
        *(levels[level] for level in Level),
        *(purposes[purpose] for purpose in Purpose),
        sum(int(gap.data["count"]) for gap in gaps if gap.code == NUMBERS_MISSING),
        "; ".join(gap.text for gap in gaps),
    ]
