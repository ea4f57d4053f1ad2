"""One act in two places: an event in the log, and ``NAME.accepted.toml`` beside it. Both have it, or neither.

The new file is written whole under another name first, which is all the disk space it needs. Then the event is
logged: from there on the act holds. Then the new file takes the place of the old one. Whatever stops this in
between leaves the other name behind, and `finish` asks the log whether the act had got so far.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING

from qc.errors import SheetError, UsageError, printable
from qc.event import Event
from qc.log.said import ACTS, said
from qc.sheet.accepted import SUFFIX, Acceptance
from qc.sheet.accepted_file import read_accepted
from qc.sheet.problems import as_text, read_bytes

if TYPE_CHECKING:
    from qc.log.log import Log

PREPARED = ".new"
"""What the name of a file ends in that is not yet in its place."""


@contextmanager
def alone(out: Path) -> Iterator[None]:
    """Keep other processes from acting on an output folder meanwhile; where nothing can be locked, do without."""
    try:
        import fcntl

        held = os.open(out, os.O_RDONLY)
    except (ImportError, OSError):  # no such lock on this system; a folder that is not there the log will name
        yield
        return
    try:
        with suppress(OSError):  # a disk without locks
            fcntl.flock(held, fcntl.LOCK_EX)
        yield
    finally:
        os.close(held)


def file_text(path: Path) -> str:
    """Return the text of an accepted file; empty where there is none.

    Raises
    ------
    SheetError
        When it cannot be read or has mistakes: it is not written over then.
    """
    read_accepted(path)
    return as_text(read_bytes(path), path) if path.exists() else ""


def keep(log: Log, event: Event, path: Path, text: str) -> int:
    """Log an event and give an accepted file its new text.

    Returns
    -------
    int
        The event's number.

    Raises
    ------
    UsageError, LogError
        When the disk does not take one of the two; the message says what holds.
    """
    prepared = path.with_name(path.name + PREPARED)
    try:
        with prepared.open("w", encoding="utf-8", newline="") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        prepared.unlink(missing_ok=True)
        raise UsageError(f"{printable(path)}: cannot be written, nothing is changed: {_cause(error)}") from error
    number = log.event(event)
    try:
        prepared.replace(path)
    except OSError as error:
        raise UsageError(
            f"{printable(path)}: cannot be written: {_cause(error)}; it is in the log and will hold from the next"
            " accept, undo or start of a watch"
        ) from error
    return number


def finish(log: Log) -> None:
    """Bring accepted files that an act left half done to what the log says; to be called while `alone`.

    Raises
    ------
    SheetError
        When an accepted file has mistakes.
    UsageError, LogError
        When it cannot be written, or the log cannot be read.
    """
    for prepared in sorted(log.out.glob(f"*{SUFFIX}{PREPARED}")):
        path = prepared.with_name(prepared.name.removesuffix(PREPARED))
        try:
            if _got_through(log, path, prepared):
                prepared.replace(path)
            else:
                prepared.unlink(missing_ok=True)
        except OSError as error:
            raise UsageError(f"{printable(path)}: cannot be written: {_cause(error)}") from error


def settle(log: Log) -> None:
    """Do `finish` while no other process acts: for a watch that starts. Raises as `finish`."""
    with alone(log.out):
        finish(log)


def acceptance_of(event: Event) -> Acceptance:
    """Return the acceptance that an ``accepted`` event tells of."""
    keys = ("reading", "zone", "value", "bar", "was")
    facts = {key: event.data[key] for key in keys}
    return Acceptance(capture=printable(event.name or ""), content=event.content, at=event.at, **facts)


def _got_through(log: Log, path: Path, prepared: Path) -> bool:
    """Tell whether the act behind a prepared file stands in the log."""
    old = read_accepted(path)
    try:
        new = read_accepted(prepared)
    except SheetError:
        return False  # cut off while it was written, before anything was logged
    acts = said(log.events(kinds=(*ACTS, "undone"))).acts
    standing = [acceptance_of(event) for _, event in acts if event.kind == "accepted"]
    added = [one for one in new if not _among(one, old)]
    removed = [one for one in old if not _among(one, new)]
    logged = all(_among(one, standing) for one in added) and not any(_among(one, standing) for one in removed)
    return logged and bool(added or removed)


def _among(one: Acceptance, others: list[Acceptance] | tuple[Acceptance, ...]) -> bool:
    return any(one.same_as(other) for other in others)


def _cause(error: OSError) -> str:
    return error.strerror or str(error)
