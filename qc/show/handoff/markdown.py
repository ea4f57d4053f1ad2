"""Text and names as CommonMark that shows them as they are (https://spec.commonmark.org/0.31.2/, 2.4 and 6.1)."""

from __future__ import annotations

import re

from qc.show.text import clean

_ACTIVE = re.compile(r"[\\`*<>\[\]#&|~]|(?<![A-Za-z0-9])_|_(?![A-Za-z0-9])")
"""Signs that could begin markup; an underscore between letters begins none (6.2)."""

_TICKS = re.compile("`+")


def prose(text: str) -> str:
    """Return text as it is to be read, on one line, with nothing in it taken for markup."""
    return _ACTIVE.sub(lambda sign: f"\\{sign[0]}", clean(text))


def code(name: str) -> str:
    """Return a name in a code span, as it stands on the disk."""
    shown = clean(name)
    fence = "`" * (max((len(run) for run in _TICKS.findall(shown)), default=0) + 1)
    # one space at both ends is taken off again, and keeps a tick of the name from its fence
    pad = " " if shown[:1] in "` " or shown[-1:] in "` " else ""
    return f"{fence}{pad}{shown}{pad}{fence}"
