"""The sheet that zones are saved to: one that is there, or a new one that is made by the first save."""

from __future__ import annotations

import hashlib
import re
from collections.abc import Callable, Mapping, Sequence, Set
from dataclasses import dataclass
from pathlib import Path

from qc.errors import QcError, SheetError, UsageError, printable
from qc.pages.drawing.outstanding import outstanding
from qc.sheet.edit import ZoneText, edited, save, zones_of
from qc.sheet.effective import effective_sheet
from qc.sheet.model import LimitTable
from qc.sheet.problems import as_text, read_bytes
from qc.sheet.read import parse_sheet, tables_of
from qc.sheet.sheet import Sheet


@dataclass(frozen=True, slots=True, kw_only=True)
class SeenText:
    """A zone as it was seen in the sheet.

    Attributes
    ----------
    zone : ZoneText
        Its facts.
    limits : str
        A digest of its own limits, by which it is told whether they changed; empty for none.
    """

    zone: ZoneText
    limits: str


class Target:
    """A sheet that zones are saved to. What a page saw in it is known to the page alone: there may be several.

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
        self._new = new
        self._first_text = first_text
        self._capture = capture
        _seen(self._text(), path)  # raises with its mistakes
        self.sheet: Sheet = Sheet(preset="series") if new else self._effective(self._text())

    @property
    def new(self) -> bool:
        """Whether there is none yet; one that others made meanwhile is there."""
        return self._new and not self.path.exists()

    def now(self) -> tuple[SeenText, ...]:
        """Return the zones that are in the sheet now.

        Raises
        ------
        SheetError
            With its mistakes, or when it cannot be read.
        """
        return _seen(self._text(), self.path)

    def save(self, seen: Sequence[SeenText], zones: Sequence[ZoneText]) -> str:
        """Write what differs from what was seen.

        Parameters
        ----------
        seen : sequence of SeenText
            The zones as whoever edits saw them last: what they did not see stays.
        zones : sequence of ZoneText
            As they shall be; `was` says which of the seen ones each is.

        Returns
        -------
        str
            What else there is to say, in one clause; empty for nothing.

        Raises
        ------
        SheetError, UsageError
            When nothing was written.
        """
        new = self.new
        text = self._first_text() if new else self._text()
        now = _seen(text, self.path)
        before, after = outstanding([one.zone for one in now], [one.zone for one in seen], zones)
        self._refuse_limits(now, seen, {zone.name for zone in before} - {zone.was for zone in after})
        if new:
            edited(text, before, after, path=self.path)  # no folder is made for what would be refused
            _make(self.path.parent)
        text = save(self.path, text, before, after, new=new)
        self._new = False
        try:
            self.sheet = self._effective(text)
        except QcError as error:  # the zones are saved all the same
            self.sheet = parse_sheet(text, path=self.path)
            return f"what was accepted is left aside: {error}".partition("\n")[0]
        return ""

    def _text(self) -> str:
        return "" if self.new else as_text(read_bytes(self.path), self.path)

    def _effective(self, text: str) -> Sheet:
        sheet = effective_sheet(self._capture, sheet=self.path)
        return sheet if sheet is not None else parse_sheet(text, path=self.path)

    def _refuse_limits(self, now: Sequence[SeenText], seen: Sequence[SeenText], gone: Set[str]) -> None:
        """Refuse to take out a zone with limits that whoever edits has not seen."""
        limits = {one.zone.name: one.limits for one in seen}
        for one in now:
            if one.zone.name in gone and one.limits != limits[one.zone.name]:
                raise UsageError(
                    f'{printable(self.path)}: zone "{printable(one.zone.name)}" was changed in the sheet'
                    " meanwhile; nothing was saved"
                )

    def why_not(self, error: QcError) -> str:
        """Return an error of saving in one clause, as somebody reads it who sees the zones and not the file."""
        if not isinstance(error, SheetError):
            return str(error).removeprefix(f"{printable(self.path)}: ")
        # the line is that of a text that was never written
        first, *more = (re.sub(r"^line \d+(, |: )", "", problem) for problem in error.problems)
        return f"{first} (and {len(more)} more)" if more else first


def _seen(text: str, path: Path) -> tuple[SeenText, ...]:
    limits = {zone.name: zone.limits for zone in tables_of(text, path).zone}
    return tuple(SeenText(zone=zone, limits=_digest(limits[zone.name])) for zone in zones_of(text, path))


def _digest(limits: Mapping[str, LimitTable]) -> str:
    said = sorted((reading, sorted(limit.model_dump().items())) for reading, limit in limits.items())
    return hashlib.blake2b(repr(said).encode(), digest_size=8).hexdigest() if said else ""


def _make(folder: Path) -> None:
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise UsageError(f"{printable(folder)}: cannot be made: {error.strerror or error}") from error
