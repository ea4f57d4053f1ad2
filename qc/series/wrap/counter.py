"""The camera's counter in a file name. A name is only ever a hint: where it is unsure there is no counter."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from pathlib import PurePath

_COPY = re.compile(r"(?: ?\([0-9]{1,2}\)|(?<=[0-9])[-_ ][0-9]{1,2})$")
"""What is put behind a name that is taken already: "(1)", "-2" (common practice, no published source)."""

_DIGITS = re.compile(r"[0-9]+$")

DCF = 8
"""Characters of a file name by the design rule for camera file systems: four free ones, then the number 0001 to
9999 (CIPA DC-009, DCF 2.0; from memory). The first is ``_`` for pictures in the optional colour space."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Counter:
    """What a file name counts.

    Attributes
    ----------
    prefix : str
        What stands before the number.
    number : int
        The number.
    width : int
        Its digits.
    copy : bool
        Whether the name says that it is a second file of that number: ``SB_0013 (1).dng``, ``SB_0013-2.dng``.
    """

    prefix: str
    number: int
    width: int
    copy: bool = False

    @property
    def key(self) -> str:
        """What names of one sequence have in common: capitals, accents and underscores may differ."""
        return unicodedata.normalize("NFC", self.prefix.casefold()).replace("_", "")

    def name(self, number: int) -> str:
        """Return the name that another number of the sequence has, without its suffix."""
        return f"{self.prefix}{number:0{self.width}d}"


def counter_of(name: str) -> Counter | None:
    """Return the counter in a file name, or None where it has none.

    Three to five digits at the end of the stem, or the last four of a stem of eight that is not all digits. Longer
    numbers are dates and times, shorter ones were typed.
    """
    stem = PurePath(name).stem
    bare = _COPY.sub("", stem)
    digits = _DIGITS.search(bare)
    if digits is None:
        return None
    width = len(digits[0])
    if width > 5 and len(bare) == DCF and width < DCF:
        width = 4
    if not 3 <= width <= 5:
        return None
    return Counter(prefix=bare[:-width], number=int(bare[-width:]), width=width, copy=bare != stem)
