"""A cut, preallocated or damaged file is told from a whole one by its structure alone.

Reference: TRAPS A1-A6; structures as named in `qc.container.whole_*`.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from qc.container.kinds import FileKind, kind_of
from qc.container.whole_boxes import check_tail
from qc.container.wholeness import check
from tests.container.files import RGB, base_media, ciff, dng, jpeg, png, state, tiff

WHOLE = {
    "dng, one strip": dng(),
    "dng, tiles of lossless JPEG": dng(compression="ljpeg", tile=(64, 64)),
    "dng, uncompressed tiles": dng(tile=(64, 64)),
    "jpeg": jpeg(),
    "progressive jpeg": jpeg(progressive=True),
    "tiff": tiff(),
    "tiff, deflate": tiff(compression="zlib"),
    "tiff, 16 bit": tiff(RGB.astype(np.uint16) * 257),
    "tiff, planes apart": tiff(np.moveaxis(RGB, -1, 0), photometric="rgb", planarconfig="separate"),
    "png": png(),
    "base media": base_media(),
    "ciff": ciff(),
}


@pytest.mark.parametrize("name", WHOLE)
def test_a_whole_file_is_whole(name: str) -> None:
    assert check(WHOLE[name], kind_of(WHOLE[name])) == ("whole", None)


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.parametrize("share", [0.02, 0.3, 0.6, 0.9, 0.995])
def test_a_cut_file_is_never_whole(name: str, share: float) -> None:
    data = WHOLE[name]
    cut = data[: max(16, int(len(data) * share))]
    assert state(cut) in ("truncated", "damaged")
    assert check(cut, kind_of(cut))[1]


@pytest.mark.parametrize("name", sorted(set(WHOLE) - {"tiff", "tiff, 16 bit", "tiff, planes apart"}))
@pytest.mark.parametrize("share", [0.3, 0.6, 0.9])
def test_a_file_that_was_not_written_to_its_end_is_damaged(name: str, share: float) -> None:
    data = WHOLE[name]
    kept = int(len(data) * share)
    hollow = data[:kept] + bytes(len(data) - kept)
    # where the directories stand at the end, there is nothing left that says what is missing
    assert state(hollow) in (("damaged", "truncated") if name.startswith("tiff") else ("damaged",))


def test_what_follows_the_end_of_a_jpeg_does_not_matter() -> None:
    assert state(jpeg() + b"maker's own data" * 100) == "whole"
    assert state(jpeg() + bytes(5000)) == "whole"


def test_bytes_between_the_segments_of_a_jpeg_are_passed_over() -> None:
    data = jpeg()
    assert state(data[:20] + b"maker" + data[20:]) == "whole"


def test_a_thumbnail_does_not_end_a_jpeg() -> None:
    exif = Image.Exif()
    exif[271] = "bench"
    whole = jpeg(exif=exif.tobytes() + jpeg()[:2000])
    assert state(whole) == "whole"
    assert state(whole[:-2]) == "truncated"


def test_a_jpeg_with_a_zero_tail_is_damaged_and_says_how_much() -> None:
    data = jpeg()
    kept = len(data) * 9 // 10
    answer = check(data[:kept] + bytes(1000), FileKind.JPEG)
    assert answer == ("damaged", "its last 1,000 bytes are zeros: it was not written to its end")


def test_a_multi_picture_file_needs_its_further_pictures() -> None:
    out = io.BytesIO()
    first, second = Image.fromarray(RGB), Image.fromarray(RGB[::-1].copy())
    first.save(out, "MPO", save_all=True, append_images=[second])
    data = out.getvalue()
    assert kind_of(data) is FileKind.JPEG
    assert state(data) == "whole"
    assert check(data[:-500], FileKind.JPEG)[0] == "truncated"


def test_a_changed_byte_breaks_the_sum_of_a_png() -> None:
    data = bytearray(png())
    data[len(data) // 2] ^= 1
    assert check(bytes(data), FileKind.PNG)[0] == "damaged"


def test_a_jpeg_of_segments_alone_holds_no_picture() -> None:
    assert check(b"\xff\xd8\xff\xfe\0\x04ab\xff\xd9", FileKind.JPEG) == ("damaged", "it holds no picture")


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "empty"),
        (bytes(9000), "damaged"),
        (b"\0\x05\x16\x07" + bytes(4092), "unreadable"),
        (b"not a picture", "unreadable"),
        (b"\0\0\0\x18ftypheic\0\0\0\0", "unsupported"),
        (b"GIF89a", "unsupported"),
        (b"II*\0", "damaged"),
        (b"II*\0\x00\x10\0\0", "truncated"),
        (b"\0MRM" + bytes(range(200)), "whole"),
        (b"\0MRM" + bytes(range(200)) + bytes(5000), "damaged"),
        (b"FUJIFILMCCD-RAW 0201" + bytes(range(1, 150)), "truncated"),
    ],
)
def test_other_files_have_the_state_that_fits_them(data: bytes, expected: str) -> None:
    assert state(data) == expected


def test_the_tail_of_an_unpublished_structure_is_judged_by_blocks() -> None:
    assert check_tail(b"x" * 5000 + bytes(512))[0] == "whole"
    assert check_tail(b"x" * 5000 + bytes(4096))[0] == "damaged"


REAL_HEADS = ("cinema_gbrg_ljpeg.dng", "jpg_flash_g2.jpg", "ps_s40_0117.crw", "trunc_r6.cr3", "k120_11.kdc")


@settings(max_examples=300, deadline=None)
@given(st.sampled_from(sorted(WHOLE)), st.data())
def test_mutated_and_cut_files_always_have_a_state(name: str, data: st.DataObject) -> None:
    mutated = bytearray(WHOLE[name])
    for _ in range(data.draw(st.integers(1, 6))):
        at = data.draw(st.integers(0, len(mutated) - 1))
        mutated[at : at + 4] = data.draw(st.binary(min_size=1, max_size=4))
    cut = bytes(mutated[: data.draw(st.integers(0, len(mutated)))])
    for kind in (kind_of(cut), kind_of(WHOLE[name])):
        answer, detail = check(cut, kind)
        assert answer in ("whole", "damaged", "truncated", "empty", "unsupported", "unreadable")
        assert (detail is None) == (answer == "whole")


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(FileKind), st.binary(max_size=300))
def test_any_bytes_have_a_state_as_any_kind(kind: FileKind, data: bytes) -> None:
    answer, detail = check(data, kind)
    assert (detail is None) == (answer == "whole")


@pytest.mark.parametrize("name", REAL_HEADS)
def test_real_heads_mutated_always_have_a_state(captures: Path, name: str) -> None:
    data = bytearray((captures / name).read_bytes())
    rng = np.random.default_rng(3)
    for _ in range(60):
        for at in rng.integers(0, 2048, 4):
            data[at] = rng.integers(0, 256)
        answer, detail = check(bytes(data), kind_of(bytes(data)))
        assert (detail is None) == (answer == "whole")
