"""`Intent`: what the set sheet says while a watch runs, with what was accepted since.

The sheet is the named one, or found for each capture as `qc.sheet.find` does. It is read again when it changes; a
sheet that gets mistakes, or goes away, holds as it last was good. What was accepted lies in the output folder and
is applied on top; the sheet a person typed is never written.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path

from qc.errors import SheetError
from qc.event import Event
from qc.intake.kept import Kept
from qc.intake.sheet_news import (
    REMEDY,
    bad_event,
    of_acceptances_left,
    of_accepted,
    of_sheet,
    rivals_said,
    trouble_of,
)
from qc.intake.shelves import Among, Looked, SheetFile, Shelves, must_be_good
from qc.sheet.accepted import Acceptance, accepted_path
from qc.sheet.accepted_file import parse_accepted
from qc.sheet.effective import with_accepted
from qc.sheet.find import two_of_one_name
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
        self._shelves = Shelves(self.folder, self.out, sheet)
        self._accepted: dict[Path, Kept[tuple[Acceptance, ...]]] = {}
        self._texts: dict[str, str] = {}
        self._told: set[frozenset[Path]] = set()
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
        """Return where what is accepted of a capture is kept.

        Raises
        ------
        UsageError
            When another sheet that is in use would take the same acceptances for its own.
        """
        file = self._file_of(*_split(capture))
        kept = self._kept_in(file)
        for other in self._shelves.files:
            shares = other is not file and not other.gone and self._kept_in(other) == kept
            if file is not None and shares and self._shelves.among(other).nearer is None:
                raise two_of_one_name(str(file.path), str(other.path))
        return kept

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
        told += self._of_sheets()
        for accepted in self._accepted.values():
            was = () if accepted.gone else accepted.value
            change = accepted.look()
            told += of_accepted(accepted, was, change, standing, there=self.out.is_dir())
        return told

    @property
    def trouble(self) -> str | None:
        """Why what holds is not what is there now, in one clause; None while all is well."""
        for file in self._shelves.files:
            if said := trouble_of(file, self._shelves.among(file)):
                return said
        for accepted in self._accepted.values():
            if accepted.problems:
                return f"{accepted.name} has mistakes: what was accepted before holds"
        return None

    # -- which file

    def _start(self) -> None:
        if (named := self._shelves.named) is not None:
            named.look()
            must_be_good(named)
        else:
            self._shelves.choose(self.folder, None, strict=True)
            for file in self._shelves.files:
                must_be_good(file)
        self._shelves.look()
        self._effective(self._file_of(self.folder, None))
        for accepted in self._accepted.values():
            if accepted.problems:
                raise SheetError(accepted.path, accepted.problems)
        self._unsaid.clear()

    def _file_of(self, folder: Path, name: str | None) -> SheetFile | None:
        return self._shelves.choose(folder, name)

    def _of_sheets(self) -> Iterator[Event]:
        for looked in self._shelves.look():
            among = self._shelves.among(looked.file, looked.held)
            event = of_sheet(looked, among)
            if event is not None:
                self._told |= {_key(among.rivals)}
                yield event
                yield from self._left_behind(looked, among)
        yield from self._of_clash()
        there = {file.path for file in self._shelves.files if not file.gone}
        self._told = {key for key in self._told if key <= there}

    def _of_clash(self) -> Iterator[Event]:
        """Tell once of sheets that met at a capture, which their patterns did not show before."""
        clash, self._shelves.clash = self._shelves.clash, ()
        if clash and not any(_key(clash) <= key for key in self._told):
            self._told.add(_key(clash))
            said = rivals_said(clash, self._shelves.among(clash[0]).goes_on)
            yield bad_event(f"{said}; {REMEDY}", clash[0].path, [said])

    def _left_behind(self, looked: Looked, among: Among) -> Iterator[Event]:
        """Tell of what was accepted without a sheet when one comes to hold."""
        kept = self._accepted.get(self._kept_in(None))
        first = looked.was is None and looked.file.value is not None and looked.held is None
        if (
            first
            and not among.rivals
            and among.nearer is None
            and kept is not None
            and kept.value
            and not kept.gone
        ):
            yield of_acceptances_left(kept, looked.file)

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


def _split(capture: str | os.PathLike[str]) -> tuple[Path, str]:
    path = Path(os.path.abspath(capture))  # noqa: PTH100 - a link to a capture is judged where it lies
    return path.parent, path.name


def _key(files: Sequence[SheetFile]) -> frozenset[Path]:
    return frozenset(file.path for file in files)
