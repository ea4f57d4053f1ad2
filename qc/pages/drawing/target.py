"""The sheet that zones are saved to: one that is there, or a new one that is made by the first save."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

from qc.errors import QcError, SheetError, UsageError, printable
from qc.sheet.edit import ZoneText, edited, save, zones_of
from qc.sheet.effective import effective_sheet
from qc.sheet.problems import as_text, read_bytes
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet


class Target:
    """A sheet that zones are saved to.

    Parameters
    ----------
    path : Path
        Where it is, or will be.
    new : bool
        Whether there is none yet.
    first_text : callable
        Gives the text of the new one.
    capture : Path
        For which it holds: what was accepted for that counts too.

    Raises
    ------
    SheetError
        With every mistake of a sheet that is there.
    """

    def __init__(self, path: Path, *, new: bool, first_text: Callable[[], str], capture: Path) -> None:
        self.path = path
        self.new = new
        self._first_text = first_text
        self._capture = capture
        self._text = "" if new else as_text(read_bytes(path), path)
        self.zones: tuple[ZoneText, ...] = zones_of(self._text, path)
        self.sheet: Sheet = Sheet(preset="series") if new else self._effective()

    def save(self, zones: Sequence[ZoneText]) -> str:
        """Write the zones.

        Returns
        -------
        str
            What else there is to say, in one clause; empty for nothing.

        Raises
        ------
        SheetError, UsageError
            When nothing was written.
        """
        text = self._first_text() if self.new else self._text
        if self.new:
            edited(text, self.zones, zones, path=self.path)  # no folder is made for what would be refused
            _make(self.path.parent)
        self._text = save(self.path, text, self.zones, zones, new=self.new)
        self.new = False
        self.zones = zones_of(self._text, self.path)
        try:
            self.sheet = self._effective()
        except QcError as error:  # the zones are saved all the same
            self.sheet = parse_sheet(self._text, path=self.path)
            return f"what was accepted is left aside: {error}".partition("\n")[0]
        return ""

    def _effective(self) -> Sheet:
        sheet = effective_sheet(self._capture, sheet=self.path)
        return sheet if sheet is not None else parse_sheet(self._text, path=self.path)

    def why_not(self, error: QcError) -> str:
        """Return an error of saving in one clause, as somebody reads it who sees the zones and not the file."""
        if not isinstance(error, SheetError):
            return str(error).removeprefix(f"{printable(self.path)}: ")
        # the line is that of a text that was never written
        first, *more = (re.sub(r"^line \d+(, |: )", "", problem) for problem in error.problems)
        return f"{first} (and {len(more)} more)" if more else first


def _make(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UsageError(f"{printable(folder)}: cannot be made: {error.strerror or error}") from error
