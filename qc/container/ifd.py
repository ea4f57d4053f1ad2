"""TIFF directories: which tags a file has and where its pixels lie, read in bounded time from any bytes.

The readers installed here log, allocate by what a tag claims, or raise on cut files; the question of this room is
whether a file is cut, so it has its own short walk. It follows TIFF 6.0 section 2 (header, image file
directories), Adobe's SubIFDs (TIFF Technical Note 1), Exif 2.32 4.6.3 (Exif and interoperability directories)
and BigTIFF; maker notes are left alone. Values are compared with tifffile's in the tests.
"""

from __future__ import annotations

import math
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

MAX_DIRECTORIES = 256
MAX_ENTRIES = 1024
MAX_VALUES = 1 << 22

SUB_IFDS, EXIF_IFD, INTEROP_IFD = 330, 34665, 40965

_FORMATS = {1: "B", 2: "c", 3: "H", 4: "I", 6: "b", 7: "B", 8: "h", 9: "i", 11: "f", 12: "d", 13: "I"}
_FORMATS |= {16: "Q", 17: "q", 18: "Q"}
_RATIONALS = {5: "II", 10: "ii"}
_SIZES = {code: struct.calcsize("=" + text) for code, text in (_FORMATS | _RATIONALS).items()}

Role = Literal["main", "sub", "exif", "interop"]


@dataclass(frozen=True, slots=True)
class Entry:
    """One tag: type and count as the file states them, and where its values start."""

    type: int
    count: int
    at: int

    @property
    def bytes(self) -> int:
        """Bytes that the values take; 0 for an unknown type."""
        return _SIZES.get(self.type, 0) * self.count


@dataclass(frozen=True, slots=True)
class Directory:
    """One image file directory.

    Attributes
    ----------
    role : {"main", "sub", "exif", "interop"}
        How it was reached; "main" for the chain that starts in the header.
    at : int
        Where it lies in the file.
    entries : dict of int to Entry
        By tag; the first where a tag is repeated.
    """

    data: bytes = field(repr=False)
    order: Literal["<", ">"]
    role: Role
    at: int
    entries: dict[int, Entry]

    def __contains__(self, tag: int) -> bool:
        return tag in self.entries

    def rationals(self, tag: int) -> tuple[tuple[int, int], ...]:
        """Return numerators and denominators of a tag; empty when absent, cut off or of another type."""
        entry = self.entries.get(tag)
        if entry is None or entry.type not in _RATIONALS or not self._within(entry):
            return ()
        flat = struct.unpack_from(f"{self.order}{2 * entry.count}{_RATIONALS[entry.type][0]}", self.data, entry.at)
        return tuple(zip(flat[::2], flat[1::2], strict=True))

    def numbers(self, tag: int) -> tuple[float, ...]:
        """Return the values of a tag as numbers.

        Empty when it is absent, lies beyond the end, is text, or holds a ratio over 0 or an infinite value.
        """
        entry = self.entries.get(tag)
        if entry is None or not self._within(entry):
            return ()
        if entry.type in _RATIONALS:
            pairs = self.rationals(tag)
            return tuple(a / b for a, b in pairs) if all(b for _, b in pairs) else ()
        letter = _FORMATS.get(entry.type, "c")
        if letter == "c":
            return ()
        values = struct.unpack_from(f"{self.order}{entry.count}{letter}", self.data, entry.at)
        return values if letter not in "fd" or all(map(math.isfinite, values)) else ()

    def integers(self, tag: int) -> tuple[int, ...]:
        """Return the values of a tag as whole numbers; empty where `numbers` is, or where one is not whole."""
        values = self.numbers(tag)
        return tuple(int(v) for v in values) if all(v == v // 1 for v in values) else ()

    def integer(self, tag: int, default: int = 0) -> int:
        """Return the first value of a tag as a whole number, or `default`."""
        values = self.integers(tag)
        return values[0] if values else default

    def raw(self, tag: int) -> bytes:
        """Return the bytes of a tag of 1-byte type (text, undefined); empty when absent or cut off."""
        entry = self.entries.get(tag)
        if entry is None or _SIZES.get(entry.type) != 1 or not self._within(entry):
            return b""
        return self.data[entry.at : entry.at + entry.count]

    def text(self, tag: int) -> str | None:
        """Return a text up to its first NUL, without outer blanks; None when nothing is left."""
        stored = self.raw(tag).partition(b"\0")[0].decode("utf-8", "replace")
        return "".join(c for c in stored if c.isprintable()).strip() or None

    def _within(self, entry: Entry) -> bool:
        return 0 < entry.count <= MAX_VALUES and entry.at + entry.bytes <= len(self.data)


@dataclass(frozen=True, slots=True)
class Tree:
    """All directories of a file.

    Attributes
    ----------
    directories : tuple of Directory
        In the order of reading: the first is the file's first.
    beyond : int
        The largest position that a directory or a tag's values were to reach, when that is past the end of the
        file; 0 when all of them are there. The interoperability directory is not counted: its pointer is left
        dangling by enough writers.
    broken : int
        Directories that are pointed to, lie within the file and hold no tags or an absurd number of them.
    """

    directories: tuple[Directory, ...] = ()
    beyond: int = 0
    broken: int = 0

    def of_role(self, *roles: Role) -> Iterator[Directory]:
        """Yield the directories reached in one of these ways."""
        return (d for d in self.directories if d.role in roles)


@dataclass(frozen=True, slots=True)
class _Layout:
    """Sizes that differ between TIFF and BigTIFF."""

    count: str
    entry: str
    offset: str
    inline: int


_CLASSIC = _Layout("H", "HHI", "I", 4)
_BIG = _Layout("Q", "HHQ", "Q", 8)


def read_tree(data: bytes, base: int = 0) -> Tree:
    """Read every directory that can be reached from a TIFF header.

    Parameters
    ----------
    data : bytes
        The file; for Exif in another container, the part that starts with the TIFF header.
    base : int
        Unused bytes before the header, for callers that cannot slice; offsets count from the header.

    Returns
    -------
    Tree
        Empty when there is no header. Loops, absurd counts and garbage end the walk; they never raise.
    """
    if base:
        data = data[base:]
    order: Literal["<", ">"] = "<" if data[:2] == b"II" else ">"
    if data[:2] not in (b"II", b"MM") or len(data) < 8:
        return Tree()
    layout, first = _CLASSIC, 4
    if struct.unpack_from(order + "H", data, 2)[0] == 43:
        if len(data) < 16:
            return Tree()
        layout, first = _BIG, 8
    return _walk(data, order, layout, struct.unpack_from(order + layout.offset, data, first)[0])


def _walk(data: bytes, order: Literal["<", ">"], layout: _Layout, first: int) -> Tree:
    found: list[Directory] = []
    waiting: list[tuple[int, Role]] = [(first, "main")]
    seen: set[int] = set()
    beyond = broken = 0
    while waiting and len(found) < MAX_DIRECTORIES:
        at, role = waiting.pop(0)
        if at == 0 or at in seen:
            continue
        seen.add(at)
        directory, end, following = _read(data, order, layout, at, role)
        if role != "interop":
            beyond = max(beyond, end)
            broken += directory is None and end <= len(data)
        if directory is None:
            continue
        found.append(directory)
        if role in ("main", "sub"):
            waiting += [(sub, "sub") for sub in directory.integers(SUB_IFDS)[:MAX_DIRECTORIES]]
            # a chain that starts in a SubIFD belongs to it (Technical Note 1); not all writers end it with a 0
            if role == "main" or following < len(data):
                waiting.append((following, role))
        waiting += [(exif, "exif") for exif in directory.integers(EXIF_IFD)[:1]]
        waiting += [(interop, "interop") for interop in directory.integers(INTEROP_IFD)[:1]]
    return Tree(tuple(found), beyond if beyond > len(data) else 0, broken)


def _read(
    data: bytes, order: Literal["<", ">"], layout: _Layout, at: int, role: Role
) -> tuple[Directory | None, int, int]:
    """Return a directory, the largest position it needs, and where the next one of its chain lies."""
    head = struct.calcsize("=" + layout.count)
    size = struct.calcsize("=" + layout.entry) + layout.inline
    if at + head > len(data):
        return None, at + head, 0
    (count,) = struct.unpack_from(order + layout.count, data, at)
    if not 0 < count <= MAX_ENTRIES:
        return None, 0, 0
    end = at + head + count * size
    entries: dict[int, Entry] = {}
    reach = end
    for position in range(at + head, min(end, len(data) - size + 1), size):
        tag, kind, number = struct.unpack_from(order + layout.entry, data, position)
        where = position + size - layout.inline
        if _SIZES.get(kind, 0) * number > layout.inline:
            (where,) = struct.unpack_from(order + layout.offset, data, where)
            reach = max(reach, where + _SIZES[kind] * number)
        entries.setdefault(tag, Entry(kind, number, where))
    following = 0
    if end + layout.inline <= len(data):
        (following,) = struct.unpack_from(order + layout.offset, data, end)
    return Directory(data, order, role, at, entries), reach, following
