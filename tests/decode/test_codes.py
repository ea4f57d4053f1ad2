"""Pixels of finished pictures are read at their depth, or refused by name."""

from __future__ import annotations

import io

import imagecodecs
import numpy as np
import pytest
import tifffile
from PIL import Image

from qc.decode import codes
from qc.decode.rendered import read
from qc.errors import UnreadableError, UnsupportedError
from tests.decode.pictures import RGB8, RGB16, pillow, png, srgb, tiff


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (tiff(RGB8, photometric="rgb"), RGB8),
        (tiff(RGB16, photometric="rgb"), RGB16),
        (tiff(RGB16, photometric="rgb", byteorder=">"), RGB16),
        (tiff(RGB16, photometric="rgb", compression="zlib", predictor=True), RGB16),
        (tiff(RGB16, photometric="rgb", compression="lzw"), RGB16),
        (tiff(RGB16, photometric="rgb", tile=(16, 16)), RGB16),
        (tiff(np.moveaxis(RGB16, -1, 0), photometric="rgb", planarconfig="separate"), RGB16),
        (tiff(RGB16, photometric="rgb", bigtiff=True), RGB16),
        (tiff(RGB16[..., 0], photometric="minisblack"), RGB16[..., :1]),
        (tiff(~RGB16[..., 0], photometric="miniswhite"), RGB16[..., :1]),
        (png(RGB8), RGB8),
        (png(RGB16), RGB16),
        (png(RGB8[..., 0]), RGB8[..., :1]),
        (png(RGB16[..., 0]), RGB16[..., :1]),
    ],
)
def test_no_depth_is_lost(data: bytes, expected: np.ndarray) -> None:
    decoded = read(data, "SB_1")
    assert (decoded.kind, decoded.bits) == ("rendered", 8 * expected.dtype.itemsize)
    assert decoded.data.dtype == np.float32
    assert np.allclose(decoded.data, srgb(expected), atol=1e-6)
    assert decoded.colours == ("RGB" if expected.shape[-1] == 3 else "L")
    assert decoded.top_code is not None
    assert np.array_equal(decoded.top_code, expected == np.iinfo(expected.dtype).max)
    assert (decoded.white, decoded.black.tolist()) == (1.0, [[0.0] * expected.shape[-1]])
    assert decoded.visible == (0, 0, 24, 40)
    assert decoded.cfa is None
    assert not decoded.lossy


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (png(np.dstack([RGB8, RGB8[..., :1]])), RGB8),
        (png(np.dstack([RGB16, RGB16[..., :1]])), RGB16),
        (png(RGB8[..., :2]), RGB8[..., :1]),
        (png(RGB16[..., :2]), RGB16[..., :1]),
        (tiff(np.dstack([RGB16, RGB16[..., :1]]), photometric="rgb", extrasamples=["unassalpha"]), RGB16),
        (tiff(RGB8[..., :2], photometric="minisblack", extrasamples=["unspecified"]), RGB8[..., :1]),
    ],
)
def test_alpha_is_left_out_and_said(data: bytes, expected: np.ndarray) -> None:
    decoded = read(data, "SB_1")
    assert np.allclose(decoded.data, srgb(expected), atol=1e-6)
    assert "alpha_dropped" in [finding.code for finding in decoded.findings]


def test_a_jpeg_is_what_its_library_decodes() -> None:
    data = pillow(RGB8, "JPEG", quality=92)
    decoded = read(data, "SB_1")
    assert np.allclose(decoded.data, srgb(np.asarray(Image.open(io.BytesIO(data)))), atol=1e-6)
    assert (decoded.lossy, decoded.bits) == (True, 8)
    assert decoded.decoder.startswith("Pillow ")


@pytest.mark.parametrize(
    ("data", "text"),
    [
        (pillow(RGB8, "JPEG", "CMYK"), "separation for print"),
        (pillow(RGB8, "TIFF", "CMYK"), "CMYK"),
        (pillow(RGB8, "TIFF", "LAB"), "CIELAB"),
        (pillow(RGB8, "TIFF", "P"), "indexed colours"),
        (pillow(RGB8, "TIFF", "1"), "1 bits a sample"),
        (pillow(RGB8, "PNG", "P"), "indexed colours"),
        (pillow(RGB8, "PNG", "1"), "PNG of 1 bits"),
        (tiff(RGB8.astype(np.float32), photometric="rgb"), "floating point"),
        (tiff(RGB8.astype(np.uint32), photometric="rgb"), "32 bits"),
        (tiff(RGB8[..., 0], photometric=32803), "not a finished picture"),
        (bytes(imagecodecs.ljpeg_encode(RGB16[..., 0], bitspersample=16)), "lossless and hierarchical JPEG"),
        (pillow(RGB8, "JPEG").replace(b"\xff\xc0\x00\x11\x08", b"\xff\xc0\x00\x11\x0c"), "JPEG of 12 bits"),
        (pillow(RGB8, "GIF"), "no decoder"),
    ],
)
def test_what_cannot_be_measured_is_refused_by_name(data: bytes, text: str) -> None:
    with pytest.raises(UnsupportedError, match=text):
        read(data, "SB_1")


@pytest.mark.parametrize("data", [pillow(RGB8, "JPEG"), png(RGB8), tiff(RGB8, photometric="rgb")])
def test_absurd_sizes_are_refused(data: bytes, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(codes, "MAX_PIXELS", 500)
    with pytest.raises(UnsupportedError, match="megapixels"):
        read(data, "SB_1")
    monkeypatch.setattr(codes, "MAX_PIXELS", 1 << 30)
    monkeypatch.setattr(codes, "BYTES_PER_PIXEL", 1 << 60)
    with pytest.raises(UnreadableError, match="more memory"):
        read(data, "SB_1")


def test_a_picture_above_the_limit_of_the_library_is_read() -> None:
    limit = Image.MAX_IMAGE_PIXELS
    wide = np.zeros((2, 3), np.uint8)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(Image, "MAX_IMAGE_PIXELS", 1)
        assert read(pillow(wide, "JPEG"), "SB_1").data.shape == (2, 3, 1)
        assert read(png(wide), "SB_1").data.shape == (2, 3, 1)
    assert limit == Image.MAX_IMAGE_PIXELS


def test_a_codec_that_is_not_installed_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    data = tiff(RGB8, photometric="rgb", compression="lzw")

    def missing(*_: object, **__: object) -> None:
        raise ImportError("no module")

    monkeypatch.setattr(tifffile.TiffPage, "asarray", missing)
    with pytest.raises(UnsupportedError, match="imagecodecs"):
        read(data, "SB_1")


def test_the_first_full_size_picture_of_several_is_read() -> None:
    out = io.BytesIO()
    with tifffile.TiffWriter(out) as writer:
        writer.write(RGB8[::4, ::4], photometric="rgb", subfiletype=1)
        writer.write(RGB8, photometric="rgb")
    decoded = read(out.getvalue(), "SB_1")
    assert decoded.data.shape == RGB8.shape
    assert decoded.images == 2
