"""The kind of a file is told by its content, never by its name."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pytest
import tifffile
from hypothesis import example, given, settings
from hypothesis import strategies as st
from PIL import Image

from qc.container.kinds import Family, FileKind, is_blank, kind_of

PIXELS = np.ones((8, 8), np.uint16)


def tiff(*tags: Any, photometric: int = 1) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, PIXELS, photometric=photometric, extratags=tags)
    return out.getvalue()


def with_maker(make: str) -> bytes:
    return tiff((271, 2, 0, make, True), photometric=32803)


def picture(format: str) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, format)
    return out.getvalue()


@pytest.mark.parametrize(
    ("data", "kind"),
    [
        (tiff(), FileKind.TIFF),
        (tiff(photometric=32803), FileKind.TIFF_RAW),
        (tiff((50706, 1, 4, bytes([1, 4, 0, 0]), True), photometric=32803), FileKind.DNG),
        (with_maker("NIKON CORPORATION"), FileKind.NEF),
        (with_maker("SONY"), FileKind.ARW),
        (with_maker("PENTAX"), FileKind.PEF),
        (with_maker("Eastman Kodak Company"), FileKind.KDC),
        (with_maker("A bench camera"), FileKind.TIFF_RAW),
        (b"II*\0\x10\0\0\0CR\x02\0" + bytes(20), FileKind.CR2),
        (b"IIRO\x08\0\0\0", FileKind.ORF),
        (b"IIU\0\x18\0\0\0", FileKind.RW2),
        (b"FUJIFILMCCD-RAW 0201", FileKind.RAF),
        (b"II\x1a\0\0\0HEAPCCDR", FileKind.CRW),
        (b"\0\0\0\x18ftypcrx \0\0\0\x01", FileKind.CR3),
        (b"\0\0\0\x18ftypheic", FileKind.HEIC),
        (b"\0\0\0\x18ftypavif", FileKind.AVIF),
        (b"\0\0\0\x18ftypisom", FileKind.UNKNOWN),
        (b"\xff\x0a\0\0", FileKind.JPEG_XL),
        (b"\0\0\0\x0cJXL \r\n\x87\n", FileKind.JPEG_XL),
        (b"\0\x05\x16\x07\0\x02\0\0Mac OS X", FileKind.APPLE_DOUBLE),
        (picture("JPEG"), FileKind.JPEG),
        (picture("PNG"), FileKind.PNG),
        (picture("GIF"), FileKind.OTHER_PICTURE),
        (picture("WEBP"), FileKind.OTHER_PICTURE),
        (b"name,bytes\n", FileKind.UNKNOWN),
        (bytes(5000), FileKind.BLANK),
        (bytes(5000) + b"x", FileKind.UNKNOWN),
        (b"", FileKind.UNKNOWN),
    ],
)
def test_a_kind_is_told_by_its_content(data: bytes, kind: FileKind) -> None:
    assert kind_of(data) is kind


@pytest.mark.parametrize("kind", FileKind)
def test_every_kind_belongs_to_one_family(kind: FileKind) -> None:
    assert kind.family in Family
    assert not (kind.is_tiff and kind.family is Family.NONE)


def test_families_are_what_they_are_good_for() -> None:
    assert {k for k in FileKind if k.family is Family.NONE} == {
        FileKind.APPLE_DOUBLE,
        FileKind.BLANK,
        FileKind.UNKNOWN,
    }
    assert {FileKind.JPEG, FileKind.PNG, FileKind.TIFF} < {k for k in FileKind if k.family is Family.RENDERED}
    assert {FileKind.DNG, FileKind.CR3, FileKind.CRW, FileKind.TIFF_RAW} < {
        k for k in FileKind if k.family is Family.RAW
    }


@settings(max_examples=150, deadline=None)
@example(b"\0")
@given(st.binary(max_size=200))
def test_any_bytes_have_a_kind(data: bytes) -> None:
    assert kind_of(data) in FileKind
    assert is_blank(data) == (bool(data) and not data.strip(b"\0"))
