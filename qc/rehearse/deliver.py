"""Ways in which a capture program puts the bytes of a file into a folder."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType

Write = Callable[[bytes, Path], None]

PIECES = 8
PIECE_S = 0.12
STALL_S = 3.0
"""Pieces of a slow file, seconds between them, and how long a stalled cable stalls."""


def at_once(data: bytes, path: Path) -> None:
    """Write all of it."""
    path.write_bytes(data)


def in_pieces(data: bytes, path: Path) -> None:
    """Write it piece by piece, as it comes down a cable."""
    with path.open("wb", buffering=0) as file:
        for piece in _pieces(data):
            file.write(piece)
            time.sleep(PIECE_S)


def with_a_stall(data: bytes, path: Path) -> None:
    """Write half of it, nothing for some seconds, then the rest."""
    with path.open("wb", buffering=0) as file:
        file.write(data[: len(data) // 2])
        time.sleep(STALL_S)
        file.write(data[len(data) // 2 :])


def renamed(data: bytes, path: Path) -> None:
    """Write it under a temporary name, then give it its own."""
    temporary = path.with_name(f"{path.name}.part")
    in_pieces(data, temporary)
    temporary.replace(path)


WRITERS: Mapping[str, Write] = MappingProxyType(
    {"at once": at_once, "in pieces": in_pieces, "renamed": renamed, "with a stall": with_a_stall}
)


def _pieces(data: bytes) -> Iterator[bytes]:
    step = max(1, -(-len(data) // PIECES))
    for start in range(0, len(data), step):
        yield data[start : start + step]
