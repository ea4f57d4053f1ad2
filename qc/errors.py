"""Every error that framegauge raises on purpose, and nothing else.

::

    QcError                     one base: `except QcError` catches all of it
    ├── CaptureError            a capture cannot be measured; `.path`, `.cause`, `.state`
    │   ├── VanishedError       no such file (any more)             state "vanished"
    │   ├── EmptyError          the file has no bytes               state "empty"
    │   ├── TruncatedError      the file ends before its data does  state "truncated"
    │   ├── DamagedError        the data are there and wrong        state "damaged"
    │   ├── UnsupportedError    a known kind that no decoder reads  state "unsupported"
    │   └── UnreadableError     not a picture, a directory, locked  state "unreadable"
    ├── SheetError              a set sheet has mistakes; `.problems` lists them all
    ├── LogError                the log cannot be opened, read or written; `.path`, `.cause`
    ├── WorkerLostError         a worker process died or was stopped over its work; `.retry`, `.complaints`
    └── UsageError              a wrong call: unknown reading, frames that cannot be compared

The text of an error is one line that names the file and the cause; commands
print it as it is. `qc.decode.mapping` turns every error of the wrapped
libraries into one of these.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import ClassVar


class QcError(Exception):
    """Base of every error that framegauge raises on purpose."""


class CaptureError(QcError):
    """A capture cannot be measured.

    Parameters
    ----------
    path : str or os.PathLike
        The file, as it was given.
    cause : str
        Why, in a few words without the file's name.
    """

    state: ClassVar[str] = "unreadable"

    def __init__(self, path: str | bytes | os.PathLike[str], cause: str) -> None:
        self.path = path
        self.cause = cause
        super().__init__(path, cause)

    def __str__(self) -> str:
        return f"{printable(self.path)}: {self.cause}"


class VanishedError(CaptureError):
    """There is no such file, or it went away before it was read."""

    state: ClassVar[str] = "vanished"


class EmptyError(CaptureError):
    """The file has no bytes."""

    state: ClassVar[str] = "empty"


class TruncatedError(CaptureError):
    """The file ends before its data does."""

    state: ClassVar[str] = "truncated"


class DamagedError(CaptureError):
    """The file has its full length, but what is in it cannot be what the camera wrote."""

    state: ClassVar[str] = "damaged"


class UnsupportedError(CaptureError):
    """A kind of file that is recognised and that no installed decoder reads."""

    state: ClassVar[str] = "unsupported"


class UnreadableError(CaptureError):
    """Not a picture at all, a directory, or a file that may not be read."""

    state: ClassVar[str] = "unreadable"


class SheetError(QcError):
    """A set sheet has mistakes.

    Parameters
    ----------
    path : str or os.PathLike
        The sheet.
    problems : sequence of str
        Every mistake found, each with its line and field.
    """

    def __init__(self, path: str | os.PathLike[str], problems: Sequence[str]) -> None:
        self.path = path
        self.problems = tuple(problems)
        super().__init__(path, self.problems)

    def __str__(self) -> str:
        return "\n".join(f"{printable(self.path)}: {problem}" for problem in self.problems)


class LogError(QcError):
    """The log of a day cannot be opened, read or written; nothing is half written.

    Parameters
    ----------
    path : str or os.PathLike
        The log, or the digest beside it.
    cause : str
        Why, in a few words without the file's name.
    """

    def __init__(self, path: str | os.PathLike[str], cause: str) -> None:
        self.path = path
        self.cause = cause
        super().__init__(path, cause)

    def __str__(self) -> str:
        return f"{printable(self.path)}: {self.cause}"


class WorkerLostError(QcError):
    """A worker process died over its work, or took too long and was stopped.

    Parameters
    ----------
    cause : str
        How, in words.
    retry : bool
        Whether trying once more could help.
    complaints : str
        What it wrote to its standard error before.
    """

    def __init__(self, cause: str, *, retry: bool = False, complaints: str = "") -> None:
        self.retry = retry
        self.complaints = complaints
        super().__init__(cause)


class UsageError(QcError):
    """A call that cannot be carried out as it was made."""


def printable(path: str | bytes | os.PathLike[str]) -> str:
    r"""Return a path as one line of text that any terminal takes.

    Bytes that are not UTF-8, and control characters, are shown as ``\xNN``; halves of a character that no path
    can hold, as JSON may bring them, as ``\uNNNN``.

    Parameters
    ----------
    path : str, bytes or os.PathLike
        A path as the operating system gave it.

    Returns
    -------
    str
        Printable text without line breaks.
    """
    try:
        text = os.fsencode(path).decode("utf-8", "backslashreplace")
    except UnicodeEncodeError:
        text = os.fsdecode(path)  # the half is not printable and escaped below
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode("ascii") for c in text)
