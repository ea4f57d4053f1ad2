"""Which set sheet a capture belongs to."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from pathlib import Path

from qc.errors import UsageError, printable
from qc.sheet.read import read_sheet
from qc.sheet.sheet import Sheet

SUFFIX = ".set.toml"


def find_sheet(capture: str | bytes | os.PathLike[str]) -> Sheet | None:
    """Return the sheet that holds for a capture, as it was typed; None when there is none.

    `qc.effective_sheet` returns it with what was accepted since.

    Looked for where `places` says. A sheet whose `captures` pattern does not fit the file name is passed over.

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
    found = find_path(capture)
    return None if found is None else read_sheet(found)


def find_path(capture: str | bytes | os.PathLike[str]) -> Path | None:
    """Return where the sheet lies that holds for a capture; raises as `find_sheet`."""
    place = Path(os.path.abspath(os.fsdecode(capture)))  # noqa: PTH100 - a link to a capture is judged where it lies
    for where in places(place.parent):
        fit = [path for path in sheets_in(where) if read_sheet(path).is_for(place.name)]
        if len(fit) > 1:
            raise two_hold([printable(path) for path in fit])
        if fit:
            return fit[0]
    return None


def places(folder: Path) -> Iterator[Path]:
    """Yield the folders in which the sheet of a folder's captures may lie, nearest first.

    The folder ``FOLDER.qc`` beside it, the folder itself, and the same for each folder above it: a watch on a
    folder, whose sheet lies beside it, takes in the folders inside it.

    Parameters
    ----------
    folder : Path
        Absolute; it need not exist.
    """
    for above in (folder, *folder.parents):
        if above.name:
            yield above.with_name(f"{above.name}.qc")
        yield above


def sheets_in(folder: Path) -> Sequence[Path]:
    """Return the sheets of a folder by name; none of one that is not there, or that may not be listed."""
    try:
        return sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX) and path.is_file())
    except OSError:
        return []  # such a folder holds no sheet that could be read


def two_hold(paths: Sequence[str]) -> UsageError:
    """Return the error that names the sheets which hold for the same capture."""
    names = " and ".join(printable(path) for path in paths)
    return UsageError(f"two set sheets hold here: {names}; name one with --sheet, or divide them by 'captures'")


def two_of_one_name(path: str, other: str) -> UsageError:
    """Return the error that names two sheets whose acceptances could not be told apart."""
    return UsageError(
        f"two set sheets have one name: {printable(path)} and {printable(other)}; what is accepted would count for"
        " both: rename one"
    )
