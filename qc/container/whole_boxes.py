"""Whether files made of chunks, boxes or heaps run to their end: PNG, ISO base media, CIFF, RAF."""

from __future__ import annotations

import zlib
from collections.abc import Iterator

from qc.result import State

BLOCK = 4096
"""Zeros at the end of a file whose inner structure is not published: fewer may be padding."""

_PNG_START = 8
_CIFF_TYPE, _CIFF_IN_RECORD, _CIFF_RAW = 0x3800, 0x4000, 0x2005
_CIFF_HEAPS = (0x2800, 0x3000)


def png_chunks(data: bytes) -> Iterator[tuple[bytes, int, int, bool]]:
    """Yield type, start, end and presence of each chunk of a PNG file; the end may lie past the file."""
    at = _PNG_START
    while at < len(data):
        length, name = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8]
        start, end = at + 8, at + 8 + length
        there = end + 4 <= len(data)
        yield name, start, end, there
        if not there or name == b"IEND":
            return
        at = end + 4


def check_png(data: bytes) -> tuple[State, str | None]:
    """Check the chunks of a PNG file and their sums (W3C PNG third edition, 5.3 and 5.6)."""
    names = set()
    view = memoryview(data)
    for name, start, end, there in png_chunks(data):
        if not name.strip(b"\0"):
            return "damaged", f"zeros stand where a chunk must, from byte {start - 8:,} on"
        if not there:
            return "truncated", f"a chunk ends at byte {end + 4:,}, {len(data):,} bytes are there"
        if zlib.crc32(view[start - 4 : end]) != int.from_bytes(data[end : end + 4], "big"):
            return "damaged", f"the sum of the chunk at byte {start - 8:,} is wrong"
        names.add(name)
    if b"IEND" not in names:
        return "truncated", "it ends before its last chunk"
    if not {b"IHDR", b"IDAT"} <= names:
        return "damaged", "it holds no picture"
    return "whole", None


def boxes(data: bytes, start: int = 0, end: int | None = None) -> Iterator[tuple[bytes, int, int]]:
    """Yield type, start and end of the content of each box of one level (ISO/IEC 14496-12 4.2).

    The end of a box is what the box states, even past the end of the file; the walk stops there.
    """
    at, limit = start, len(data) if end is None else min(end, len(data))
    while at + 8 <= limit:
        size, name, head = int.from_bytes(data[at : at + 4], "big"), data[at + 4 : at + 8], 8
        if size == 1:
            size, head = int.from_bytes(data[at + 8 : at + 16], "big"), 16
        elif size == 0:
            size = limit - at
        if size < head:
            return
        yield name, at + head, at + size
        at += size


def check_boxes(data: bytes) -> tuple[State, str | None]:
    """Check the boxes of an ISO base media file, as CR3 is one."""
    names = set()
    reach = 0
    blank = False
    for name, start, end in boxes(data):
        names.add(name)
        reach = end
        blank |= name == b"mdat" and end - start > BLOCK and not data[end - BLOCK : end].strip(b"\0")
        if not name.strip(b"\0"):
            return "damaged", "zeros stand where a box must"
    if reach > len(data):
        return "truncated", f"its boxes reach to byte {reach:,}, {len(data):,} bytes are there"
    if reach < len(data):
        return "damaged", f"something that is not a box follows at byte {reach:,}"
    if not {b"moov", b"mdat"} <= names:
        return "truncated", "its picture data are not there"
    if blank:
        return "damaged", "its picture data end in zeros: it was not written to its end"
    return "whole", None


def check_tail(data: bytes) -> tuple[State, str | None]:
    """Check only that a file does not end in a block of zeros."""
    if len(data) > BLOCK and not data[-BLOCK:].strip(b"\0"):
        return "damaged", f"its last {len(data) - len(data.rstrip(bytes(1))):,} bytes are zeros"
    return "whole", None


def check_raf(data: bytes) -> tuple[State, str | None]:
    """Check the three parts that the header of a RAF file points to (layout: from memory, no published source)."""
    for at in (84, 92, 100):
        offset, size = (int.from_bytes(data[at + i : at + i + 4], "big") for i in (0, 4))
        if len(data) < 108 or offset + size > len(data):
            return "truncated", f"a part of it ends at byte {offset + size:,}, {len(data):,} bytes are there"
    return check_tail(data)


def jpeg_of_raf(data: bytes) -> bytes:
    """Return the picture for the camera's screen that a RAF file carries, with its Exif."""
    offset, size = (int.from_bytes(data[at : at + 4], "big") for at in (84, 88))
    return data[offset : offset + size]


def check_ciff(data: bytes) -> tuple[State, str | None]:
    """Check the heaps of a CRW file: every record lies in its heap (CIFF 1.0 revision 4, section 3)."""
    order = "little" if data[:2] == b"II" else "big"
    start = int.from_bytes(data[2:6], order)  # type: ignore[arg-type]  # a literal after all
    if not 14 <= start < len(data):
        return "truncated", "its heap is not there"
    seen: set[int] = set()
    names: set[int] = set()
    if not _heap(data, start, len(data), order, seen, names):
        if not data[-64:].strip(b"\0"):
            return "damaged", "it ends in zeros: it was not written to its end"
        return "truncated", "the directory at its end is not there"
    if _CIFF_RAW not in names:
        return "damaged", "it holds no raw data"
    return "whole", None


def _heap(data: bytes, start: int, end: int, order: str, seen: set[int], names: set[int]) -> bool:
    """Tell whether every record of a heap and of the heaps in it lies within its bounds."""

    def number(at: int, size: int) -> int:
        return int.from_bytes(data[at : at + size], order)  # type: ignore[arg-type]  # a literal after all

    if end - start < 6 or end in seen or len(seen) > 64:
        return False
    seen.add(end)
    table = start + number(end - 4, 4)
    count = number(table, 2)
    if table + 2 + 10 * count > end - 4 or count == 0:
        return False
    for at in range(table + 2, table + 2 + 10 * count, 10):
        name, size, offset = number(at, 2), number(at + 2, 4), number(at + 6, 4)
        if name & 0xC000 == _CIFF_IN_RECORD:
            continue
        names.add(name & 0x3FFF)
        if start + offset + size > end:
            return False
        if name & _CIFF_TYPE in _CIFF_HEAPS and not _heap(
            data, start + offset, start + offset + size, order, seen, names
        ):
            return False
    return True
