"""``counts.csv``: a row a set, with how many captures it has and what became of the numbers between them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from qc.day import Day
from qc.series.wrap.counting import Count, counts
from qc.sheet.sheet import Sheet
from qc.show.handoff.cells import Cell, csv_lines

_HEAD = (
    *("set", "captures", "whole", "not whole", "left out", "further copies", "first", "last"),
    *("numbers missing without a reason", "gaps and what explains them"),
)


def counts_csv(day: Day, *, sheets: Mapping[str, Sheet]) -> Iterator[bytes]:
    """Yield ``counts.csv``; parameters are those of `qc.show.handoff.write_handoff`."""
    return csv_lines(_HEAD, map(_row, counts(day, sheets)))


def _row(count: Count) -> list[Cell]:
    broken, left_out = len(count.not_whole), len(count.left_out)
    about = [count.captures, count.whole, broken, left_out, count.copies]
    return [count.name, *about, count.first, count.last, count.missing, count.text]
