"""Which capture is drawn on, and which sheet the zones are for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from qc.errors import UsageError, printable
from qc.intake.first_sheet import first_text, lies_at, meant
from qc.pages.drawing.target import Target
from qc.result import Result
from qc.sheet.find import SUFFIX, find_path, sheets_in, two_hold
from qc.sheet.read import read_sheet
from qc.sheet.write import sheet_path


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """What is drawn on and where it is saved.

    Attributes
    ----------
    capture : Path
        It need not be there.
    sheet : Path
        Of the set.
    new : bool
        Whether the sheet is made by the first save.
    name : str
        What a new set is called.
    """

    capture: Path
    sheet: Path
    new: bool
    name: str

    def target(self, result: Callable[[], Result]) -> Target:
        """Return the sheet; `result` gives what was measured of the capture, when a new one is written."""
        return Target(
            self.sheet,
            new=self.new,
            first_text=lambda: first_text(result(), name=self.name),
            capture=self.capture,
        )


def place(
    capture: str | None, *, sheet: Path | None = None, folder: Path | None = None, out: Path | None = None
) -> Place:
    """Return the capture that is meant and the sheet that holds for it.

    Parameters
    ----------
    capture : str or None
        File name or path; the last one of the watch when None.
    sheet : Path or None
        The one that is named, there or not; else the one that holds for the capture; else a new one,
        ``OUT/FOLDERNAME.set.toml``.
    folder, out : Path or None
        As `qc.intake.first_sheet.first_sheet` takes them.

    Raises
    ------
    UsageError
        When it cannot be told.
    SheetError
        When a sheet that may hold has mistakes.
    """
    try:
        watched, output = meant(folder, out, capture)
    except UsageError:
        if capture is None or folder is not None or out is not None or Path(capture).exists():
            raise
        raise UsageError(f"{printable(capture)}: no such capture") from None
    lies = lies_at(watched, output, capture)
    path, new = _named(sheet) if sheet is not None else _holds(lies, watched, output)
    if new:
        _refuse_what_cannot_be_made(path)
    return Place(capture=lies, sheet=path, new=new, name=printable(watched.name))


def _named(sheet: Path) -> tuple[Path, bool]:
    path = sheet if sheet.exists() or sheet.is_symlink() else sheet_path(sheet)
    return path, not path.exists()


def _refuse_what_cannot_be_made(path: Path) -> None:
    """Refuse a new sheet that the first save could not make, before anything is drawn for it."""
    if path.is_symlink():
        raise UsageError(f"{printable(path)}: is a link to what is not there; no sheet can be made of it")
    folder = path.parent
    if not (folder.is_dir() or (not folder.is_symlink() and not folder.exists() and folder.parent.is_dir())):
        raise UsageError(f"{printable(path)}: there is no folder for it")


def _holds(capture: Path, folder: Path, out: Path) -> tuple[Path, bool]:
    found = find_path(capture)
    if found is not None:
        return found, False
    there = sheets_in(out)
    fit = [path for path in there if read_sheet(path).is_for(capture.name)]
    if len(fit) > 1:
        raise two_hold([printable(path) for path in fit])
    if there and not fit:
        raise UsageError(f"{printable(there[0])}: is not for {printable(capture.name)}; name a sheet with --sheet")
    return (fit[0], False) if fit else (out / f"{folder.name}{SUFFIX}", True)
