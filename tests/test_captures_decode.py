"""Every real capture opens to a frame or to one of our errors, and shows what is known of it (MANIFEST.csv)."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from qc.decode import MosaicHint, open_frame
from qc.decode.with_flashraw import installed
from qc.errors import CaptureError
from qc.frame import Frame

HINT = MosaicHint(cfa="GRBG")
REFUSED = {
    "action_hero6.gpr": "unsupported",
    "trunc128.nef": "truncated",
    "trunc_leica_m10.dng": "truncated",
    "trunc_r6.cr3": "truncated",
}
DECODERS = ["rawpy", *(["auto"] if installed() else [])]


def opened(captures: Path, name: str, decoder: str = "auto") -> Frame:
    return open_frame(captures / name, decoder=decoder, mosaic=HINT if name.startswith("mv_") else None)


def share(frame: Frame) -> tuple[float, float]:
    """Clipped photosites, % of them, and cells with any, % of cells."""
    cells = (frame.clip.sum(axis=0) > 0).mean()
    return 100 * float(frame.clip.sum()) / (frame.width * frame.height), 100 * float(cells)


def finding(frame: Frame, code: str) -> bool:
    return any(f.code == code for f in frame.findings)


@pytest.mark.parametrize("decoder", DECODERS)
def test_every_capture_is_a_frame_or_a_named_refusal(captures: Path, decoder: str) -> None:
    with (captures / "MANIFEST.csv").open(newline="") as file:
        names = [row["file"] for row in csv.DictReader(file)]
    assert len(names) > 40
    states: dict[str, str] = {}
    texts: dict[str, str] = {}
    for name in names:
        try:
            frame = opened(captures, name, decoder)
        except CaptureError as error:
            states[name], texts[name] = error.state, str(error)
            continue
        assert np.isfinite(frame.cells).all(), name
        assert frame.clip.shape[0] == frame.cells.shape[0] == len(frame.colours), name
        json.dumps([dict(f.data) for f in frame.findings], allow_nan=False)
        assert not any(type(v).__module__ == "numpy" for f in frame.findings for v in f.data.values()), name
        codes = [f.code for f in frame.findings]
        assert len(codes) == len(set(codes)), name
    assert states == REFUSED
    assert all(name in text and "\n" not in text for name, text in texts.items())


@pytest.mark.parametrize("decoder", DECODERS)
@pytest.mark.parametrize(
    ("name", "kind", "size", "orientation"),
    [
        ("chart_dslr14.dng", "mosaic", (1734, 1156), 1),
        ("cinema_gbrg_ljpeg.dng", "mosaic", (1952, 1112), 1),
        ("linear_lossy_dark.dng", "linear", (600, 400), 1),
        ("ps_s40_0119.crw", "mosaic", (2312, 1720), 1),
        ("k120_08.kdc", "mosaic", (848, 976), 1),
        ("mv_chart_550nm_25ms.tif", "mosaic", (408, 342), 1),
        ("jpg_flash_g2.jpg", "rendered", (2272, 1704), 1),
        ("jpg_rot6_5d3.jpg", "rendered", (2880, 1920), 6),
        ("orient_l8.jpg", "rendered", (1200, 1800), 8),
    ],
)
def test_kind_size_and_orientation(
    captures: Path, decoder: str, name: str, kind: str, size: tuple[int, int], orientation: int
) -> None:
    frame = opened(captures, name, decoder)
    assert (frame.kind, (frame.width, frame.height), frame.orientation) == (kind, size, orientation)


@pytest.mark.parametrize("decoder", DECODERS)
def test_truly_clipped_areas_are_counted(captures: Path, decoder: str) -> None:
    frame = opened(captures, "ps_s40_0119.crw", decoder)
    assert frame.mosaic is not None
    assert int((frame.mosaic >= 1023).sum()) == 42_566
    assert [round(value, 2) for value in share(frame)] == [1.07, 2.22]
    assert [(s.level, s.source) for s in frame.saturation] == [(1023.0, "tag")] * 3


def test_two_hot_photosites_are_no_highlight(captures: Path) -> None:
    frame = opened(captures, "ps_s40_0117.crw")
    assert frame.mosaic is not None
    assert int((frame.mosaic >= 1023).sum()) == 2
    assert not frame.clip.any()
    assert finding(frame, "nothing_saturates")


@pytest.mark.parametrize("name", ["ps_g2_0304.crw", "ps_s40_0101.crw", "k50_0010S.kdc", "cinema_gbrg_ljpeg.dng"])
def test_nothing_clipped_is_said(captures: Path, name: str) -> None:
    frame = opened(captures, name)
    assert not frame.clip.any()
    assert finding(frame, "nothing_saturates")


def test_a_clipped_chart_has_its_photosites_at_the_maximum(captures: Path) -> None:
    frame = opened(captures, "k50_0008L.kdc")
    assert frame.mosaic is not None
    assert int((frame.mosaic == 16383).sum()) == 2094
    # 79 of them stand alone in dimmer light: glints and defects of one photosite
    assert int(frame.clip.sum()) == 2015


def test_a_picture_with_burnt_flash_has_its_share_at_the_top_code(captures: Path) -> None:
    assert round(share(opened(captures, "jpg_flash_g2.jpg"))[1], 2) == 12.87


@pytest.mark.parametrize("decoder", DECODERS)
def test_the_masked_border_is_darker_than_the_tag(captures: Path, decoder: str) -> None:
    frame = opened(captures, "chart_dslr14.dng", decoder)
    said = next(f for f in frame.findings if f.code == "black_differs")
    assert frame.black.source == "masked pixels"
    assert said.data["tag"] == 2056.0
    # 2049 over the whole left border; less its leaking edges, and with the border above, 2046.8 ± 0.9
    assert said.data["measured"] == pytest.approx(2049.0, abs=3.0)
    assert 0.5 < frame.black.uncertainty < 2.0
    assert frame.scale == pytest.approx(15000.0 - said.data["measured"])


def test_masked_borders_agree_with_a_tag_that_is_right(captures: Path) -> None:
    frame = opened(captures, "ps_s40_0101.crw", "rawpy")
    assert frame.black.source == "masked pixels"
    assert np.abs(frame.black.array() - 32.0).max() < 0.15


def test_photosites_that_are_not_square_say_so(captures: Path) -> None:
    assert opened(captures, "k120_08.kdc").pixel_aspect == pytest.approx(1.5346, abs=1e-4)


@pytest.mark.parametrize("name", ["k120_08.kdc", "k50_0008L.kdc", "kodak_dc50.kdc"])
def test_files_without_a_matrix_or_balance_say_so(captures: Path, name: str) -> None:
    frame = opened(captures, name)
    assert frame.colour.reason is not None
    assert frame.colour.reason.code == "no_colour_matrix"
    assert frame.colour.neutral is None
    assert frame.black.source == "none"


@pytest.mark.parametrize("decoder", DECODERS)
def test_settings_of_an_old_raw_come_from_the_decoder(captures: Path, decoder: str) -> None:
    camera = opened(captures, "ps_s40_0119.crw", decoder).camera
    assert camera.iso == 50.0
    assert camera.shutter_s == pytest.approx(1 / 60, rel=0.01)
    assert camera.aperture == pytest.approx(2.8, abs=0.01)
    assert camera.taken == "2021-03-26T21:18:06"


def test_darkness_cut_off_at_zero_is_said(captures: Path) -> None:
    assert finding(opened(captures, "mv_dark_25ms_3.tif"), "black_clipped")
    assert finding(opened(captures, "mv_chart_550nm_25ms.tif"), "black_clipped")


def test_white_that_is_never_reached_is_no_scale_of_light(captures: Path) -> None:
    frame = opened(captures, "cinema_gbrg_ljpeg.dng")
    assert frame.scale == 51080.0 - 256.0
    assert float(frame.cells.max()) < 0.5
