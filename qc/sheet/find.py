"""Which set sheet a capture belongs to."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path

from qc.errors import UsageError, printable
from qc.sheet.read import read_sheet
from qc.sheet.sheet import Sheet

SUFFIX = ".set.toml"


def find_sheet(capture: str | bytes | os.PathLike[str]) -> Sheet | None:
    """Return the sheet that holds for a capture, or None.

    Looked for in the folder ``FOLDER.qc`` beside the capture's folder, then in the capture's folder, then in
    each folder above it. A sheet whose `captures` pattern does not fit the file name is passed over.

    Parameters
    ----------
    capture : str, bytes or os.PathLike
        A capture; it need not exist.

    Returns
    -------
    Sheet or None

    Raises
    ------
    UsageError
        When two sheets of one folder hold for the capture; names both.
    SheetError
        When a sheet there has mistakes.
    """
    place = Path(os.path.abspath(os.fsdecode(capture)))  # noqa: PTH100 - a link to a capture is judged where it lies
    folder = place.parent
    for where in (folder.with_name(f"{folder.name}.qc"), folder, *folder.parents):
        sheet = _one_of([s for s in map(read_sheet, _sheets_in(where)) if s.is_for(place.name)])
        if sheet is not None:
            return sheet
    return None


def _sheets_in(folder: Path) -> Sequence[Path]:
    try:
        return sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX) and path.is_file())
    except OSError:
        return []  # a folder that is not there, or that may not be listed, holds no sheet that could be read


def _one_of(sheets: Sequence[Sheet]) -> Sheet | None:
    if len(sheets) > 1:
        names = " and ".join(printable(s.path or "") for s in sheets)
        raise UsageError(f"two set sheets hold here: {names}; name one with --sheet, or divide them by 'captures'")
    return sheets[0] if sheets else None
