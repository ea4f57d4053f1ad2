"""What is written is what both decoders read, directly and without `qc.decode` between."""

from __future__ import annotations

import inspect
import io
import sys
from pathlib import Path

import exifread
import numpy as np
import pytest
import rawpy
import tifffile
from numpy.typing import NDArray

from qc.errors import UsageError
from qc.frame import Camera, Cfa
from qc.rehearse.dng import MONOCHROME, XTRANS, DngOptions, encode_dng, write_dng

flashraw = pytest.importorskip("flashraw")

MATRIX = ((0.7, -0.2, -0.05), (-0.4, 1.2, 0.2), (-0.05, 0.2, 0.6))
CAMERA = Camera(
    make="Kiln Works",
    model="Rehearsal 1",
    serial="KW-0001",
    lens="90 mm f/2.8",
    iso=100,
    shutter_s=1 / 160,
    aperture=11.0,
    focal_mm=90.0,
    focus_m=0.8,
    taken="2026-11-25T10:00:00.125+01:00",
)
COLOURED = {"matrices": ((21, MATRIX),), "neutral": (0.5, 1.0, 0.7)}
RGBE = Cfa(pattern=((0, 1), (3, 2)), colours="RGBE")


def noise(*shape: int, top: int = 16383) -> NDArray[np.uint16]:
    return np.random.default_rng(5).integers(0, top, shape, dtype=np.uint16, endpoint=True)


def by_rawpy(data: bytes) -> NDArray[np.uint16]:
    with rawpy.imread(io.BytesIO(data)) as raw:
        array: NDArray[np.uint16] = raw.raw_image.copy()
    return array[..., :3] if array.ndim == 3 else array


def by_flashraw(data: bytes) -> NDArray[np.uint16]:
    with flashraw.open(data) as raw:
        return np.squeeze(np.array(raw.decode("raw-u16", corruption_policy="strict")))


@pytest.mark.parametrize("decode", [by_rawpy, by_flashraw])
@pytest.mark.parametrize("compression", ["none", "ljpeg"])
@pytest.mark.parametrize(
    ("mosaic", "how"),
    [
        pytest.param(noise(96, 130), {"cfa": "RGGB"} | COLOURED, id="RGGB"),
        pytest.param(noise(96, 130), {"cfa": "BGGR"} | COLOURED, id="BGGR"),
        pytest.param(noise(96, 130), {"cfa": "GRBG"} | COLOURED, id="GRBG"),
        pytest.param(noise(96, 130), {"cfa": "GBRG"} | COLOURED, id="GBRG"),
        pytest.param(noise(95, 131), COLOURED, id="odd sides"),
        pytest.param(noise(96, 130, top=65535), COLOURED, id="16 bits"),
        pytest.param(noise(520, 514), {"cfa": XTRANS} | COLOURED, id="X-Trans"),
        pytest.param(noise(96, 130), {"cfa": MONOCHROME}, id="monochrome"),
        pytest.param(noise(96, 130), {"cfa": RGBE}, id="four colours"),
        pytest.param(noise(96, 130, 3), {"linear": True} | COLOURED, id="linear"),
        pytest.param(noise(96, 130), {"tile": (32, 64)} | COLOURED, id="tiles"),
        pytest.param(
            noise(96, 130),
            {"visible": (8, 16, 80, 100), "masked": ((0, 0, 96, 8), (0, 8, 8, 100))} | COLOURED,
            id="masked border",
        ),
    ],
)
def test_pixels_come_back_bit_for_bit(mosaic, how, compression, decode):  # type: ignore[no-untyped-def]  # many kinds
    data = encode_dng(mosaic, white=16383, black=512, compression=compression, **how)
    np.testing.assert_array_equal(decode(data), mosaic)


@pytest.mark.parametrize("decode", [by_rawpy, by_flashraw])
def test_a_linearisation_table_is_applied_by_the_decoders(decode):  # type: ignore[no-untyped-def]  # see above
    codes, table = noise(64, 64, top=999), (np.arange(1000) ** 1.25).astype(np.uint16)
    data = encode_dng(codes, white=int(table[-1]), linearisation=table, **COLOURED)  # type: ignore[arg-type]  # mixed
    np.testing.assert_array_equal(decode(data), table[codes])


def test_a_lossless_file_is_smaller_than_a_plain_one() -> None:
    smooth = (1000 + np.add.outer(np.arange(256), np.arange(256))).astype(np.uint16)
    assert len(encode_dng(smooth, white=16383, compression="ljpeg")) < len(encode_dng(smooth, white=16383)) / 2


def test_settings_read_back_with_an_independent_reader() -> None:
    tags = exifread.process_file(io.BytesIO(encode_dng(noise(64, 64), white=16383, camera=CAMERA)), details=False)
    read = {name: str(tags[name]) for name in tags}
    assert read["Image Make"] == "Kiln Works"
    assert read["Image Model"] == "Rehearsal 1"
    assert read["EXIF ISOSpeedRatings"] == "100"
    assert read["EXIF ExposureTime"] == "1/160"
    assert read["EXIF FNumber"] == "11"
    assert read["EXIF FocalLength"] == "90"
    assert read["EXIF SubjectDistance"] == "4/5"
    assert read["EXIF LensModel"] == "90 mm f/2.8"
    assert read["EXIF BodySerialNumber"] == "KW-0001"
    assert read["EXIF DateTimeOriginal"] == "2026:11:25 10:00:00"
    assert read["EXIF SubSecTimeOriginal"] == "125"
    assert read["EXIF OffsetTimeOriginal"] == "+01:00"


def test_both_decoders_read_the_settings() -> None:
    data = encode_dng(noise(64, 64), white=16383, camera=CAMERA)
    with rawpy.imread(io.BytesIO(data)) as raw:
        assert raw.other.iso_speed == 100
        assert raw.other.shutter_speed == pytest.approx(1 / 160)
        assert raw.other.aperture == 11
    with flashraw.open(data) as raw:
        assert raw.metadata.exposure.iso == 100
        assert raw.metadata.exposure.exposure_time == pytest.approx(1 / 160)
        assert raw.metadata.capture_time == CAMERA.taken


def test_what_was_not_recorded_is_not_written() -> None:
    tags = exifread.process_file(io.BytesIO(encode_dng(noise(64, 64), white=16383)), details=False)
    assert {name for name in tags if name.startswith("EXIF ")} == {"EXIF ExifVersion"}


@pytest.mark.parametrize("orientation", range(1, 9))
def test_orientation_is_recorded_and_turns_no_pixel(orientation: int) -> None:
    mosaic = noise(64, 80)
    data = encode_dng(mosaic, white=16383, orientation=orientation)
    np.testing.assert_array_equal(by_rawpy(data), mosaic)
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        assert tiff.pages.first.tags["Orientation"].value == orientation


def test_black_repeat_rows_and_columns_stand_in_the_file_as_given() -> None:
    pattern = 500 + np.arange(16.0).reshape(4, 4) * 1.25
    rows, columns = np.linspace(-2, 2, 64), np.linspace(0, 7, 80)
    data = encode_dng(noise(64, 80), white=16383, black=pattern, black_rows=rows, black_columns=columns)
    with flashraw.open(data) as raw:
        black = raw.metadata.black_level
    np.testing.assert_allclose(np.reshape(black.values, (black.rows, black.cols)), pattern)
    np.testing.assert_allclose(black.row_deltas, rows, atol=1e-5)
    np.testing.assert_allclose(black.col_deltas, columns, atol=1e-5)


def test_matrices_and_neutral_stand_in_the_file_as_given() -> None:
    second = np.array(MATRIX) * 0.9
    forward = (np.eye(3) * 0.8, np.eye(3) * 0.7)
    data = encode_dng(
        noise(64, 64), white=16383, matrices=((21, MATRIX), (17, second)), forward=forward, neutral=(0.5, 1, 0.7)
    )
    with flashraw.open(data) as raw:
        colours, dng = raw.metadata.color_matrices, raw.metadata.dng
    assert [matrix.illuminant for matrix in colours.color] == [21, 17]
    np.testing.assert_allclose(colours.color[0].values, np.ravel(MATRIX), atol=1e-6)
    np.testing.assert_allclose(colours.color[1].values, np.ravel(second), atol=1e-6)
    np.testing.assert_allclose([m.values for m in colours.forward], [np.ravel(m) for m in forward], atol=1e-6)
    assert dng.as_shot_neutral == pytest.approx((0.5, 1.0, 0.7))


def test_areas_stand_in_the_file_as_top_left_bottom_right() -> None:
    data = encode_dng(noise(96, 130), white=16383, visible=(15, 23, 80, 100), masked=((0, 0, 96, 20),))
    with tifffile.TiffFile(io.BytesIO(data)) as tiff:
        tags = tiff.pages.first.tags
        assert tags[50829].value == (15, 23, 95, 123)
        assert tags[50830].value == (0, 0, 96, 20)


def test_writing_replaces_the_file_and_leaves_nothing_else(tmp_path: Path) -> None:
    mosaic, target = noise(64, 64), tmp_path / "KW_0001.dng"
    target.write_bytes(b"older")
    assert write_dng(target, mosaic, white=16383) == target
    assert list(tmp_path.iterdir()) == [target]
    np.testing.assert_array_equal(by_rawpy(target.read_bytes()), mosaic)


@pytest.mark.parametrize(
    ("mosaic", "how", "words"),
    [
        (noise(64, 64).astype(np.float32), {}, "float32"),
        (noise(64, 64, 4), {"linear": True}, "shape"),
        (noise(64, 64), {"visible": (0, 0, 65, 64)}, "does not lie within"),
        (noise(64, 64), {"tile": (20, 32)}, "multiples of 16"),
        (noise(64, 64), {"tile": (32, 80), "compression": "ljpeg"}, "not be wider"),
        (noise(64, 64), {"camera": Camera(lens="90 mm f/2,8 für Töpfe")}, "ASCII"),
        (noise(64, 64), {"camera": Camera(taken="yesterday")}, "yesterday"),
        (noise(64, 64), {"matrices": ((21, MATRIX),) * 3}, "one or two"),
        (noise(64, 64), {"black": -3}, "negative"),
    ],
)
def test_what_does_not_fit_is_refused_and_nothing_is_written(mosaic, how, words, tmp_path):  # type: ignore[no-untyped-def]  # mixed on purpose
    with pytest.raises(UsageError, match=words):
        write_dng(tmp_path / "no.dng", mosaic, white=16383, **how)
    assert not list(tmp_path.iterdir())


def test_without_imagecodecs_lossless_is_refused_clearly(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "imagecodecs", None)
    with pytest.raises(UsageError, match="imagecodecs"):
        encode_dng(noise(64, 64), white=16383, compression="ljpeg")


def test_the_options_of_writing_are_those_of_encoding() -> None:
    named = list(inspect.signature(encode_dng).parameters)[1:]
    assert list(DngOptions.__annotations__) == named
