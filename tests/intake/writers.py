"""Writers as real programs write: each puts `data` at `target` in its own way, and returns when it is done.

All have one form, ``writer(target, data)``, so that a test may run them by name from `WRITERS`, in a thread of its
own or not. `target` may hold bytes that are not UTF-8 (`os.fsdecode`). Helpers for whole folders stand below.
"""

from __future__ import annotations

import mmap
import os
import shutil
import time
from collections.abc import Callable, Mapping
from pathlib import Path

Writer = Callable[[Path, bytes], None]

STALL_S = 2.5
"""The longest stall of a writer that rules of quiet time were tried against."""


def at_once(target: Path, data: bytes) -> None:
    target.write_bytes(data)


def in_pieces(target: Path, data: bytes, *, pieces: int = 8, pause_s: float = 0.15) -> None:
    with target.open("wb", buffering=0) as file:
        for piece in _cut(data, pieces):
            file.write(piece)
            time.sleep(pause_s)


def stalled(target: Path, data: bytes, *, stall_s: float = STALL_S) -> None:
    in_pieces(target, data, pieces=2, pause_s=stall_s)


def reopened(target: Path, data: bytes, *, pieces: int = 4, pause_s: float = 0.2) -> None:
    """Open, append and close for each piece: between two of them nobody holds the file."""
    for piece in _cut(data, pieces):
        with target.open("ab") as file:
            file.write(piece)
        time.sleep(pause_s)


def preallocated(target: Path, data: bytes, *, wait_s: float = 1.2) -> None:
    """Take the whole length at once, fill it later."""
    with target.open("wb", buffering=0) as file:
        file.truncate(len(data))
        time.sleep(wait_s)
        for piece in _cut(data, 4):
            file.write(piece)
            time.sleep(0.05)


def mapped(target: Path, data: bytes, *, pause_s: float = 0.15) -> None:
    """Write through memory, the descriptor closed meanwhile."""
    with target.open("w+b", buffering=0) as file:
        file.truncate(len(data))
        memory = mmap.mmap(file.fileno(), len(data))
    at = 0
    for piece in _cut(data, 8):
        memory[at : at + len(piece)] = piece
        at += len(piece)
        time.sleep(pause_s)
    memory.flush()
    memory.close()


def renamed(target: Path, data: bytes) -> None:
    """Write under a temporary name, then rename."""
    temporary = target.with_name(f".{target.name}.partial")
    in_pieces(temporary, data, pieces=3)
    temporary.rename(target)


def renamed_over(target: Path, data: bytes) -> None:
    """Rename over a name that holds something else already, a tenth of a second old."""
    target.write_bytes(data[: len(data) // 2])
    time.sleep(0.1)
    renamed(target, data)


def moved_in(target: Path, data: bytes) -> None:
    """Come from outside the watched folder, complete, by one rename on the same disk."""
    outside = target.parent.parent / f"outside-{target.name}"
    outside.write_bytes(data)
    outside.rename(target)


WRITERS: Mapping[str, Writer] = {
    writer.__name__: writer
    for writer in (at_once, in_pieces, stalled, reopened, preallocated, mapped, renamed, renamed_over, moved_in)
}
"""Every way to write one file."""


def folder_moved_in(target: Path, files: Mapping[str, bytes]) -> None:
    """Move a folder in, complete with its files."""
    outside = target.parent.parent / f"outside-{target.name}"
    folder_filled(outside, files)
    outside.rename(target)


def folder_filled(target: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder and write its files right after."""
    target.mkdir(parents=True)
    for name, data in files.items():
        (target / name).write_bytes(data)


def deleted_and_recreated(folder: Path, *, away_s: float) -> None:
    shutil.rmtree(folder)
    time.sleep(away_s)
    folder.mkdir()


def away_and_back(folder: Path, *, away_s: float) -> None:
    away = folder.with_name(folder.name + "-away")
    folder.rename(away)
    time.sleep(away_s)
    away.rename(folder)


def traces(folder: Path) -> dict[str, tuple[int, ...] | bytes]:
    """Return everything of a tree that a watch must leave as it is: names, bytes, times, owners, modes.

    Read in a way that leaves no trace itself where the system allows it.
    """
    found: dict[str, tuple[int, ...] | bytes] = {}
    for place in sorted([folder, *folder.rglob("*")]):
        facts = place.lstat()
        found[f"{place}: facts"] = (
            *(facts.st_mode, facts.st_uid, facts.st_ino, facts.st_nlink, facts.st_size),
            *(facts.st_mtime_ns, facts.st_ctime_ns, facts.st_atime_ns if place.is_file() else 0),
        )
        if place.is_file():
            with os.fdopen(os.open(place, os.O_RDONLY | getattr(os, "O_NOATIME", 0)), "rb") as file:
                found[f"{place}: bytes"] = file.read()
    return found


def _cut(data: bytes, pieces: int) -> list[bytes]:
    size = -(-len(data) // pieces)
    return [data[at : at + size] for at in range(0, len(data), size)]
