"""The file on disk: read once, read-only, with what identifies it."""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Generator
from dataclasses import dataclass, field
from pathlib import Path

from qc.errors import EmptyError, UnreadableError, VanishedError, printable

OPEN_FLAGS = (
    os.O_RDONLY
    | getattr(os, "O_CLOEXEC", 0)
    | getattr(os, "O_BINARY", 0)
    | getattr(os, "O_NONBLOCK", 0)  # a pipe under the name must not hang the session
)
"""How a capture is opened: to read, never to wait."""

_NO_ATIME: int = getattr(os, "O_NOATIME", 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Loaded:
    """A capture as bytes.

    Attributes
    ----------
    path : str, bytes or os.PathLike
        As given.
    name : str
        Last part of the path, printable.
    data : bytes
        The whole file.
    size : int
        Bytes.
    mtime_ns : int
        Time of the last change, nanoseconds since 1970.
    inode : int
        Number of the file on its file system.
    content : str
        ``"blake2b:"`` and 64 hexadecimal digits: what the capture is known by, whatever its name.
    sha256 : str
        64 hexadecimal digits (FIPS 180-4): what the ordinary tools check copies by.
    """

    path: str | bytes | os.PathLike[str]
    name: str
    data: bytes = field(repr=False)
    size: int
    mtime_ns: int
    inode: int
    content: str
    sha256: str


def load(path: str | bytes | os.PathLike[str]) -> Loaded:
    """Read a whole file, read-only, and leave no trace on it.

    The time of last access stays as it was where the operating system allows it (Linux, own files).

    Parameters
    ----------
    path : str, bytes or os.PathLike
        The capture. Names that are not UTF-8 work.

    Returns
    -------
    Loaded

    Raises
    ------
    VanishedError
        There is no such file.
    EmptyError
        It has no bytes.
    UnreadableError
        A directory, a device or pipe, no permission, or an error of the disk or network.
    """
    place = Path(os.fsdecode(path))
    try:
        # asked before opening: opening a device can have effects
        _check_kind(path, place.stat().st_mode)
        with os.fdopen(_open(place), "rb", buffering=0) as file:
            facts = os.fstat(file.fileno())
            _check_kind(path, facts.st_mode)
            data = file.read()
    except (FileNotFoundError, NotADirectoryError) as error:
        raise VanishedError(path, "no such file") from error
    except PermissionError as error:
        raise UnreadableError(path, "no permission to read it") from error
    except OSError as error:
        raise UnreadableError(path, f"cannot be read: {error.strerror or error}") from error
    except ValueError as error:
        raise UnreadableError(path, "not a possible file name") from error
    except MemoryError as error:
        raise UnreadableError(path, "too large for the memory of this machine") from error
    if not data:
        raise EmptyError(path, "the file is empty")
    return Loaded(
        path=path,
        name=printable(place.name),
        data=data,
        size=len(data),
        mtime_ns=facts.st_mtime_ns,
        inode=facts.st_ino,
        content=digest_of(data),
        sha256=hashlib.sha256(data).hexdigest(),
    )


def read_head(path: str | bytes | os.PathLike[str], size: int) -> bytes:
    """Return the first `size` bytes of a file, without a trace on it as `load` does; raises OSError."""
    with os.fdopen(_open(Path(os.fsdecode(path))), "rb", buffering=0) as file:
        return file.read(size)


def digest_of(data: bytes) -> str:
    """Return what a capture's content is known by: ``"blake2b:"`` and 32 bytes in hexadecimal (RFC 7693)."""
    return "blake2b:" + hashlib.blake2b(data, digest_size=32).hexdigest()


def read_pieces(path: str | bytes | os.PathLike[str], size: int = 1 << 20) -> Generator[bytes, None, None]:
    """Yield a file in pieces, without a trace on it as `load` does: for files of any length; raises OSError."""
    with os.fdopen(_open(Path(os.fsdecode(path))), "rb", buffering=0) as file:
        while piece := file.read(size):
            yield piece


def _open(path: Path) -> int:
    try:
        return os.open(path, OPEN_FLAGS | _NO_ATIME)
    except PermissionError:
        # the flag is refused on files of another owner (open(2)); the file itself may still be readable
        return os.open(path, OPEN_FLAGS)


def _check_kind(path: str | bytes | os.PathLike[str], mode: int) -> None:
    if stat.S_ISDIR(mode):
        raise UnreadableError(path, "a folder, not a capture")
    if not stat.S_ISREG(mode):
        raise UnreadableError(path, "a device or pipe, not a file")
