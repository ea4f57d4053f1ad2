"""Exif settings as the bytes of one TIFF directory, and back into a file that tifffile wrote.

Tags and types: Exif 2.32 (CIPA DC-008), section 4.6; TIFF 6.0 section 2 for the directory itself.
"""

from __future__ import annotations

import re
import struct
from fractions import Fraction

from qc.errors import UsageError
from qc.frame import Camera

ASCII, SHORT, RATIONAL, UNDEFINED = 2, 3, 5, 7
EXIF_POINTER = 34665
POINTER_PLACE = EXIF_POINTER - 1
"""An unused tag in the pointer's place of the sorted directory: tifffile will not write the pointer itself."""

INFINITE = 0xFFFFFFFF
"""SubjectDistance numerator that means infinity (Exif 2.32, tag 0x9206)."""

_TAKEN = re.compile(r"(\d{4})-(\d\d)-(\d\d)T(\d\d:\d\d:\d\d)(?:\.(\d+))?([+-]\d\d:\d\d)?")

Entry = tuple[int, int, int, bytes]
"""Tag, type, count, value."""


def ascii_text(text: str, what: str) -> bytes:
    """Return a text as TIFF ASCII with its closing NUL.

    Raises
    ------
    UsageError
        When it holds anything but printable ASCII: the type allows nothing else.
    """
    if not (text.isascii() and text.isprintable()):
        raise UsageError(f"{what} {text!r} cannot be recorded: Exif text is plain ASCII")
    return text.encode("ascii") + b"\0"


def as_ratio(number: float) -> tuple[int, int]:
    """Return numerator and denominator, each under 2³¹, as close to a number as cameras record it."""
    limit = 10_000 if abs(number) >= 1 else 1_000_000
    fraction = Fraction(number).limit_denominator(limit)
    return fraction.numerator, fraction.denominator


def directory(camera: Camera, offset: int) -> bytes:
    """Return the Exif directory of recorded settings; what is None is left out.

    Parameters
    ----------
    camera : Camera
        Settings; make and model belong to the first directory and are not repeated here.
    offset : int
        Where in the file it will stand.

    Returns
    -------
    bytes
        Little-endian TIFF directory with its values behind it.
    """
    entries = sorted(_entries(camera))
    values = offset + 2 + 12 * len(entries) + 4
    head, tail = struct.pack("<H", len(entries)), b""
    for tag, kind, count, value in entries:
        if len(value) > 4:
            place = struct.pack("<I", values + len(tail))
            tail += value + b"\0" * (len(value) % 2)
        else:
            place = value.ljust(4, b"\0")
        head += struct.pack("<HHI", tag, kind, count) + place
    return head + struct.pack("<I", 0) + tail


def _entries(camera: Camera) -> list[Entry]:
    entries: list[Entry] = [(0x9000, UNDEFINED, 4, b"0232")]
    numbers = (
        (0x829A, camera.shutter_s),
        (0x829D, camera.aperture),
        (0x920A, camera.focal_mm),
        (0x9206, camera.focus_m),
    )
    for tag, number in numbers:
        if number is not None:
            ratio = (INFINITE, 1) if number == float("inf") else as_ratio(number)
            entries.append((tag, RATIONAL, 1, struct.pack("<II", *ratio)))
    if camera.iso is not None:
        entries.append((0x8827, SHORT, 1, struct.pack("<H", min(round(camera.iso), 65535))))
    texts = [(0xA431, camera.serial, "serial number"), (0xA434, camera.lens, "lens"), *_time(camera.taken)]
    for tag, text, what in texts:
        if text is not None:
            value = ascii_text(text, what)
            entries.append((tag, ASCII, len(value), value))
    return entries


def _time(taken: str | None) -> list[tuple[int, str | None, str]]:
    if taken is None:
        return []
    match = _TAKEN.fullmatch(taken)
    if match is None:
        raise UsageError(f"time {taken!r} is not YYYY-MM-DDTHH:MM:SS[.fff][±HH:MM]")
    year, month, day, clock, fraction, zone = match.groups()
    what = "time"
    return [
        (0x9003, f"{year}:{month}:{day} {clock}", what),
        (0x9291, fraction, what),
        (0x9011, zone, what),
    ]
