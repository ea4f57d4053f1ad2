"""`Kept`: a small file that people or commands rewrite while a watch runs; its last good content holds."""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path
from typing import Generic, Literal, TypeVar

from qc.errors import SheetError, printable
from qc.intake.updates import Stamp
from qc.sheet.problems import as_text, read_bytes

YOUNG_S = 0.3
"""Age in seconds under which a file may still be half written: it is read when it is older, or at the next look.
Our own choice."""

Change = Literal["same", "changed", "good again", "bad", "gone"]
T = TypeVar("T")


class Kept(Generic[T]):
    """The last good content of one file.

    Parameters
    ----------
    path : Path
        The file.
    parse : callable
        Makes the value of the file's text and bytes; raises `SheetError` for mistakes.
    whole : bool
        Whether the file is only ever replaced as a whole, so that a young one need not be waited for.

    Attributes
    ----------
    value : T or None
        What the last good content says; None when there never was any.
    text : str
        That content.
    problems : tuple of str
        Mistakes of what is there now, when it is not good.
    read_at : str
        Local time at which that was read first, ``HH:MM``.
    gone : bool
        Whether there is no such file now.
    """

    def __init__(self, path: Path, parse: Callable[[str, bytes], T], *, whole: bool = False) -> None:
        self.path = path
        self.value: T | None = None
        self.text = ""
        self.problems: tuple[str, ...] = ()
        self.read_at = ""
        self.gone = False
        self._parse = parse
        self._whole = whole
        self._stamp: Stamp | None = None
        self._settled = True
        self._young: Stamp | None = None
        self._data: bytes | None = None
        """The content that was read last, good or not."""

    def look(self) -> Change:
        """Read the file again where it changed.

        Returns
        -------
        {"same", "changed", "good again", "bad", "gone"}
            What there is to say; each state is told once. ``"good again"``: read well after mistakes or absence,
            with the same content as before or another.
        """
        try:
            found = self.path.stat()
        except (FileNotFoundError, NotADirectoryError):
            return self._missing()
        except OSError as error:
            return self._bad((f"cannot be read: {error.strerror or error}",), None)
        stamp = Stamp(found.st_size, found.st_mtime_ns, found.st_ino)
        if stamp == self._stamp and self._settled and not self.gone:
            return "same"
        age = time.time() - stamp.mtime_ns / 1e9
        if age < YOUNG_S and not self._whole and stamp != self._young and self._data is not None:
            self._young = stamp  # somebody may be writing it
            return "same"
        self._stamp = stamp
        # within the clock's tick a second change leaves no other stamp: a young file is read once more
        self._settled = age > YOUNG_S
        return self._read()

    def _read(self) -> Change:
        try:
            data = read_bytes(self.path)
        except SheetError as error:
            return self._bad(error.problems, None)
        if data == self._data and not self.gone:
            return "same"
        try:
            text = as_text(data, self.path)
            value = self._parse(text, data)
        except SheetError as error:
            return self._bad(error.problems, data)
        self.read_at = time.strftime("%H:%M")
        again = self.value is not None and (self.gone or bool(self.problems))
        self.value, self.text, self.problems, self.gone, self._data = value, text, (), False, data
        return "good again" if again else "changed"

    def _bad(self, problems: tuple[str, ...], data: bytes | None) -> Change:
        told = problems == self.problems and not self.gone
        self.problems, self.gone, self._data = problems, False, data
        return "same" if told else "bad"

    def _missing(self) -> Change:
        if self.gone:
            return "same"
        self.gone, self.problems, self._stamp = True, (), None
        return "gone"

    def said(self) -> str:
        """Return the mistakes as one clause each, without the file's path."""
        return "; ".join(self.problems)

    @property
    def name(self) -> str:
        """The file's name, printable."""
        return printable(self.path.name)
