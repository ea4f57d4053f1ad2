"""`Intent`: what the set sheet says while a watch runs, with what was accepted since.

The sheet is the named one, or found for each capture as `qc.sheet.find` does. It is read again when it changes; a
sheet that gets mistakes, or goes away, holds as it last was good. What was accepted lies in the output folder and
is applied on top; the sheet a person typed is never written.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from qc.container.source import digest_of
from qc.errors import SheetError
from qc.event import Event
from qc.intake.kept import YOUNG_S, Kept
from qc.intake.sheet_news import bad_event, of_accepted, of_sheet
from qc.sheet.accepted import Acceptance, accepted_path
from qc.sheet.accepted_file import parse_accepted
from qc.sheet.effective import with_accepted
from qc.sheet.find import places, sheets_in, two_hold
from qc.sheet.read import parse_sheet
from qc.sheet.sheet import Sheet


class Intent:
    """The intent of a watched folder.

    Parameters
    ----------
    folder : Path
        The watched folder.
    out : Path
        Its output folder.
    sheet : Path or None
        The set sheet; found for each capture when None.
    preset : str or None
        Default limits; goes before the sheet's.

    Raises
    ------
    SheetError
        When a sheet that holds here, or what was accepted for it, has mistakes at the start: there is no last
        good one yet.
    UsageError
        When two sheets hold for the whole folder.
    """

    def __init__(self, folder: Path, out: Path, *, sheet: Path | None = None, preset: str | None = None) -> None:
        self.folder, self.out = (Path(os.path.abspath(path)) for path in (folder, out))  # noqa: PTH100 - as named
        self.preset = preset
        self._named = None if sheet is None else _sheet_file(sheet)
        self._shelves: dict[Path, _Shelf] = {}
        self._places: dict[Path, tuple[Path, ...]] = {}
        self._accepted: dict[Path, Kept[tuple[Acceptance, ...]]] = {}
        self._texts: dict[str, str] = {}
        self._holds: dict[Path, Kept[Sheet]] = {}
        """The sheet that held last for the captures of a folder."""
        self._told: set[tuple[str, ...]] = set()
        self._unsaid: list[Event] = []
        self._last: tuple[Path, str | None] = (self.folder, None)
        self._start()

    @property
    def sheet(self) -> Sheet | None:
        """The sheet that holds, acceptances applied; where several divide the folder, that of the last capture."""
        return self._effective(self._file_of(*self._last))

    @property
    def text(self) -> str:
        """The text of `sheet`, and of what was accepted."""
        return self.text_of(self.sheet)

    def text_of(self, sheet: Sheet | None) -> str:
        """Return the text that a sheet given out earlier was made of, also when it has changed since."""
        return "" if sheet is None else self._texts.get(sheet.digest or "", "")

    def for_capture(self, capture: str | os.PathLike[str]) -> Sheet | None:
        """Return the sheet that holds for a capture, acceptances applied; None when there is none.

        Never raises for a bad sheet: the last good one holds, and `refresh` says so.
        """
        self._last = _split(capture)
        return self.sheet

    def accepted_path(self, capture: str | os.PathLike[str]) -> Path:
        """Return where what is accepted of a capture is kept."""
        file = self._file_of(*_split(capture))
        return self._kept_in(file)

    def refresh(self, acts: Iterable[Event] | None = None) -> list[Event]:
        """Look again at every sheet in reach and at what was accepted; cheap enough for each second.

        Parameters
        ----------
        acts : iterable of Event or None
            The acts that stand now by the log (`qc.log.said.Said.acts`): acceptances that these tell of, and
            those that were taken back there, are not told again. None to tell of all.

        Returns
        -------
        list of Event
            ``sheet_changed`` and ``sheet_bad``; each change once.
        """
        told, self._unsaid = self._unsaid, []
        standing = None if acts is None else {act.at for act in acts if act.kind == "accepted"}
        files = self._files if self._named is None else [self._named]
        for file in files:
            before = file.value
            told += of_sheet(file, before, file.look())
        for shelf in self._shelves.values():
            told += self._take_up(shelf)
        for accepted in self._accepted.values():
            was = () if accepted.gone else accepted.value
            change = accepted.look()
            told += of_accepted(accepted, was, change, standing, there=self.out.is_dir())
        return told

    # -- which file

    @property
    def _files(self) -> list[Kept[Sheet]]:
        return [file for shelf in self._shelves.values() for file in shelf.files]

    def _start(self) -> None:
        if self._named is not None:
            self._named.look()
            _must_be_good(self._named)
        else:
            self._choose(self.folder, None, strict=True)
            for file in self._files:
                _must_be_good(file)
        self._effective(self._file_of(self.folder, None))
        for accepted in self._accepted.values():
            if accepted.problems:
                raise SheetError(accepted.path, accepted.problems)
        self._unsaid.clear()

    def _file_of(self, folder: Path, name: str | None) -> Kept[Sheet] | None:
        return self._named or self._choose(folder, name)

    def _choose(self, folder: Path, name: str | None, *, strict: bool = False) -> Kept[Sheet] | None:
        """Return the nearest sheet for a capture, or for a folder: those that are there before those that went.

        `strict`: only sheets for the whole folder, and two of them are an error.
        """
        for gone in (False, True):
            for place in self._places_of(folder):
                fit = [
                    file
                    for file in self._shelf(place).files
                    if file.gone == gone and _fits(file.value, name, whole_folder=strict)
                ]
                if len(fit) > 1:
                    return self._one_of(fit, folder, quiet=name is None, strict=strict)
                if fit:
                    self._holds[folder] = fit[0]
                    return fit[0]
        return None

    def _one_of(
        self, fit: Sequence[Kept[Sheet]], folder: Path, *, quiet: bool, strict: bool
    ) -> Kept[Sheet] | None:
        """Of two sheets that hold, go on with the one that held before; without one, nothing is judged."""
        error = two_hold([str(file.path) for file in fit])
        if strict:
            raise error
        held = self._holds.get(folder)
        held = held if held in fit else None
        key = tuple(str(file.path) for file in fit)
        if not quiet and key not in self._told:
            self._told.add(key)
            text = f"{error}; {'none of them is used' if held is None else f'{held.name} goes on'}"
            self._unsaid.append(bad_event(text, fit[0].path, [str(error)]))
        return held

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
            self._unsaid += self._take_up(self._shelves[place])
        return self._shelves[place]

    def _take_up(self, shelf: _Shelf) -> Iterator[Event]:
        """Take up sheets that appeared in a folder."""
        for file in shelf.new():
            shelf.files.append(file)
            yield from of_sheet(file, None, file.look())

    # -- what it says

    def _effective(self, file: Kept[Sheet] | None) -> Sheet | None:
        sheet, text = (file.value, file.text) if file is not None else (None, "")
        accepted = self._accepted_of(file)
        if accepted.value and not (accepted.gone and self.out.is_dir()):
            sheet, text = with_accepted(
                sheet, text, accepted.value, accepted.text, path=accepted.path, preset=self.preset
            )
        if sheet is not None and sheet.digest is not None:
            self._texts[sheet.digest] = text
        return sheet

    def _kept_in(self, file: Kept[Sheet] | None) -> Path:
        return accepted_path(self.out, None if file is None else file.path, folder=self.folder)

    def _accepted_of(self, file: Kept[Sheet] | None) -> Kept[tuple[Acceptance, ...]]:
        path = self._kept_in(file)
        if path not in self._accepted:
            kept = self._accepted[path] = Kept(path, lambda text, _: parse_accepted(text, path=path), whole=True)
            self._unsaid += of_accepted(kept, None, kept.look(), None, there=False)
        return self._accepted[path]


class _Shelf:
    """The sheets of one folder, gone ones included."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.files: list[Kept[Sheet]] = []
        self._listed: int | None = None

    def new(self) -> list[Kept[Sheet]]:
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
        return [_sheet_file(path) for path in sheets_in(self.folder) if path not in known]


def _sheet_file(path: Path) -> Kept[Sheet]:
    return Kept(path, lambda text, data: parse_sheet(text, path=path, digest=digest_of(data)))


def _must_be_good(file: Kept[Sheet]) -> None:
    if file.gone:
        raise SheetError(file.path, ["cannot be read: No such file or directory"])
    if file.problems:
        raise SheetError(file.path, file.problems)


def _split(capture: str | os.PathLike[str]) -> tuple[Path, str]:
    path = Path(os.path.abspath(capture))  # noqa: PTH100 - a link to a capture is judged where it lies
    return path.parent, path.name


def _fits(sheet: Sheet | None, name: str | None, *, whole_folder: bool) -> bool:
    if sheet is None:
        return False
    return sheet.captures is None if whole_folder else name is None or sheet.is_for(name)
