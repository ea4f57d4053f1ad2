"""Strips and tiles of TIFF-based files: those that were not written are found, and nothing else is.

Reference: TRAPS A2, A3, A6; TIFF 6.0; DNG 1.7.1.0.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import tifffile

from qc.container.ifd import read_tree
from qc.container.kinds import FileKind, kind_of
from qc.container.wholeness import check
from qc.rehearse.dng import encode_dng
from tests.container.files import RGB, SCENE, dng, tiff


@pytest.mark.parametrize("cut_at", range(6))
def test_every_unwritten_tile_of_a_lossless_jpeg_is_found(cut_at: int) -> None:
    data = bytearray(dng(compression="ljpeg", tile=(64, 48)))
    raw = next(read_tree(bytes(data)).of_role("main"))
    offsets, sizes = raw.integers(324), raw.integers(325)
    assert len(offsets) == 6
    data[offsets[cut_at] : offsets[cut_at] + sizes[cut_at]] = bytes(sizes[cut_at])
    assert check(bytes(data), FileKind.DNG) == (
        "damaged",
        f"strip or tile {cut_at + 1} of 6 does not start as its compression does",
    )


@pytest.mark.parametrize("fill", [0x00, 0xFF, 0xAA])
def test_a_tile_that_ends_in_equal_bytes_was_not_written(fill: int) -> None:
    data = bytearray(dng(compression="ljpeg", tile=(64, 48)))
    raw = next(read_tree(bytes(data)).of_role("main"))
    end = raw.integers(324)[3] + raw.integers(325)[3]
    data[end - 64 : end] = bytes([fill]) * 64
    assert check(bytes(data), FileKind.DNG) == (
        "damaged",
        "strip or tile 4 of 6 ends in 64 equal bytes: it was not written to its end",
    )


def test_black_rows_are_damage_only_where_the_sensor_cannot_give_them() -> None:
    dark = SCENE.copy()
    dark[-3:] = 0
    assert check(encode_dng(dark, black=512, white=16383), FileKind.DNG)[0] == "damaged"
    assert check(encode_dng(dark, black=0, white=16383), FileKind.DNG)[0] == "whole"
    dark[-8:] = 0
    assert check(encode_dng(dark, black=0, white=16383), FileKind.DNG)[0] == "damaged"


def test_rows_outside_the_active_area_may_be_blank() -> None:
    dark = SCENE.copy()
    dark[-12:] = 0
    whole = encode_dng(dark, black=512, white=16383, visible=(0, 0, 84, 128))
    assert check(whole, FileKind.DNG)[0] == "whole"


def test_the_padding_of_edge_tiles_may_be_blank() -> None:
    data = encode_dng(SCENE[:90, :100], black=512, white=16383, tile=(64, 64))
    assert check(data, FileKind.DNG)[0] == "whole"


def test_a_picture_may_end_in_black_but_not_break_off_within_a_bright_row() -> None:
    data = tiff()
    (offset,), (size,) = (read_tree(data).directories[0].integers(tag) for tag in (273, 279))
    stride = 96 * 3
    for kept, expected in ((40 * stride, "whole"), (40 * stride + 99, "damaged")):
        hollow = data[: offset + kept] + bytes(size - kept) + data[offset + size :]
        assert check(hollow, FileKind.TIFF)[0] == expected
    foot = RGB.copy()
    foot[40:, 30:] = 0
    foot[41:] = 0
    foot[30:41] //= 16
    assert check(tiff(foot), FileKind.TIFF)[0] == "whole"


def test_an_all_black_picture_is_whole() -> None:
    assert check(tiff(np.zeros_like(RGB)), FileKind.TIFF) == ("whole", None)


def test_run_lengths_may_repeat_a_byte_to_the_end() -> None:
    assert check(tiff(np.full((64, 1280), 0x81, np.uint8), compression="packbits"), FileKind.TIFF)[0] == "whole"


def padded(data: bytes, filler: bytes) -> bytes:
    """The same DNG with its last tile moved to the end and filled up behind its end-of-image marker."""
    first = read_tree(data).directories[0]
    offsets, sizes = first.integers(324), first.integers(325)
    tile = data[offsets[-1] : offsets[-1] + sizes[-1]]
    moved = bytearray(data)
    struct.pack_into("<I", moved, first.entries[324].at + 4 * (len(offsets) - 1), len(data))
    struct.pack_into("<I", moved, first.entries[325].at + 4 * (len(offsets) - 1), len(tile) + len(filler))
    return bytes(moved) + tile + filler


@pytest.mark.parametrize("filler", [bytes(512), b"\xff" * 300])
def test_a_tile_may_be_filled_up_behind_its_end_of_image(filler: bytes) -> None:
    data = padded(dng(compression="ljpeg", tile=(64, 64)), filler)
    assert check(data, FileKind.DNG) == ("whole", None)
    assert check(data[:-1], FileKind.DNG)[0] == "truncated"


@pytest.mark.parametrize(("tail", "expected"), [(512, "whole"), (5000, "damaged")])
def test_a_maker_own_coding_is_judged_by_blocks_even_where_it_claims_none(tail: int, expected: str) -> None:
    data = bytearray(tiff(SCENE, photometric=32803, extratags=[(271, 2, 0, "SONY", True)]))
    first = read_tree(bytes(data)).directories[0]
    size = first.integer(279)
    struct.pack_into("<I", data, first.entries[279].at, size - 1000)  # fewer bytes than its rows would take
    end = first.integer(273) + size - 1000
    data[end - tail : end] = bytes(tail)
    assert check(bytes(data), FileKind.ARW)[0] == expected


def test_a_file_of_reduced_pictures_alone_is_not_taken_for_a_finished_one() -> None:
    out = io.BytesIO()
    tifffile.imwrite(out, RGB, photometric="rgb", subfiletype=1)
    assert kind_of(out.getvalue()) is FileKind.TIFF_RAW
    assert kind_of(b"II*\0\x10\0\0\0IIII waR" + bytes(20)) is FileKind.TIFF_RAW
