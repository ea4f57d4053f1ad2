"""Text measured in the cells of a terminal, so that no file name, zone name or sheet can break a line."""

from __future__ import annotations

import unicodedata

from rich.cells import cell_len, set_cell_size
from rich.console import Console
from rich.text import Text

from qc.show.text import clean

MARKS_KEPT = 2
"""Combining marks kept on one sign: no written language needs more above it, and a heap of them runs over the
lines around it."""


def tidy(text: str) -> str:
    """Return text as one line of which every terminal makes the same cells.

    Control and format characters are written out, letters and their marks joined where Unicode has them as one
    sign, and what terminals disagree on, variation selectors and heaps of marks, is left out.
    """
    kept: list[str] = []
    marks = 0
    for sign in unicodedata.normalize("NFC", clean(text)):
        marks = marks + 1 if unicodedata.category(sign) in ("Mn", "Me") else 0
        if marks <= MARKS_KEPT and not _selects_variation(sign):
            kept.append(sign)
    return "".join(kept)


def cut(text: str, cells: int, *, dots: str = "…") -> str:
    """Return text of at most `cells` cells; what is cut off at its end is marked."""
    if cell_len(text) <= cells:
        return text
    return set_cell_size(text, max(cells - cell_len(dots), 0)) + cut(dots, cells, dots="")


def cut_middle(text: str, cells: int, *, dots: str = "…") -> str:
    """Return text of at most `cells` cells, cut in the middle: both ends of a file name tell captures apart."""
    if cell_len(text) <= cells:
        return text
    room = max(cells - cell_len(dots), 0)
    start = len(text)
    while start and cell_len(text[start - 1 :]) <= room - room // 2:
        start -= 1
    return cut(set_cell_size(text, room // 2) + dots + text[start:], cells, dots="")


def pad(text: str, cells: int) -> str:
    """Return text with spaces after it, up to `cells` cells."""
    return text + " " * max(cells - cell_len(text), 0)


def fold(text: str, cells: int) -> list[str]:
    """Return text in lines of at most `cells` cells, broken between words where that is possible."""
    wrapped = Text(text).wrap(Console(), max(cells, 2))
    return [cut(line.plain.rstrip(), cells, dots="") for line in wrapped]


def _selects_variation(sign: str) -> bool:
    return "\ufe00" <= sign <= "\ufe0f" or "\U000e0100" <= sign <= "\U000e01ef"
