"""Recorded settings: what the camera wrote, and None for everything it did not.

Tags: Exif 2.32 (CIPA DC-008) 4.6; DNG 1.7.1.0 for the few that a converter keeps outside Exif. 0, 0/0, x/0,
blanks, dates before 1990 and a sensitivity of 65535 are ways of writing "not recorded".
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Sequence
from typing import Literal

from qc.container.ifd import Directory, Tree, read_tree
from qc.container.kinds import FileKind
from qc.container.whole_boxes import boxes, jpeg_of_raf, png_chunks
from qc.container.whole_jpeg import exif_of_jpeg
from qc.frame import Camera

_TIME = re.compile(r"(\d{4})[:\-/](\d\d)[:\-/](\d\d)[ T](\d\d):(\d\d):(\d\d)")
_OFFSET = re.compile(r"[+-](?:0\d|1[0-4]):[0-5]\d")
_EARLIEST = 1990
_CR3_SETTINGS = (b"CMT1", b"CMT2")

_TAKEN = ((36867, 37521, 36881), (36868, 37522, 36882))
"""DateTimeOriginal and DateTimeDigitized, each with its SubSecTime and OffsetTime."""
_SENSITIVITIES = (34855, 34866, 34865, 34867)
"""PhotographicSensitivity, then RecommendedExposureIndex, StandardOutputSensitivity and ISOSpeed (32 bits)."""

Directories = Sequence[Directory]


def settings(data: bytes, kind: FileKind, tree: Tree | None = None) -> tuple[Camera, int]:
    """Read the recorded settings of a capture.

    Parameters
    ----------
    data : bytes
        The file.
    kind : FileKind
        Its kind.
    tree : Tree or None
        Its settings directories (see `settings_tree`), when they were read already.

    Returns
    -------
    camera : Camera
        None for whatever is not recorded; everything None for CRW, whose settings are not in Exif.
    orientation : int
        Exif Orientation, 1 to 8; 1 when it is not recorded.
    """
    tree = tree or settings_tree(data, kind)
    # Exif directory first, then the file's own, then those of its other pictures
    found = [*tree.of_role("exif"), *tree.of_role("main", "sub")]
    camera = Camera(
        make=_text(found, 271),
        model=_text(found, 272) or _text(found, 50708),
        serial=_text(found, 42033) or _text(found, 50735),
        lens=_text(found, 42036) or _lens(_rationals(found, 42034) or _rationals(found, 50736)),
        iso=_iso(found),
        shutter_s=_exposure_time(found),
        aperture=_f_number(found),
        focal_mm=_ratio(found, 37386),
        focus_m=_distance(found),
        taken=_taken(found, kind),
    )
    orientation = next((v for d in tree.of_role("main") if 1 <= (v := d.integer(274)) <= 8), 1)
    return camera, orientation


def settings_tree(data: bytes, kind: FileKind) -> Tree:
    """Return the directories in which a kind of file keeps its settings; an empty tree where there are none."""
    if kind.is_tiff:
        return read_tree(data)
    if kind is FileKind.JPEG:
        return read_tree(exif_of_jpeg(data))
    if kind is FileKind.RAF:
        return read_tree(exif_of_jpeg(jpeg_of_raf(data)))
    if kind is FileKind.PNG:
        for name, start, end, there in png_chunks(data):
            if name == b"eXIf" and there:
                return read_tree(data[start:end])
    if kind is FileKind.CR3:
        return _settings_of_cr3(data)
    return Tree()


def colour_space(tree: Tree) -> Literal["sRGB", "Adobe RGB"] | None:
    """Return the colour space that Exif states for a rendered picture; None when it states none.

    ColorSpace 1 is sRGB; 65535 with interoperability "R03" is Adobe RGB (DCF 2.0, optional colour space).
    ColorSpace 2, which no standard defines, is written for Adobe RGB by some cameras (common practice).
    """
    spaces = {d.integer(40961) for d in tree.of_role("exif", "main") if 40961 in d}
    optional = "R03" in {d.text(1) for d in tree.of_role("interop")}
    if 2 in spaces or (65535 in spaces and optional):
        return "Adobe RGB"
    return "sRGB" if spaces == {1} else None


def _settings_of_cr3(data: bytes) -> Tree:
    """Join the small TIFF structures that a CR3 keeps in the first level of its movie box."""
    found: list[Directory] = []
    for name, start, end in boxes(data):
        if name != b"moov":
            continue
        for inner, first, last in boxes(data, start, end):
            if inner == b"uuid":
                parts = boxes(data, first + 16, last)
                trees = [read_tree(data[a:b]) for part, a, b in parts if part in _CR3_SETTINGS]
                found += [directory for tree in trees for directory in tree.directories]
    return Tree(tuple(found))


def _text(found: Directories, tag: int) -> str | None:
    texts = (d.text(tag) for d in found)
    return next((t for t in texts if t and any(c.isalnum() for c in t)), None)


def _rationals(found: Directories, tag: int) -> tuple[tuple[int, int], ...]:
    return next((pairs for d in found if (pairs := d.rationals(tag))), ())


def _ratio(found: Directories, tag: int) -> float | None:
    """Return the first ratio of a tag that is a positive number."""
    pairs = (d.rationals(tag)[:1] for d in found)
    return next((p[0][0] / p[0][1] for p in pairs if p and p[0][1] and p[0][0] / p[0][1] > 0), None)


def _apex(found: Directories, tag: int) -> float | None:
    values = next((v for d in found if (v := d.numbers(tag))), ())
    return values[0] if values and -20 <= values[0] <= 20 else None


def _exposure_time(found: Directories) -> float | None:
    """Return seconds from ExposureTime; from ShutterSpeedValue (2^-Tv) only where the first is not written at all.

    A camera that writes 0 as exposure time writes 0 as APEX value too, which would read as 1 s.
    """
    if any(33434 in d for d in found):
        return _ratio(found, 33434)
    value = _apex(found, 37377)
    return None if value is None else 2.0**-value


def _f_number(found: Directories) -> float | None:
    """Return the f-number from FNumber; from ApertureValue (2^(Av/2)) only where that is not written at all."""
    if any(33437 in d for d in found):
        return _ratio(found, 33437)
    value = _apex(found, 37378)
    return None if value is None else 2.0 ** (value / 2)


def _iso(found: Directories) -> float | None:
    for tag in _SENSITIVITIES:
        for directory in found:
            value = directory.integer(tag)
            if value > 0 and (value != 65535 or tag != 34855):
                return float(value)
    return None


def _distance(found: Directories) -> float | None:
    """Return SubjectDistance in metres; None for unknown (0) and for infinity (numerator 0xFFFFFFFF)."""
    pairs = _rationals(found, 37382)
    return None if not pairs or pairs[0][0] == 0xFFFFFFFF else _ratio(found, 37382)


def _lens(pairs: tuple[tuple[int, int], ...]) -> str | None:
    """Return a lens in words from LensSpecification: shortest and longest focal length, f-number at each."""
    if len(pairs) != 4:
        return None
    short, long, fast, slow = (a / b if b and a > 0 else None for a, b in pairs)
    if not short:
        return None
    focal = f"{short:g}" if long in (None, short) else f"{short:g}–{long:g}"
    light = "" if not fast else f" f/{fast:g}" if slow in (None, fast) else f" f/{fast:g}–{slow:g}"
    return f"{focal} mm{light}"


def _taken(found: Directories, kind: FileKind) -> str | None:
    for time, fraction, offset in _TAKEN:
        moment = _moment(_text(found, time))
        if moment:
            digits = re.match(r"\d+", _text(found, fraction) or "")
            part = f".{digits[0][:3]:0<3}" if digits else ""
            zone = _text(found, offset) or ""
            return moment + part + (zone if _OFFSET.fullmatch(zone) else "")
    # DateTime is when a file was changed: only in a camera's own raw is it the time of the picture
    if kind.family == "raw" and kind is not FileKind.DNG:
        return _moment(_text(found, 306))
    return None


def _moment(stored: str | None) -> str | None:
    """Return a stored time as ISO 8601, or None when it is no time that can have been."""
    match = _TIME.match(stored or "")
    if not match:
        return None
    try:
        moment = datetime.datetime(*map(int, match.groups()))  # type: ignore[arg-type]  # six groups, no zone
    except ValueError:  # a month 13 or an hour 24: the clock was not set
        return None
    return moment.isoformat() if moment.year >= _EARLIEST else None
