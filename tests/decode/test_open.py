"""From a path to a frame: which decoder, which settings, which refusal."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest
import tifffile
from numpy.typing import NDArray

from qc.decode import FINDINGS, MosaicHint, open_frame, raw_decoder
from qc.decode.with_flashraw import installed
from qc.errors import CaptureError, EmptyError, UnreadableError, UsageError, VanishedError
from qc.frame import Camera
from qc.rehearse.dng import encode_dng, write_dng

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
DECODERS = ["rawpy", "auto", *(["flashraw"] if installed() else [])]


def noise(rows: int = 96, columns: int = 130) -> NDArray[np.uint16]:
    return np.random.default_rng(5).integers(500, 16000, (rows, columns), dtype=np.uint16)


@pytest.mark.parametrize("decoder", DECODERS)
def test_settings_colour_and_orientation_come_through(decoder: str, tmp_path: Path) -> None:
    path = write_dng(
        tmp_path / "a.dng",
        noise(),
        white=16383,
        black=512.25,
        camera=CAMERA,
        orientation=6,
        matrices=((21, MATRIX),),
        neutral=(0.5, 1.0, 0.7),
    )
    frame = open_frame(path, decoder=decoder)
    assert frame.camera.iso == 100
    assert frame.camera.shutter_s == pytest.approx(1 / 160)
    assert (frame.camera.aperture, frame.camera.focal_mm, frame.camera.focus_m) == (11.0, 90.0, 0.8)
    assert (frame.camera.make, frame.camera.model, frame.camera.serial) == ("Kiln Works", "Rehearsal 1", "KW-0001")
    assert frame.camera.taken == "2026-11-25T10:00:00.125+01:00"
    assert frame.orientation == 6
    assert frame.upright_size == (96, 130)
    assert frame.black.array() == pytest.approx(512.25, abs=1e-3)
    assert frame.black.source == "tag"
    assert frame.colour.source == "DNG tags"
    assert frame.colour.neutral == pytest.approx((0.5, 1.0, 0.7))
    assert np.allclose(frame.colour.calibrations[0].xyz_to_camera, MATRIX, atol=1e-4)
    assert np.array_equal(frame.mosaic, noise()) if frame.mosaic is not None else False


def test_a_file_without_a_matrix_says_why_colour_is_not_known(tmp_path: Path) -> None:
    frame = open_frame(write_dng(tmp_path / "a.dng", noise(), white=16383, black=512.0))
    assert frame.colour.reason is not None
    assert frame.colour.reason.code == "no_colour_matrix"
    assert frame.colour.neutral is None


def test_the_result_notes_which_decoder_read_it(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", noise(), white=16383, black=512.0)
    assert open_frame(path, decoder="rawpy").decoder.startswith("rawpy ")
    if installed():
        assert open_frame(path).decoder.startswith("flashraw ")


def test_auto_is_rawpy_where_flashraw_is_not_installed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("qc.decode.with_flashraw.find_spec", lambda _: None)
    assert raw_decoder("auto").name == "rawpy"
    with pytest.raises(UsageError, match="not installed"):
        raw_decoder("flashraw")


def test_auto_goes_on_to_rawpy_when_flashraw_refuses(captures: Path) -> None:
    frame = open_frame(captures / "linear_lossy_dark.dng")
    assert frame.decoder.startswith("rawpy ")


@pytest.mark.parametrize("decoder", DECODERS)
def test_what_libraw_cannot_read_is_unsupported_whichever_decoder(decoder: str, captures: Path) -> None:
    with pytest.raises(CaptureError) as caught:
        open_frame(captures / "action_hero6.gpr", decoder=decoder)
    assert caught.value.state == "unsupported"


def test_a_decoder_that_does_not_exist_is_wrong_use(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", noise(), white=16383)
    with pytest.raises(UsageError):
        open_frame(path, decoder="best")
    with pytest.raises(UsageError):
        raw_decoder("best")


def test_bad_paths_have_their_own_errors(tmp_path: Path) -> None:
    (tmp_path / "empty.dng").touch()
    (tmp_path / "text.dng").write_text("not a picture")
    with pytest.raises(VanishedError):
        open_frame(tmp_path / "none.dng")
    with pytest.raises(EmptyError):
        open_frame(tmp_path / "empty.dng")
    with pytest.raises(UnreadableError):
        open_frame(tmp_path)
    with pytest.raises(UnreadableError):
        open_frame(tmp_path / "text.dng")


def test_a_name_that_is_not_utf8_opens(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"caf\xe9.dng")
    path.write_bytes(encode_dng(noise(), white=16383, black=512.0))
    assert open_frame(path).width == open_frame(os.fsencode(path)).width == 130


def test_a_capture_is_not_touched(tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", noise(), white=16383, black=512.0)
    before = (path.read_bytes(), path.stat().st_mtime_ns)
    open_frame(path)
    assert (path.read_bytes(), path.stat().st_mtime_ns) == before


@pytest.mark.parametrize("cfa", ["RGGB", "GBRG"])
def test_an_unmarked_mosaic_opens_only_when_told(cfa: str, tmp_path: Path) -> None:
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, noise())
    frame = open_frame(path, mosaic=MosaicHint(cfa=cfa, black=500.0, white=16383.0))
    assert (frame.kind, frame.black.source, frame.scale) == ("mosaic", "given", 15883.0)
    assert open_frame(path).kind == "rendered"


@pytest.mark.parametrize("compression", ["none", "ljpeg"])
def test_masked_areas_of_a_dng_are_used(compression: str, tmp_path: Path) -> None:
    mosaic = noise(200, 240)
    mosaic[:, :32] = np.random.default_rng(1).normal(515, 3, (200, 32)).round()
    path = write_dng(
        tmp_path / "a.dng",
        mosaic,
        white=16383,
        black=512.0,
        visible=(0, 32, 200, 208),
        masked=((0, 0, 200, 32),),
        compression=compression,  # type: ignore[arg-type]  # one of the two words
    )
    frame = open_frame(path)
    assert frame.black.source == "masked pixels"
    assert frame.black.array() == pytest.approx(515.0, abs=0.4)


def test_every_finding_that_decoding_makes_is_listed(captures: Path) -> None:
    codes = set()
    for path in captures.iterdir():
        hint = MosaicHint(cfa="GRBG") if path.name.startswith("mv_") else None
        try:
            codes |= {finding.code for finding in open_frame(path, mosaic=hint).findings}
        except CaptureError:
            continue
    assert len(codes) >= 5
    assert codes <= set(FINDINGS)


def picture_tags(*, levels: bool = True) -> list[tuple[int, str, int, object, bool]]:
    """Tags of a minimal DNG in the form that tifffile writes."""
    tags: list[tuple[int, str, int, object, bool]] = [
        (33421, "H", 2, (2, 2), True),
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50708, "s", 0, "Kiln Works Rehearsal 1", True),
    ]
    return [*tags, (50714, "H", 1, (512,), True), (50717, "H", 1, (16383,), True)] if levels else tags


@pytest.mark.parametrize("decoder", DECODERS)
def test_of_several_pictures_the_first_is_measured_and_it_is_said(decoder: str, tmp_path: Path) -> None:
    path = tmp_path / "two.dng"
    with tifffile.TiffWriter(path) as writer:
        writer.write(noise(), photometric="CFA", extratags=picture_tags())
        writer.write(noise()[::-1].copy(), photometric="CFA", extratags=picture_tags())
    frame = open_frame(path, decoder=decoder)
    assert frame.mosaic is not None
    assert np.array_equal(frame.mosaic, noise())
    assert [f.data["images"] for f in frame.findings if f.code == "several_images"] == [2]


@pytest.mark.parametrize("decoder", DECODERS)
@pytest.mark.parametrize("compression", ["adobe_deflate", "jpegxl_dng"])
def test_a_compression_that_libraw_lacks_is_unsupported_not_damaged(
    decoder: str, compression: str, tmp_path: Path
) -> None:
    pytest.importorskip("imagecodecs")
    path = tmp_path / "a.dng"
    tifffile.imwrite(path, noise(), photometric="CFA", compression=compression, extratags=picture_tags())
    with pytest.raises(CaptureError) as caught:
        open_frame(path, decoder=decoder)
    assert caught.value.state == "unsupported"


def test_floating_point_samples_are_read_as_libraw_scales_them(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    light = noise().astype(np.float32) / np.float32(16383)
    tifffile.imwrite(path, light, photometric="CFA", extratags=picture_tags(levels=False))
    frame = open_frame(path)
    assert frame.decoder.startswith("rawpy ")
    assert frame.cells.mean() == pytest.approx(float(light.mean()), rel=0.01)
