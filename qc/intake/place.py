"""Which watched folder a command means, and the note by which a running watch lets itself be found.

The note lies in the user's state folder, never among the captures. A watch holds its note locked while it runs, so
that one left over from a process that was killed is told from one in use, also when another process has the number
by now.
"""

from __future__ import annotations

import json
import os
import sys
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

import platformdirs

from qc.errors import UsageError, printable
from qc.event import now
from qc.log.log import NAME as LOG

APP = "framegauge"
OUT_SUFFIX = ".qc"


@dataclass(frozen=True, slots=True, kw_only=True)
class Running:
    """A watch that is running.

    Attributes
    ----------
    folder, out : Path
        The watched folder and its output folder.
    pid : int
        Its process.
    started : str
        Local time with offset.
    """

    folder: Path
    out: Path
    pid: int
    started: str


def default_out(folder: Path) -> Path:
    """Return the output folder of a watched folder where none is named: ``FOLDER.qc`` beside it."""
    return folder.with_name(f"{folder.name}{OUT_SUFFIX}")


def folders(folder: str | os.PathLike[str], out: str | os.PathLike[str] | None) -> tuple[Path, Path]:
    """Return folder of captures and output folder, whole paths, as they may be used together.

    Raises
    ------
    UsageError
        When there is no such folder, or the output would lie in it.
    """
    chosen = _absolute(os.fspath(folder))
    if not chosen.is_dir():
        raise UsageError(f"{printable(folder)}: no such folder")
    place = _absolute(os.fspath(out)) if out else default_out(chosen)
    if place == chosen or chosen in place.parents:
        raise UsageError(f"{printable(place)}: the output would lie among the captures; name another folder")
    return chosen, place


@contextmanager
def announce(folder: Path, out: Path) -> Iterator[str | None]:
    """Let commands find this watch while it runs.

    Parameters
    ----------
    folder, out : Path
        Absolute paths of the watched folder and its output folder.

    Yields
    ------
    str or None
        Why commands will not find it by themselves, in one clause; None when they will. A watch goes on without.
    """
    notes = _notes()
    if folder == notes or folder in notes.parents:
        yield f"{printable(notes)} lies in the watched folder"
        return
    facts = {"folder": str(folder), "out": str(out), "pid": os.getpid(), "started": now()}
    note = notes / f"{uuid.uuid4().hex}.json"
    unfinished = note.with_suffix(".unfinished")
    try:
        notes.mkdir(parents=True, exist_ok=True)
        file = unfinished.open("w", encoding="utf-8")
    except OSError as error:
        yield f"{printable(notes)}: {error.strerror or error}"
        return
    with file:
        why = _put(file, facts, unfinished, note)
        try:
            yield why
        finally:
            note.unlink(missing_ok=True)


def running_watches() -> list[Running]:
    """Return the watches of this user that are running, oldest first; notes of others are removed."""
    found = []
    for note in _notes().glob("*.json"):
        watch = _read(note)
        if watch is not None:
            found.append(watch)
    return sorted(found, key=lambda watch: (watch.started, watch.pid))


def where(
    *, folder: Path | None = None, out: Path | None = None, capture: str | Path | None = None
) -> tuple[Path, Path]:
    """Return the watched folder and the output folder that a command means.

    The folder that is named; else the nearest one above the named capture that has a log; else the current folder,
    whether it is the watched one or its output folder; else that of the only watch that is running.

    Parameters
    ----------
    folder, out : Path or None
        As named.
    capture : str or Path or None
        Path or file name of a capture; it need not exist.

    Raises
    ------
    UsageError
        When it cannot be told; names the watches where several are running.
    """
    watches = running_watches()
    if folder is not None:
        chosen = _absolute(folder)
        known = _of_out(chosen, watches) or _watched(chosen, watches) or (chosen, default_out(chosen))
        return known[0], known[1] if out is None else _absolute(out)
    if out is not None:
        return _of_named_out(_absolute(out), watches)
    for above in [] if capture is None else _absolute(capture).parents:
        if (found := _watched(above, watches)) is not None:
            return found
    here = _current()
    if here is not None and (found := _watched(here, watches) or _of_out(here, watches)) is not None:
        return found
    return _only(watches)


def _watched(folder: Path, watches: Sequence[Running]) -> tuple[Path, Path] | None:
    """Return a folder with its output folder when it is or was watched."""
    for watch in watches:
        if _same(watch.folder, folder):
            return watch.folder, watch.out
    if folder.name and (default_out(folder) / LOG).is_file():
        return folder, default_out(folder)
    return None


def _of_out(out: Path, watches: Sequence[Running]) -> tuple[Path, Path] | None:
    """Return an output folder with the folder it is of."""
    for watch in watches:
        if _same(watch.out, out):
            return watch.folder, watch.out
    if out.name.endswith(OUT_SUFFIX) and out.name != OUT_SUFFIX and (out / LOG).is_file():
        return out.with_name(out.name.removesuffix(OUT_SUFFIX)), out
    return None


def _of_named_out(out: Path, watches: Sequence[Running]) -> tuple[Path, Path]:
    found = _of_out(out, watches)
    if found is None:
        raise UsageError(f"{printable(out)}: name the folder that was watched as well, with --folder")
    return found


def _only(watches: Sequence[Running]) -> tuple[Path, Path]:
    pairs = sorted({(watch.folder, watch.out) for watch in watches})
    if not pairs:
        raise UsageError("no watch is running and there is no log here: name the watched folder with --folder")
    if len(pairs) > 1:
        names = " and ".join(printable(folder) for folder, _ in pairs)
        raise UsageError(f"{len(pairs)} watches are running, on {names}: name one with --folder")
    return pairs[0]


def _current() -> Path | None:
    try:
        return Path.cwd()
    except FileNotFoundError:  # it was deleted under the shell
        return None


def _absolute(path: str | Path) -> Path:
    return Path(os.path.abspath(path))  # noqa: PTH100 - a linked folder keeps the name it was given


def _same(one: Path, other: Path) -> bool:
    return one == other or os.path.realpath(one) == os.path.realpath(other)


# the notes


def _notes() -> Path:
    return platformdirs.user_state_path(APP) / "watches"


def _put(file: IO[str], facts: dict[str, Any], unfinished: Path, note: Path) -> str | None:
    """Write and lock a note before it has the name by which it is looked for; returns why it cannot be."""
    try:
        _lock(file, shared=False)
        json.dump(facts, file)
        file.flush()
        unfinished.replace(note)
    except OSError as error:
        unfinished.unlink(missing_ok=True)
        return f"{printable(note.parent)}: {error.strerror or error}"
    return None


def _read(note: Path) -> Running | None:
    """Return the watch a note tells of; one that is not running any more loses its note."""
    try:
        with note.open(encoding="utf-8") as file:
            held = _lock(file, shared=True)
            facts = _facts(file)
    except FileNotFoundError:
        return None  # its watch has just ended
    except OSError as error:
        raise UsageError(f"{printable(note)}: cannot be read: {error.strerror or error}") from error
    runs = held if held is not None else facts is not None and _runs(facts.pid)
    if not runs:
        note.unlink(missing_ok=True)
        return None
    return facts


def _facts(file: IO[str]) -> Running | None:
    try:
        said = json.load(file)
        folder, out = Path(said["folder"]), Path(said["out"])
        return Running(folder=folder, out=out, pid=int(said["pid"]), started=str(said["started"]))
    except (ValueError, KeyError, TypeError):
        return None  # no note of ours, or of another version


def _lock(file: IO[str], *, shared: bool) -> bool | None:
    """Lock a note as long as it is open; True when another process holds it, None where nothing can be locked."""
    try:
        import fcntl
    except ImportError:
        return None
    try:
        fcntl.flock(file, (fcntl.LOCK_SH if shared else fcntl.LOCK_EX) | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:
        return None  # a disk without locks: the process number must do
    return False


def _runs(pid: int) -> bool:
    if sys.platform == "win32":
        import ctypes

        handle = ctypes.windll.kernel32.OpenProcess(0x1000, False, pid)  # PROCESS_QUERY_LIMITED_INFORMATION
        if handle:
            ctypes.windll.kernel32.CloseHandle(handle)
        return bool(handle)
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
