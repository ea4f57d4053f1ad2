"""Whether a JPEG file runs to its end-of-image marker, and the pictures that follow it are there.

Structure: ITU-T T.81 annex B; multi-picture files: CIPA DC-007 section 5.
"""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator

from qc.container.ifd import read_tree
from qc.result import State

_NEXT_MARKER = re.compile(rb"\xff[^\x00\xff\xd0-\xd7]")
_SOI, _EOI, _SOS, _APP1, _APP2 = 0xD8, 0xD9, 0xDA, 0xE1, 0xE2
FRAMES = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_ALONE = frozenset({0x01, *range(0xD0, 0xD8)})
_MP_ENTRIES = 0xB002


class CutError(Exception):
    """The file ends within a segment or a scan."""


class BrokenError(Exception):
    """Something else stands where a marker must."""


def segments(data: bytes) -> Iterator[tuple[int, int, int]]:
    """Yield marker, start and end of the content of each segment of the first picture, scans passed over.

    The last one is the end of image, with empty content.

    Raises
    ------
    CutError, BrokenError
        Where the walk ends before the end of image.
    """
    at = 2
    while True:
        if at + 2 > len(data):
            raise CutError
        if data[at] != 0xFF:  # decoders pass over bytes between segments, and some cameras write them
            at = data.find(b"\xff", at)
            if at < 0:
                raise CutError
            continue
        marker = data[at + 1]
        if marker == 0xFF:  # fill bytes may stand before any marker (B.1.1.2)
            at += 1
            continue
        at += 2
        if marker == _EOI:
            yield marker, at, at
            return
        if marker in _ALONE:
            continue
        if at + 2 > len(data):
            raise CutError
        length = int.from_bytes(data[at : at + 2], "big")
        if marker in (0x00, _SOI) or length < 2:
            raise BrokenError
        if at + length > len(data):
            raise CutError
        yield marker, at + 2, at + length
        at += length
        if marker == _SOS:
            match = _NEXT_MARKER.search(data, at)
            if match is None:
                raise CutError
            at = match.start()


def frame_of_jpeg(data: bytes) -> tuple[int, int] | None:
    """Return the start-of-frame marker (its last byte) and the bits a sample; None where there is no frame."""
    try:
        for marker, start, end in segments(data):
            if marker in FRAMES and end > start:
                return marker, data[start]
    except (CutError, BrokenError):
        pass  # no frame before the fault; wholeness reports the fault itself
    return None


def exif_of_jpeg(data: bytes) -> bytes:
    """Return the Exif part of a JPEG file from its TIFF header on (Exif 2.32 4.7.2); empty without one."""
    try:
        for marker, start, end in segments(data):
            if marker == _APP1 and data[start : start + 6] == b"Exif\0\0":
                return data[start + 6 : end]
            if marker == _SOS:
                break
    except (CutError, BrokenError):
        pass  # what was found before the fault is all there is; wholeness reports the fault itself
    return b""


def check_jpeg(data: bytes) -> tuple[State, str | None]:
    """Check a JPEG file without decoding it.

    Parameters
    ----------
    data : bytes
        The file.

    Returns
    -------
    state : State
        ``"whole"``, ``"truncated"`` or ``"damaged"``.
    detail : str or None
        Cause in words.
    """
    frame = scan = False
    further = 0
    try:
        for marker, start, end in segments(data):
            frame |= marker in FRAMES
            scan |= marker == _SOS
            if marker == _APP2 and data[start : start + 4] == b"MPF\0":
                further = _end_of_further_pictures(data[start + 4 : end], start + 4)
    except CutError:
        return _unfinished(data)
    except BrokenError:
        if not data[-64:].strip(b"\0"):
            return _unfinished(data)
        return "damaged", "its segments do not follow each other"
    if not (frame and scan):
        return "damaged", "it holds no picture"
    if further > len(data):
        return "truncated", f"a further picture in it ends at byte {further:,}, {len(data):,} bytes are there"
    return "whole", None


def _unfinished(data: bytes) -> tuple[State, str]:
    zeros = len(data) - len(data.rstrip(b"\0"))
    if zeros >= 64:
        return "damaged", f"its last {zeros:,} bytes are zeros: it was not written to its end"
    return "truncated", "it ends before its end-of-image marker"


def _end_of_further_pictures(index: bytes, base: int) -> int:
    """Return where the last picture of a multi-picture file ends; offsets count from the index's header."""
    for directory in read_tree(index).directories:
        table = directory.raw(_MP_ENTRIES)
        ends = [0]
        for entry in range(0, len(table) - 15, 16):
            size, offset = struct.unpack_from(directory.order + "II", table, entry + 4)
            if offset:  # 0 is the first picture itself
                ends.append(base + offset + size)
        return max(ends)
    return 0
