"""What a C library writes to the process's standard error while it works.

LibRaw prints there past Python's `sys.stderr`, which tears a live display and loses the text.
"""

from __future__ import annotations

import os
import sys
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_ONE_AT_A_TIME = threading.RLock()
_STDERR = 2
_stays = False


def stay() -> None:
    """Leave file descriptor 2 where it is from now on: it is a file, open for reading, of this process alone.

    A worker's is: what a decoder says before it crashes then outlives the process, and blocks read it there.
    """
    global _stays
    _stays = True


@contextmanager
def complaints() -> Iterator[list[str]]:
    """Collect what is written to file descriptor 2 inside the block; the list is filled when it ends.

    The descriptor belongs to the whole process, so blocks of several threads wait for each other. Where the
    process has no standard error, nothing is collected.

    Yields
    ------
    list of str
        Lines, filled on leaving the block, also when it is left by an exception.
    """
    lines: list[str] = []
    if _stays:
        began = os.fstat(_STDERR).st_size
        try:
            yield lines
        finally:
            with os.fdopen(os.dup(_STDERR), "rb") as said:
                said.seek(began)
                lines.extend(_lines(said.read()))
        return
    with _ONE_AT_A_TIME, tempfile.TemporaryFile() as store:
        if sys.stderr is not None:
            sys.stderr.flush()
        try:
            kept = os.dup(_STDERR)
        except OSError:  # no standard error: a service without one
            yield lines
            return
        try:
            os.dup2(store.fileno(), _STDERR)
            try:
                yield lines
            finally:
                os.dup2(kept, _STDERR)
                store.seek(0)
                lines.extend(_lines(store.read()))
        finally:
            os.close(kept)


def _lines(said: bytes) -> list[str]:
    parts = said.decode("utf-8", "backslashreplace").splitlines()
    return [line for line in map(str.strip, parts) if line]
