"""A report on the disk: pictures and frames first, the page last, what an earlier report left away with."""

from __future__ import annotations

import os
import re
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from qc.day import Day
from qc.errors import UsageError, printable
from qc.log.digests import STALE_S
from qc.reading import Spec
from qc.sheet.sheet import Sheet
from qc.show.handoff import write_handoff
from qc.show.report.frames import frames_of
from qc.show.report.names import FOLDER, FRAMES, INDEX, PICTURES
from qc.show.report.page import index_html, style_css
from qc.show.report.plots import SCRIPT, library
from qc.show.report.templates import copied

STYLE: Final = "report.css"
ACTS: Final = "report.js"

_OURS = re.compile(r"(zones\.)?[0-9a-f]{20}(\.[a-z_.]+)?\.(jpg|png|svg|js)")
"""Names of pictures and frames that were made here."""


def write_report(out: Path, *, day: Day, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Path:
    """Write the report of a day with its hand-off files; an earlier one is replaced.

    Parameters
    ----------
    out : Path
        Output folder, with the digests. Captures are not needed.
    day : Day
        With its findings (`qc.series.wrap`).
    sheets : mapping of str to Sheet
        By digest, as `qc.series.wrap.sheets.sheets_of` returns them.
    specs : sequence of Spec
        The measurements.

    Returns
    -------
    Path
        ``out/report/index.html``. What it needs lies beside it, and nothing it needs lies elsewhere.

    Raises
    ------
    UsageError
        When the folder lies among the captures, or cannot be written to.
    """
    folder = out / FOLDER
    handed = write_handoff(day, folder, sheets=sheets, specs=specs)
    with _told(folder):
        files = _Files(folder)
        frames = tuple(frames_of(day, out, sheets=sheets, specs=specs, put=files.put))
        files.put(SCRIPT, library())
        files.put(STYLE, style_css())
        files.put(ACTS, copied(ACTS))
        names = [path.name for path in handed]
        files.put(INDEX, index_html(day, frames, sheets=sheets, specs=specs, files=names))
        files.sweep()
    return folder / INDEX


class _Files:
    """The files of a report: each in one step, each once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.written: set[str] = set()
        for part in (PICTURES, FRAMES):
            (folder / part).mkdir(parents=True, exist_ok=True)

    def put(self, name: str, data: bytes) -> None:
        """Write a file under its name; what is made by content is the same when it comes again."""
        if name in self.written:
            return
        target = self.folder / name
        part = target.with_name(f".{target.name}.{os.getpid()}.part")
        try:
            part.write_bytes(data)
            part.replace(target)
        except BaseException:
            part.unlink(missing_ok=True)
            raise
        self.written.add(name)

    def sweep(self) -> None:
        """Remove what earlier reports left, also those that died; what others put there stays."""
        for part in (PICTURES, FRAMES):
            for path in (self.folder / part).iterdir():
                if f"{part}/{path.name}" not in self.written and _is_left_over(path):
                    path.unlink()


def _is_left_over(path: Path) -> bool:
    if path.name.endswith(".part"):
        return time.time() - path.stat().st_mtime > STALE_S  # another process may be at it
    return _OURS.fullmatch(path.name) is not None


@contextmanager
def _told(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        where = printable(error.filename or folder)
        raise UsageError(f"{where}: cannot be written: {error.strerror or error}") from error
