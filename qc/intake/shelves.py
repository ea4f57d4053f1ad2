"""`Shelves`: the set sheets in reach of a watched folder while the watch runs, and which of them holds.

A sheet holds for the captures of its folder and of those inside it; of several the nearest. Of two in one folder
that hold for the same captures the one goes on that held before, since a second one is rarely meant to unseat the
first unsaid.
"""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from qc.container.source import digest_of
from qc.errors import SheetError, printable
from qc.intake.kept import YOUNG_S, Change, Kept
from qc.sheet.find import places, sheets_in, two_hold
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet

SheetFile = Kept[Sheet]


@dataclass(frozen=True, slots=True, kw_only=True)
class Among:
    """How a sheet stands among the others.

    Attributes
    ----------
    rivals : tuple of SheetFile
        All in one folder that hold for its captures, where there is more than one: itself among them, or when it
        is gone those that are left.
    goes_on : SheetFile or None
        Of those, the one that held before.
    nearer : SheetFile or None
        One that lies nearer to all of its captures and holds for them.
    before : SheetFile or None
        Another one that is there and held for the watched folder until now.
    instead : SheetFile or None
        The one that holds for its captures when it is gone.
    inside : str or None
        The folder inside the watched one that it is for; None when it is for all of that.
    holds : bool
        Whether it held last for the captures of some folder.
    """

    rivals: tuple[SheetFile, ...] = ()
    goes_on: SheetFile | None = None
    nearer: SheetFile | None = None
    before: SheetFile | None = None
    instead: SheetFile | None = None
    inside: str | None = None
    holds: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """One sheet after a look at it."""

    file: SheetFile
    was: Sheet | None
    change: Change
    held: SheetFile | None
    """What held for the watched folder before the look."""


class Shelves:
    """The sheets in reach.

    Parameters
    ----------
    folder, out : Path
        The watched folder and its output folder, absolute.
    named : Path or None
        The only sheet that counts, when one is named.

    Attributes
    ----------
    clash : tuple of SheetFile
        Sheets that held for one capture at the last `choose` that found more than one.
    """

    def __init__(self, folder: Path, out: Path, named: Path | None) -> None:
        self.folder, self.out = folder, out
        self.named = None if named is None else sheet_file(named)
        self.clash: tuple[SheetFile, ...] = ()
        self._shelves: dict[Path, _Shelf] = {}
        self._places: dict[Path, tuple[Path, ...]] = {}
        self._holds: dict[Path, SheetFile] = {}
        """The sheet that held last for the captures of a folder."""
        self._unsaid: list[Looked] = []

    @property
    def files(self) -> list[SheetFile]:
        """Every sheet that was looked at, gone ones included."""
        found = [file for shelf in self._shelves.values() for file in shelf.files]
        return found if self.named is None else [self.named]

    def look(self) -> list[Looked]:
        """Look again at every sheet in reach, and for new ones."""
        held = self._holds.get(self.folder)
        known = self.files
        looked = [Looked(file=file, was=file.value, change=file.look(), held=held) for file in known]
        for shelf in self._shelves.values():
            looked += self._take_up(shelf, held)
        if self.named is None:
            self.choose(self.folder, None)
        unsaid, self._unsaid = self._unsaid, []
        return unsaid + looked

    def choose(self, folder: Path, name: str | None, *, strict: bool = False) -> SheetFile | None:
        """Return the nearest sheet for a capture, or for a folder: those that are there before those that went.

        Of two that hold, the one that held before; None when neither did. `strict`: only sheets for the whole
        folder, and two of them are an error.
        """
        if self.named is not None:
            return self.named
        for gone in (False, True):
            for place in self._places_of(folder):
                files = [file for file in self._shelf(place).files if file.gone == gone]
                fit = [file for file in files if _fits(file.value, name, whole_folder=strict)]
                if len(fit) > 1 and strict:
                    raise two_hold([str(file.path) for file in fit])
                if len(fit) > 1:
                    if name is not None and not gone:
                        self.clash = tuple(fit)
                    return self._first_held(fit, folder)
                if fit:
                    self._holds[folder] = fit[0]
                    return fit[0]
        return None

    def among(self, file: SheetFile, held: SheetFile | None = None) -> Among:
        """Tell how a sheet stands among the others; `held` is what held before."""
        if self.named is not None:
            return Among()
        place = next(shelf.folder for shelf in self._shelves.values() if file in shelf.files)
        reach = self._reach(place)
        at = reach.index(place) if place in reach else 0
        nearer = [one for near in reach[:at] for one in self._present(near, file)]
        every = [one for far in reach for one in self._present(far, file) if one is not file]
        rivals = self._left(file, reach) if file.gone else self._rivals(file, place)
        inside = self._inside(place)
        unseats = held in every and _for_all(file) and not file.gone and inside is None
        return Among(
            rivals=rivals if len(rivals) > 1 else (),
            goes_on=self._first_held(rivals, self.folder),
            nearer=next((one for one in nearer if _for_all(one)), None),
            before=held if unseats else None,
            instead=rivals[0] if file.gone and len(rivals) == 1 else None,
            holds=file in self._holds.values(),
            inside=None if inside is None else printable(inside.relative_to(self.folder)),
        )

    def _rivals(self, file: SheetFile, place: Path) -> tuple[SheetFile, ...]:
        return tuple(one for one in self._present(place, file) if _same_captures(one, file))

    def _left(self, file: SheetFile, reach: Sequence[Path]) -> tuple[SheetFile, ...]:
        """Return the nearest sheets that hold for the captures of one that is gone."""
        for place in reach:
            here = [one for one in self._present(place, file) if one is not file]
            if fit := tuple(one for one in here if _for_all(one) or _captures(one) == _captures(file)):
                return fit
        return ()

    def _first_held(self, fit: Sequence[SheetFile], folder: Path) -> SheetFile | None:
        held = (self._holds.get(folder), self._holds.get(self.folder))
        return next((file for file in held if file in fit), None)

    def _present(self, place: Path, but: SheetFile) -> list[SheetFile]:
        """Return the sheets of a place that are there and were good once; with `but` even when it was not."""
        shelf = self._shelves.get(place)
        files = shelf.files if shelf is not None else []
        return [file for file in files if not file.gone and (file.value is not None or file is but)]

    def _reach(self, place: Path) -> tuple[Path, ...]:
        """Return the places whose sheets may hold for the captures that a sheet in a place is for."""
        return self._places_of(self._inside(place) or self.folder)

    def _inside(self, place: Path) -> Path | None:
        """Return the folder inside the watched one that the sheets of a place are for; None for others."""
        if place == self.out or not place.name:
            return None
        beside = place.with_name(place.name.removesuffix(".qc"))
        return beside if self.folder in beside.parents else None

    def _places_of(self, folder: Path) -> tuple[Path, ...]:
        if folder not in self._places:
            found = list(places(folder))
            if self.folder in found:  # the output folder may lie elsewhere than beside the watched one
                found.insert(found.index(next(places(self.folder))), self.out)
            self._places[folder] = tuple(dict.fromkeys(found))
        return self._places[folder]

    def _shelf(self, place: Path) -> _Shelf:
        if place not in self._shelves:
            self._shelves[place] = _Shelf(place)
            self._unsaid += self._take_up(self._shelves[place], self._holds.get(self.folder))
        return self._shelves[place]

    def _take_up(self, shelf: _Shelf, held: SheetFile | None) -> list[Looked]:
        """Take up sheets that appeared in a folder."""
        appeared = shelf.new()
        shelf.files += appeared
        return [Looked(file=file, was=None, change=file.look(), held=held) for file in appeared]


class _Shelf:
    """The sheets of one folder, gone ones included."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files: list[SheetFile] = []
        self._listed: int | None = None

    def new(self) -> list[SheetFile]:
        """Return the sheets that were not there before; the folder is listed only when it changed."""
        try:
            changed = self.folder.stat().st_mtime_ns
        except OSError:  # no such folder, or one that may not be looked into: it holds no sheet
            self._listed = None
            return []
        if changed == self._listed:
            return []
        # a folder that changed within the clock's tick is listed once more
        self._listed = changed if time.time() - changed / 1e9 > YOUNG_S else None
        known = {file.path for file in self.files}
        return [sheet_file(path) for path in sheets_in(self.folder) if path not in known]


def sheet_file(path: Path) -> SheetFile:
    """Return a sheet's file, not looked at yet."""
    return Kept(path, lambda text, data: parse_sheet(text, path=path, digest=digest_of(data)))


def must_be_good(file: SheetFile) -> None:
    """Raise `SheetError` for a sheet that is not there or has mistakes."""
    if file.gone:
        raise SheetError(file.path, ["cannot be read: No such file or directory"])
    if file.problems:
        raise SheetError(file.path, file.problems)


def _captures(file: SheetFile) -> str | None:
    return None if file.value is None else file.value.captures


def _for_all(file: SheetFile) -> bool:
    return file.value is not None and file.value.captures is None


def _same_captures(one: SheetFile, other: SheetFile) -> bool:
    """Tell whether two sheets hold for the same captures; of two patterns only equal ones are taken to."""
    if one is other:
        return True
    if one.value is None or other.value is None:
        return False
    return _for_all(one) or _for_all(other) or _captures(one) == _captures(other)


def _fits(sheet: Sheet | None, name: str | None, *, whole_folder: bool) -> bool:
    if sheet is None:
        return False
    return sheet.captures is None if whole_folder else name is None or sheet.is_for(name)
