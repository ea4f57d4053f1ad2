"""Digests beside the log, by content: written whole under their name or not at all."""

from __future__ import annotations

import hashlib
import os
import re
import threading
import time
from contextlib import suppress
from pathlib import Path

from qc.digest import Digest
from qc.errors import LogError, UsageError

FOLDER = "digests"

STALE_S = 3600.0
"""Age from which a digest that was never finished is left over from a process that died."""


def name_of(content: str) -> str:
    """Return the path of a digest relative to the output folder: ``digests/ab/<hexadecimal>.digest``."""
    _, _, mark = content.partition(":")
    if not re.fullmatch("[0-9a-f]{2,}", mark):
        mark = hashlib.blake2b(content.encode(), digest_size=32).hexdigest()
    return f"{FOLDER}/{mark[:2]}/{mark}.digest"


def write(out: Path, name: str, data: bytes) -> None:
    """Write a digest; a kill at any moment leaves the old one, or none, under its name.

    Raises
    ------
    OSError
        When it cannot be written; nothing is left of it.
    """
    target = out / name
    (out / FOLDER).mkdir(exist_ok=True)
    target.parent.mkdir(exist_ok=True)
    mine = f"{target.stem[:16]}.{os.getpid()}.{threading.get_ident()}"  # another may write the same at this moment
    unfinished = out / FOLDER / f"{mine}.unfinished"
    try:
        with unfinished.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        unfinished.replace(target)
    except BaseException:
        unfinished.unlink(missing_ok=True)
        raise


def read(out: Path, name: str) -> Digest | None:
    """Read a digest; None where there is none.

    Raises
    ------
    LogError
        When it cannot be read or is damaged.
    """
    path = out / name
    try:
        return Digest.from_bytes(path.read_bytes())
    except (FileNotFoundError, NotADirectoryError):
        return None
    except UsageError as error:
        raise LogError(path, str(error)) from error
    except OSError as error:
        raise LogError(path, error.strerror or str(error)) from error


def sweep(out: Path) -> None:
    """Remove what processes that were killed left unfinished."""
    with suppress(OSError):  # what cannot be removed today is in nobody's way
        for left in (out / FOLDER).glob("*.unfinished"):
            if time.time() - left.stat().st_mtime > STALE_S:
                left.unlink()
