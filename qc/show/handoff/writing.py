"""Hand-off files on the disk: each whole or not at all, and none among the captures."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from pathlib import Path, PurePath

from qc.day import Day
from qc.errors import UsageError, printable
from qc.log.rows import Logged
from qc.show.pictures import check_folder


def check_place(folder: Path, day: Day) -> None:
    """Refuse a folder that is the watched one, or that lies in it; raises UsageError."""
    logged = (*(taken.logged for taken in day.captures), *day.replaced)
    roots = dict.fromkeys(_root(one) / "capture" for one in logged)
    check_folder(folder, [*roots], what="report")


def write_files(folder: Path, files: Mapping[str, Iterable[bytes]]) -> list[Path]:
    """Write files into a folder, one after the other, each in one step.

    Parameters
    ----------
    folder : Path
        Made when it does not exist.
    files : mapping of str to iterable of bytes
        Contents by file name, made while they are written.

    Returns
    -------
    list of Path

    Raises
    ------
    UsageError
        When the disk does not take one; what stood under its name before is still there then.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return [_write(folder / name, pieces) for name, pieces in files.items()]
    except OSError as error:
        where = printable(error.filename or folder)
        raise UsageError(f"{where}: cannot be written: {error.strerror or error}") from error


def _write(target: Path, pieces: Iterable[bytes]) -> Path:
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    try:
        with part.open("wb") as file:
            for piece in pieces:
                file.write(piece)
            file.flush()
            os.fsync(file.fileno())
        part.replace(target)
    except BaseException as error:
        part.unlink(missing_ok=True)
        if isinstance(error, OSError):
            error.filename = target
        raise
    return target


def _root(one: Logged) -> Path:
    """Return the watched folder, as it was when the capture came."""
    below = PurePath(one.path)
    place = Path(one.result.file.path).absolute()
    return place.parents[len(below.parts) - 1] if place.parts[-len(below.parts) :] == below.parts else place.parent
