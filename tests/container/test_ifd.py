"""TIFF directories: the same tags as tifffile reads, and an end to the walk whatever the bytes are.

Reference: tifffile (general-purpose library), TIFF 6.0 section 2.
"""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.container.ifd import read_tree

TAGS = [
    (65000, 3, 3, (1, 2, 65535), True),
    (65001, 4, 2, (7, 4_000_000_000), True),
    (65002, 5, 2, (1, 3, 22, 7), True),
    (65003, 10, 1, (-78, 100), True),
    (65004, 8, 2, (-5, 5), True),
    (65005, 11, 2, (0.5, -0.25), True),
    (65006, 12, 1, 2.5, True),
    (65007, 1, 6, bytes(range(6)), True),
    (65008, 2, 0, "glazed stoneware", True),
]


def encoded(byteorder: str = "<", *, big: bool = False) -> bytes:
    out = io.BytesIO()
    with tifffile.TiffWriter(out, byteorder=byteorder, bigtiff=big) as writer:  # type: ignore[arg-type]  # "<" or ">"
        writer.write(np.zeros((8, 6), np.uint16), extratags=TAGS, photometric="minisblack")
        writer.write(np.zeros((4, 4), np.uint8), photometric="minisblack")
    return out.getvalue()


@pytest.mark.parametrize("byteorder", ["<", ">"])
@pytest.mark.parametrize("big", [False, True])
def test_values_are_those_that_were_written(byteorder: str, big: bool) -> None:
    tree = read_tree(encoded(byteorder, big=big))
    assert [d.role for d in tree.directories] == ["main", "main"]
    assert tree.beyond == tree.broken == 0
    first = tree.directories[0]
    assert (first.integer(256), first.integer(257), tree.directories[1].integer(256)) == (6, 8, 4)
    assert first.integers(65000) == (1, 2, 65535)
    assert first.integers(65001) == (7, 4_000_000_000)
    assert first.numbers(65002) == (1 / 3, 22 / 7)
    assert first.rationals(65003) == ((-78, 100),)
    assert first.numbers(65004) == (-5, 5)
    assert first.numbers(65005) == (0.5, -0.25)
    assert first.numbers(65006) == (2.5,)
    assert first.raw(65007) == bytes(range(6))
    assert first.text(65008) == "glazed stoneware"


def test_what_is_absent_or_of_another_type_is_empty() -> None:
    first = read_tree(encoded()).directories[0]
    assert first.numbers(1) == first.integers(1) == ()
    assert first.rationals(1) == ()
    assert first.text(1) is None
    assert first.numbers(65008) == ()
    assert first.rationals(65000) == ()
    assert first.integers(65005) == ()
    assert first.integer(1, 9) == 9


@pytest.mark.parametrize("pair", [(0, 0), (1, 0)])
def test_a_ratio_over_nothing_is_no_number(pair: tuple[int, int]) -> None:
    data = (
        b"II*\0\x08\0\0\0\x01\0" + struct.pack("<HHII", 33434, 5, 1, 26) + b"\0\0\0\0" + struct.pack("<II", *pair)
    )
    first = read_tree(data).directories[0]
    assert first.rationals(33434) == (pair,)
    assert first.numbers(33434) == ()


@pytest.mark.parametrize(
    "name",
    ["chart_dslr14.dng", "cinema_gbrg_ljpeg.dng", "k120_08.kdc", "linear_lossy_dark.dng", "action_hero6.gpr"],
)
def test_real_files_read_as_tifffile_reads_them(captures: Path, name: str) -> None:
    data = (captures / name).read_bytes()
    ours = {d.at: d for d in read_tree(data).of_role("main", "sub")}
    checked = 0
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        pages = [p for page in file.pages for p in (page, *(page.pages or ()))]
        assert set(ours) == {page.offset for page in pages}
        for page in pages:
            assert isinstance(page, tifffile.TiffPage)
            for tag in page.tags.values():
                if int(tag.dtype) in (3, 4, 8, 9) and tag.name not in ("ExifTag", "GPSTag"):
                    value = np.atleast_1d(np.asarray(tag.value, dtype=np.int64)).ravel()
                    assert ours[page.offset].integers(tag.code) == tuple(value), tag.name
                    checked += 1
    assert checked > 15


def test_a_loop_of_directories_ends() -> None:
    data = b"II*\0\x08\0\0\0" + struct.pack("<H", 1) + struct.pack("<HHII", 256, 3, 1, 5) + struct.pack("<I", 8)
    assert len(read_tree(data).directories) == 1


def test_a_cut_file_says_how_far_it_was_to_reach() -> None:
    whole = encoded()
    at = read_tree(whole).directories[0].entries[65008].at
    assert read_tree(whole[: at + 3]).beyond > at + 3


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=400))
def test_any_bytes_end_the_walk(data: bytes) -> None:
    for header in (b"", b"II*\0\x08\0\0\0", b"MM\0*\0\0\0\x08", b"II+\0\x08\0\0\0\x10\0\0\0\0\0\0\0"):
        tree = read_tree(header + data)
        for directory in tree.directories:
            for tag in directory.entries:
                assert isinstance(directory.numbers(tag), tuple)
                assert isinstance(directory.integers(tag), tuple)
                assert directory.text(tag) != ""
