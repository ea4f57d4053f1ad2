"""Zeros inside coded JPEG data are a hole where no picture can be coded so, and only there.

Reference: ITU-T T.81 annexes B, C, F and H; coders: Pillow (libjpeg), imagecodecs.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from qc.container.ifd import read_tree
from qc.container.kinds import FileKind
from qc.container.whole_scan import hole
from qc.container.wholeness import check
from qc.rehearse.dng import encode_dng

RNG = np.random.default_rng(2)
NOISE = RNG.integers(0, 256, (160, 160, 3)).astype(np.uint8)


def jpeg(array: np.ndarray, **how: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(array).save(out, "JPEG", **how)
    return out.getvalue()


def hollow(data: bytes, at: int, size: int = 700) -> bytes:
    return data[:at] + bytes(size) + data[at + size :]


def test_a_hole_in_a_camera_jpeg_is_found_though_its_end_is_there() -> None:
    data = hollow(jpeg(NOISE, quality=90), 9000)
    assert data.endswith(b"\xff\xd9")
    assert hole(data, 0, len(data)) == 9000
    assert check(data, FileKind.JPEG) == (
        "damaged",
        "zeros stand in its coded picture at byte 9,000: a part was not written",
    )


@pytest.mark.parametrize("tone", [0, 128, 255])
@pytest.mark.parametrize("how", [{}, {"optimize": True}, {"progressive": True}, {"quality": 30, "optimize": True}])
def test_an_even_picture_has_no_hole(tone: int, how: dict[str, object]) -> None:
    even = np.full((2000, 2000, 3), tone, np.uint8)
    even[:40, :40] = NOISE[:40, :40]
    data = jpeg(even, **how)
    assert hole(data, 0, len(data)) is None


def test_zeros_outside_the_coded_data_are_no_hole() -> None:
    exif = Image.Exif()
    exif[37500] = bytes(4000)
    data = jpeg(NOISE, exif=exif) + bytes(5000)
    assert bytes(4000) in data
    assert hole(data, 0, len(data)) is None
    assert check(data, FileKind.JPEG) == ("whole", None)


def test_a_hole_within_a_tile_of_lossless_jpeg_is_found() -> None:
    mosaic = RNG.integers(600, 9000, (256, 256)).astype(np.uint16)
    data = encode_dng(mosaic, black=512, white=16383, compression="ljpeg", tile=(128, 128))
    first = read_tree(data).directories[0]
    middle = first.integers(324)[1] + first.integers(325)[1] // 2
    assert check(data, FileKind.DNG) == ("whole", None)
    assert check(hollow(data, middle), FileKind.DNG) == (
        "damaged",
        "strip or tile 2 of 4 holds zeros that cannot be coded: a part was not written",
    )


@pytest.mark.parametrize("level", [512, 16383])
def test_a_burnt_or_dark_area_of_lossless_jpeg_is_no_hole(level: int) -> None:
    mosaic = np.full((512, 512), level, np.uint16)
    mosaic[:40] = RNG.integers(600, 9000, (40, 512))
    data = encode_dng(mosaic, black=512, white=16383, compression="ljpeg", tile=(512, 512))
    assert check(data, FileKind.DNG) == ("whole", None)


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_any_stream_has_an_answer(data: st.DataObject) -> None:
    mutated = bytearray(hollow(jpeg(NOISE), 3000))
    for _ in range(data.draw(st.integers(0, 6))):
        mutated[data.draw(st.integers(0, 700))] = data.draw(st.integers(0, 255))
    answer = hole(bytes(mutated), 0, len(mutated))
    assert answer is None or bytes(mutated)[answer : answer + 512] == bytes(512)
