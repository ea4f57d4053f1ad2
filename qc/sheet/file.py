"""Write the file of a sheet: a new one, or a whole text in the place of another."""

from __future__ import annotations

import codecs
import os
import stat
import tempfile
from pathlib import Path

from qc.errors import UsageError, printable


def create(path: str | os.PathLike[str], text: str) -> None:
    """Write a sheet where there is none.

    Raises
    ------
    UsageError
        When there is a file already, which is not replaced, or it cannot be written; nothing is left of it then.
    """
    try:
        file = Path(path).open("x", encoding="utf-8", newline="")  # noqa: SIM115 - what was there is not ours
    except FileExistsError:
        raise UsageError(f"{printable(path)}: there is a sheet already; it is not replaced") from None
    except OSError as error:
        raise _not_written(path, error) from error
    try:
        with file:
            _put(file.fileno(), text.encode("utf-8"))
    except BaseException as error:
        Path(path).unlink(missing_ok=True)
        if isinstance(error, OSError):
            raise _not_written(path, error) from error
        raise


def replaced(path: str | os.PathLike[str], was: bytes, text: str) -> bool:
    """Put a text in the place of a file's bytes, in one step; its mode, and a mark at its start, stay.

    Parameters
    ----------
    path : str or os.PathLike
        The file. Of a link, what it leads to is written, and the link stays.
    was : bytes
        What must still be in it.
    text : str
        What comes.

    Returns
    -------
    bool
        False when something else was in it by now: nothing is written then.

    Raises
    ------
    UsageError
        When it cannot be written; what was in it stays.
    """
    mark = codecs.BOM_UTF8 if was.startswith(codecs.BOM_UTF8) else b""
    try:
        target = Path(path).resolve(strict=True)
        if not os.access(target, os.W_OK):
            raise UsageError(f"{printable(path)}: cannot be written: it is write-protected")
        number, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=".part")
        return _moved(number, Path(name), target, was, mark + text.encode("utf-8"))
    except OSError as error:
        raise _not_written(path, error) from error


def _moved(number: int, part: Path, target: Path, was: bytes, data: bytes) -> bool:
    try:
        with os.fdopen(number, "wb") as file:
            _put(file.fileno(), data)
        part.chmod(stat.S_IMODE(target.stat().st_mode))
        if target.read_bytes() != was:
            part.unlink()
            return False
        part.replace(target)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return True


def _put(number: int, data: bytes) -> None:
    while data:
        data = data[os.write(number, data) :]
    os.fsync(number)


def _not_written(path: str | os.PathLike[str], error: OSError) -> UsageError:
    return UsageError(f"{printable(path)}: cannot be written: {error.strerror or error}")
