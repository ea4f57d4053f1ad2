"""Signs and colours of levels, and text made fit for a terminal."""

from __future__ import annotations

from rich.color import Color
from rich.style import Style

from qc.reading import Level
from qc.show.palette import LEVELS

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


def cut_middle(text: str, longest: int = LONGEST_NAME) -> str:
    """Return text of at most `longest` signs, cut in the middle: both ends of a file name tell captures apart."""
    if len(text) <= longest:
        return text
    head = (longest - 1) // 2
    return f"{text[:head]}…{text[-(longest - 1 - head) :]}"
