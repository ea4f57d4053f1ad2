"""Whether all strips and tiles of a TIFF-based file are there and were written.

Structure: TIFF 6.0 sections 2, 3 and 15; TIFF Technical Notes 1 and 2; DNG 1.7.1.0 (Compression, ActiveArea).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from qc.container.dng import CFA, LINEAR_RAW, DngTags
from qc.container.ifd import Directory, Tree
from qc.container.kinds import FileKind
from qc.container.whole_scan import hole
from qc.result import State

TAIL = 64
"""Bytes at the end of a strip or tile of a published compression that are never all alike."""

BLOCK = 4096
"""The same for a maker's own compression, which may pad: less than a block says nothing."""

_JPEG = (7, 34892)
_PUBLISHED = frozenset({5, 7, 8, 32773, 32946, 34892, 50000, 52546})
"""LZW, JPEG, deflate (two codes), PackBits, lossy JPEG, Zstandard, JPEG XL."""
_EOI = b"\xff\xd9"
_JPEG_XL = 52546
_PACKBITS = 32773
_NO_OFFSET = 0xFFFFFFFF


@dataclass(frozen=True, slots=True)
class Piece:
    """One strip or tile: where it lies, and which part of the picture it holds."""

    at: int
    size: int
    top: int
    rows: int
    rows_stored: int
    stride: int
    width: int
    """Bytes of a row that belong to the picture; a tile at the right edge holds more, as one at the foot holds
    more rows."""

    def row(self, index: int) -> slice:
        """Return where row `index` of the piece lies in the file, padding left out."""
        start = self.at + index * self.stride
        return slice(start, start + self.width)


def check_tiff(data: bytes, tree: Tree, kind: FileKind, dng: DngTags | None) -> tuple[State, str | None]:
    """Check a TIFF-based file without decoding it.

    Parameters
    ----------
    data : bytes
        The file.
    tree : Tree
        Its directories.
    kind : FileKind
        Its kind.
    dng : DngTags or None
        Tags of the raw picture of a DNG: a row of zeros is possible only where black is 0.

    Returns
    -------
    state : State
        ``"whole"``, ``"truncated"`` or ``"damaged"``.
    detail : str or None
        Cause in words.
    """
    if not tree.directories and not tree.beyond:
        return "damaged", "it starts like a TIFF file and has no directory"
    if tree.beyond:
        return "truncated", f"{len(data):,} bytes are there, its directories reach to byte {tree.beyond:,}"
    if tree.broken:
        return "damaged", "a directory of tags is blank"
    pictures = 0
    for directory in tree.of_role("main", "sub"):
        found = list(pieces(directory))
        pictures += bool(found)
        missing = sum(piece.at + piece.size > len(data) for piece in found)
        if missing:
            end = max(piece.at + piece.size for piece in found)
            return (
                "truncated",
                f"{missing} of {len(found)} strips or tiles end past the last byte: {len(data):,} of {end:,} "
                "bytes are there",
            )
        fault = _fault(data, directory, found, kind, dng)
        if fault:
            return "damaged", fault
    if not pictures and kind is not FileKind.RW2:
        return "damaged", "no directory leads to a picture"
    return "whole", None


def pieces(directory: Directory) -> Iterator[Piece]:
    """Yield the strips or tiles of a directory, in the order of its tags; pieces of no length are left out."""
    tiled = 324 in directory
    offsets, sizes = (directory.integers(tag) for tag in ((324, 325) if tiled else (273, 279)))
    width, height = directory.integer(256), directory.integer(257)
    bits = directory.integer(258, 1) * (1 if directory.integer(284, 1) == 2 else directory.integer(277, 1))
    if width < 1 or height < 1:
        return
    across, down = width, directory.integer(278, height) or height
    if tiled:
        across, down = directory.integer(322), directory.integer(323)
        if across < 1 or down < 1:
            return
    stride = (across * bits + 7) // 8
    per_row = -(-width // across)
    per_plane = per_row * -(-height // down)
    if not sizes and directory.integer(259, 1) == 1:
        sizes = (stride * min(down, height),) * len(offsets)
    for number, (at, size) in enumerate(zip(offsets, sizes, strict=False)):
        place = number % per_plane
        top, left = place // per_row * down, place % per_row * across
        if size > 0 and at != _NO_OFFSET:
            visible = (min(across, width - left) * bits + 7) // 8
            rows = min(down, height - top)
            yield Piece(at, size, top, rows, down if tiled else rows, stride, visible)


def _fault(
    data: bytes, directory: Directory, found: Sequence[Piece], kind: FileKind, dng: DngTags | None
) -> str | None:
    """Return what is wrong with pieces that are all there, or None."""
    compression = directory.integer(259, 1)
    if compression == 1 and all(piece.size == piece.stride * piece.rows_stored for piece in found):
        return _unwritten_rows(data, directory, found, dng)
    published = compression in _PUBLISHED and kind in (FileKind.DNG, FileKind.TIFF, FileKind.TIFF_RAW)
    for number, piece in enumerate(found, start=1):
        name = f"strip or tile {number} of {len(found)}"
        if published and not _starts_right(data, piece.at, compression):
            return f"{name} does not start as its compression does"
        if published and compression in _JPEG and hole(data, piece.at, piece.at + piece.size) is not None:
            return f"{name} holds zeros that cannot be coded: a part was not written"
        equal = _equal_tail(data, piece, TAIL if published else BLOCK, compression)
        if equal:
            return f"{name} ends in {equal:,} equal bytes: it was not written to its end"
    return None


def _equal_tail(data: bytes, piece: Piece, length: int, compression: int) -> int:
    """Return how many equal bytes a compressed piece ends in when that means it was not written, else 0."""
    end = piece.at + piece.size
    tail = data[max(piece.at, end - length) : end]
    if len(tail) < 8 or tail.count(tail[0]) < len(tail):
        return 0
    if tail[0] != 0 and compression == _PACKBITS:  # a run-length code repeats any byte but never ends in zeros
        return 0
    written = data[piece.at : end].rstrip(tail[:1])
    return 0 if written.endswith(_EOI) else piece.size - len(written)


def _starts_right(data: bytes, at: int, compression: int) -> bool:
    if compression in _JPEG:
        return data[at : at + 2] == b"\xff\xd8"
    if compression == _JPEG_XL:
        return data[at : at + 2] == b"\xff\x0a" or data[at + 4 : at + 8] == b"JXL "
    return True


def _unwritten_rows(data: bytes, directory: Directory, found: Sequence[Piece], dng: DngTags | None) -> str | None:
    raw = directory.integer(262, -1) in (CFA, LINEAR_RAW)
    if raw and directory.integer(258) >= 10:
        return _zero_rows_of_raw(data, directory, found, dng)
    return _cut_row_of_picture(data, found)


def _zero_rows_of_raw(
    data: bytes, directory: Directory, found: Sequence[Piece], dng: DngTags | None
) -> str | None:
    """Tell whether a strip or tile of sensor data ends in rows of exact zeros, which noise never leaves.

    Rows outside ActiveArea may be blank. Where black is not known to be above 0, eight whole rows must be zero.
    """
    own = dng is not None and (dng.width, dng.height) == (directory.integer(256), directory.integer(257))
    bottom = dng.active_area[0] + dng.active_area[2] if dng is not None and own else directory.integer(257)
    needed = 1 if dng is not None and own and min(dng.black) > 0 else 8
    for number, piece in enumerate(found, start=1):
        last = min(piece.rows, bottom - piece.top) - 1
        if last < 0 or data[piece.row(last)].strip(b"\0"):
            continue
        rows = range(max(0, last + 1 - needed), last + 1)
        if not any(data[piece.row(row)].strip(b"\0") for row in rows):
            return f"strip or tile {number} of {len(found)} ends in rows of zeros: it was not written to its end"
    return None


def _cut_row_of_picture(data: bytes, found: Sequence[Piece]) -> str | None:
    """Tell whether a picture breaks off within a row and is exact zero from there on.

    A picture may be black at its foot. It does not turn black in the middle of a row under a row that is bright
    there; so much, and no more, can be told from the bytes.
    """
    for piece in reversed(found):
        written = data[piece.at : piece.at + piece.size].rstrip(b"\0")
        if not written:
            continue
        row, column = divmod(len(written), piece.stride)
        rest = piece.size - len(written)
        above = written[(row - 1) * piece.stride + column : row * piece.stride] if row else b""
        broken_off = rest > piece.stride and len(above) >= 48 and column > 0 and sum(above) > 32 * len(above)
        return "the picture breaks off within a row, and zeros follow" if broken_off else None
    return None
