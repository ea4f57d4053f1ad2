"""`qc copies`: a second drive against the hashes of the log."""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePath
from typing import TYPE_CHECKING, Annotated

import typer

from qc_cli import acting
from qc_cli.output import AT_HALT, DONE, NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.copies import Comparison, Progress

NAMED = 3
"""How many files are named where a line counts them."""

EVERY_S = {True: 0.2, False: 10.0}
"""Seconds between two words of progress: on a terminal, elsewhere."""


def copies(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", readable=False, help="The captures' folder, or its FOLDER.qc.")
    ],
    other: Annotated[
        Path, typer.Argument(metavar="OTHER", readable=False, help="The copy of it on the second drive.")
    ],
    out: acting.OutOption = None,
    every: Annotated[bool, typer.Option("--verbose", "-v", help="Name every file that is only counted.")] = False,
    debug: Annotated[bool, typer.Option("--debug", help="Show where an internal fault happened.")] = False,
) -> None:
    """Compare a copy of the captures with the hashes of the log.

    Reads every capture in OTHER once, no capture in FOLDER, which need not be there. Nothing is written.

    Exit status: 0 every capture is there and equal, be it under another name; 1 something is missing, differs or
    cannot be read; 2 wrong use, or the log holds nothing.
    """
    from qc.copies import check_other, compare
    from qc.errors import QcError, printable
    from qc.intake.place import where
    from qc.log.log import Log

    output = Output(debug=debug)
    progress = _Progress()
    try:
        captures, place = where(folder=folder, out=out)
        if note := check_other(captures, other):
            output.complain(note)
        with Log.open(place, create=False, read_only=True) as log:
            found = compare(log, other, on_progress=progress)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(printable(other), error)
        raise typer.Exit(NOTHING_DONE) from None
    finally:
        progress.end()
    if not (found.same or found.renamed or found.missing or found.differing or found.unread or found.unchecked):
        output.complain(f"{printable(place)}: the log holds no captures")
        raise typer.Exit(NOTHING_DONE)
    for line in _lines(found, every=every):
        output.line(line)
    raise typer.Exit(DONE if found.complete else AT_HALT)


def _lines(found: Comparison, *, every: bool) -> Iterator[str]:
    """Yield what is wrong, one line a file, then what is worth knowing, then the sum."""
    from qc.errors import printable
    from qc.words import counted

    yield from (f"missing   {printable(path)}" for path in found.missing)
    yield from (f"differs   {printable(path)}: {what}" for path, what in found.differing)
    yield from (f"unread    {printable(path)}: {cause}" for path, cause in found.unread)
    yield from _renamed(found, every=every)
    yield from _counted("extra", found.extra, "that the log does not know", every=every)
    yield from _counted("unchecked", found.unchecked, "there, not checked: the log has no hash", every=every)
    wrong = [
        (len(found.missing), "missing"),
        (len(found.differing), "differing"),
        (len(found.unread), "unread"),
        (len(found.renamed), "under another name"),
    ]
    sums = [f"{counted(len(found.same), 'file')} equal", *(f"{count} {what}" for count, what in wrong if count)]
    yield f"{', '.join(sums)}; {found.bytes / 1e9:.1f} GB read"


def _renamed(found: Comparison, *, every: bool) -> Iterator[str]:
    from qc.errors import printable

    below = _all_below(found)
    if below and not every:
        yield f"all of it lies under {printable(below)}: compare with that folder"
        return
    yield from (f"renamed   {printable(path)}: there as {printable(there)}" for path, there in found.renamed)


def _all_below(found: Comparison) -> str:
    """Return the folder of the other drive in which the copy begins; empty where it is the one that was named."""
    tops = {there.removesuffix(path) if there.endswith(path) else "" for path, there in found.renamed}
    return str(PurePath(tops.pop())) if len(tops) == 1 and "" not in tops and not found.same else ""


def _counted(word: str, paths: Sequence[str], why: str, *, every: bool) -> Iterator[str]:
    from qc.errors import printable
    from qc.words import counted

    if every:
        yield from (f"{word:<9} {printable(path)}" for path in paths)
    elif paths:
        names = ", ".join(printable(path) for path in paths[:NAMED])
        more = len(paths) - NAMED
        yield f"{word:<9} {counted(len(paths), 'file')} {why}: {names}{f' and {more} more' if more > 0 else ''}"


class _Progress:
    """Words of progress on stderr: on a terminal one line that changes, elsewhere a line now and then."""

    def __init__(self) -> None:
        self._terminal = sys.stderr.isatty()
        self._began = self._last = time.monotonic()
        self._shown = False

    def __call__(self, progress: Progress) -> None:
        now = time.monotonic()
        if now - self._last < EVERY_S[self._terminal]:
            return
        self._last = now
        rate = progress.bytes / (now - self._began)
        left = (progress.bytes_in_all - progress.bytes) / rate if rate else 0.0
        text = (
            f"{progress.files} of {progress.files_in_all} files, {progress.bytes / 1e9:.1f} of"
            f" {progress.bytes_in_all / 1e9:.1f} GB, {rate / 1e6:.0f} MB/s, {_minutes(left)} left"
        )
        sys.stderr.write(f"\r\x1b[K{text}" if self._terminal else f"{text}\n")
        sys.stderr.flush()
        self._shown = self._terminal

    def end(self) -> None:
        """Take the line away, so that results begin at its start."""
        if self._shown:
            sys.stderr.write("\r\x1b[K")
            sys.stderr.flush()


def _minutes(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"
