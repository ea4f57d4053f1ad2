"""Finished pictures keep their depth, their orientation and their clipping on the way to linear light."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from qc.container import Container, FileKind
from qc.decode import rendered
from qc.decode.rendered import flat_rows, read, read_mosaic_tiff
from qc.decode.tone import ADOBE_RGB_EXPONENT, ADOBE_RGB_TO_XYZ_D50, SRGB_TO_XYZ_D50
from qc.errors import CaptureError, TruncatedError, UnsupportedError
from tests.decode.pictures import ADOBE, BAYER, LINEAR, RGB8, RGB16, RNG, pillow, png, srgb, tiff


def sources(data: bytes) -> tuple[str, list[str]]:
    decoded = read(data, "SB_1")
    return decoded.colour.source, [finding.code for finding in decoded.findings]


def test_a_grey_jpeg_has_one_colour_and_says_why_there_is_no_more() -> None:
    decoded = read(pillow(RGB8[..., 0], "JPEG"), "SB_1")
    assert (decoded.colours, decoded.data.shape) == ("L", (24, 40, 1))
    assert decoded.colour.reason is not None


@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_orientation_of_the_sensor_is_kept(orientation: int) -> None:
    exif = Image.Exif()
    exif[274] = orientation
    for data in (
        pillow(RGB8, "JPEG", exif=exif),
        tiff(RGB8, photometric="rgb", extratags=[(274, 3, 1, orientation, True)]),
    ):
        decoded = read(data, "SB_1")
        assert decoded.data.shape == (24, 40, 3)
        assert decoded.orientation == orientation


@pytest.mark.parametrize("kind", ["JPEG", "PNG", "TIFF"])
def test_an_embedded_profile_decides(kind: str) -> None:
    decoded = read(pillow(RGB8, kind, icc_profile=ADOBE), "SB_1")
    assert (decoded.colour.source, decoded.colour.reason) == ("ICC profile", None)
    assert np.allclose(decoded.colour.rgb_to_xyz_d50 or (), ADOBE_RGB_TO_XYZ_D50, atol=1e-4)
    if kind != "JPEG":
        assert np.allclose(decoded.data, (RGB8 / 255) ** ADOBE_RGB_EXPONENT, atol=1e-6)
    assert decoded.findings == ()


def test_a_profile_of_16_bits_is_applied_at_16_bits() -> None:
    data = tiff(RGB16, photometric="rgb", extratags=[(34675, 7, len(LINEAR), LINEAR, True)])
    assert np.allclose(read(data, "SB_1").data, RGB16 / 65535, atol=1e-6)


def test_a_profile_that_is_not_evaluated_leaves_a_reason_and_an_assumption() -> None:
    decoded = read(pillow(RGB8, "PNG", icc_profile=bytes(200)), "SB_1")
    assert decoded.colour.reason is not None
    assert decoded.colour.rgb_to_xyz_d50 is None
    assert [finding.code for finding in decoded.findings] == ["assumed_srgb"]


def test_without_a_word_srgb_is_assumed_and_said() -> None:
    assert sources(png(RGB8)) == ("sRGB assumed", ["assumed_srgb"])
    assert np.allclose(read(png(RGB8), "SB_1").colour.rgb_to_xyz_d50 or (), SRGB_TO_XYZ_D50)


def test_exif_decides_where_there_is_no_profile() -> None:
    exif = Image.Exif()
    exif.get_ifd(0x8769)[40961] = 1
    assert sources(pillow(RGB8, "JPEG", exif=exif)) == ("Exif: sRGB", [])
    exif.get_ifd(0x8769)[40961] = 65535
    exif.get_ifd(0x8769)[0xA005] = {1: "R03"}
    assert sources(pillow(RGB8, "JPEG", exif=exif)) == ("Exif: Adobe RGB", [])


def test_a_png_may_state_srgb_or_a_gamma() -> None:
    for name, content, source in (
        (b"sRGB", b"\0", "PNG: sRGB"),
        (b"gAMA", (100000).to_bytes(4, "big"), "PNG: gamma"),
        (b"gAMA", (45455).to_bytes(4, "big"), "sRGB assumed"),
    ):
        info = PngInfo()
        info.add(name, content)
        data = pillow(RGB8, "PNG", pnginfo=info)
        assert sources(data)[0] == source
        expected = RGB8 / 255 if source == "PNG: gamma" else srgb(RGB8)
        assert np.allclose(read(data, "SB_1").data, expected, atol=1e-6)


def test_a_file_that_is_not_whole_is_refused_before_any_library_sees_it() -> None:
    with pytest.raises(TruncatedError):
        read(pillow(RGB8, "JPEG")[:-30], "SB_1.jpg")


def test_a_flat_foot_is_reported_but_not_pure_black_or_white() -> None:
    for tone, said in ((128, True), (0, False), (255, False)):
        band = RGB8.copy()
        band[6:] = tone
        assert ("flat_band" in sources(png(band))[1]) == said
    assert flat_rows(np.full((20, 20, 3), 7, np.uint8)) == 0
    assert flat_rows(RGB8) == 0


def test_every_finding_has_a_meaning() -> None:
    text = Path(rendered.__file__).read_text(encoding="utf-8")
    assert set(rendered.FINDINGS) == {"assumed_srgb", "alpha_dropped", "flat_band", "black_clipped"}
    assert all(f'code="{code}"' in text for code in rendered.FINDINGS)


def test_a_mosaic_is_opened_as_one_only_when_told_so() -> None:
    mosaic = RNG.integers(1, 4000, (20, 30)).astype(np.uint16)
    assert read(tiff(mosaic), "SB_1").kind == "rendered"
    decoded = read_mosaic_tiff(tiff(mosaic), "SB_1", cfa=BAYER, black=64, white=4095)
    assert (decoded.kind, decoded.cfa, decoded.colours) == ("mosaic", BAYER, "RGB")
    assert decoded.data.dtype == np.uint16
    assert np.array_equal(decoded.data, mosaic)
    assert (decoded.black.tolist(), decoded.white, decoded.bits) == ([[64, 64], [64, 64]], 4095.0, 16)
    assert decoded.black_tagged
    assert decoded.findings == ()


def test_a_tiff_marked_as_a_mosaic_is_opened_with_the_pattern_that_is_told() -> None:
    marked = tiff(RGB16[..., 0], photometric=32803)
    decoded = read_mosaic_tiff(marked, "SB_1", cfa=BAYER)
    assert np.array_equal(decoded.data, RGB16[..., 0])
    with pytest.raises(UnsupportedError, match="not a finished picture"):
        read(marked, "SB_1")


def test_black_of_a_mosaic_may_differ_by_position_or_be_unknown() -> None:
    mosaic = tiff(np.full((4, 6), 9, np.uint8))
    levels = np.array([[1.0, 2.5], [3.0, 4.0]])
    assert read_mosaic_tiff(mosaic, "SB_1", cfa=BAYER, black=levels).black.tolist() == levels.tolist()
    unknown = read_mosaic_tiff(mosaic, "SB_1", cfa=BAYER)
    assert (unknown.black.tolist(), unknown.black_tagged, unknown.white) == ([[0, 0], [0, 0]], False, 255.0)


@pytest.mark.parametrize(
    ("data", "text"),
    [(tiff(RGB8, photometric="rgb"), "one sample"), (pillow(RGB8, "JPEG"), "only a plain TIFF")],
)
def test_what_is_no_mosaic_is_not_opened_as_one(data: bytes, text: str) -> None:
    with pytest.raises(UnsupportedError, match=text):
        read_mosaic_tiff(data, "SB_1", cfa=BAYER)


def test_real_flash_frame_has_its_stated_share_at_the_top_code(captures: Path) -> None:
    decoded = read((captures / "jpg_flash_g2.jpg").read_bytes(), "jpg_flash_g2.jpg")
    assert decoded.top_code is not None
    # MANIFEST: 12.9 %; issue: 12.87 %
    assert 100 * decoded.top_code.any(axis=-1).mean() == pytest.approx(12.87, abs=0.005)


@pytest.mark.parametrize(
    ("name", "orientation", "shape", "source"),
    [
        ("jpg_adobergb_350d.jpg", 8, (1152, 1728, 3), "Exif: Adobe RGB"),
        ("jpg_rot6_5d3.jpg", 6, (1920, 2880, 3), "Exif: Adobe RGB"),
        ("orient_l1.jpg", 1, (1200, 1800, 3), "sRGB assumed"),
        ("orient_l3.jpg", 3, (1200, 1800, 3), "sRGB assumed"),
        ("orient_l6.jpg", 6, (1800, 1200, 3), "sRGB assumed"),
        ("orient_l8.jpg", 8, (1800, 1200, 3), "sRGB assumed"),
    ],
)
def test_real_pictures_keep_sensor_orientation_and_their_colour_space(
    captures: Path, name: str, orientation: int, shape: tuple[int, ...], source: str
) -> None:
    decoded = read((captures / name).read_bytes(), name)
    assert (decoded.orientation, decoded.data.shape, decoded.colour.source) == (orientation, shape, source)


@pytest.mark.parametrize(("name", "clipped"), [("mv_dark_50ms_3.tif", True), ("mv_chart_550nm_2000ms.tif", False)])
def test_a_real_mosaic_says_when_its_black_was_clipped(captures: Path, name: str, clipped: bool) -> None:
    decoded = read_mosaic_tiff((captures / name).read_bytes(), name, cfa=BAYER)
    assert (decoded.bits, decoded.data.shape, decoded.white) == (8, (342, 408), 255.0)
    assert ("black_clipped" in [finding.code for finding in decoded.findings]) == clipped


def test_a_kind_that_is_not_finished_is_refused() -> None:
    described = Container(kind=FileKind.CRW, family=FileKind.CRW.family, state="whole")
    with pytest.raises(CaptureError, match="not a finished picture"):
        read(b"x", "SB_1", described)
