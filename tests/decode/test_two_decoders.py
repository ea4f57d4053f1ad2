"""Both raw decoders hand over the same capture, bit for bit, on every raw that both read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode.decoded import Decoded
from qc.decode.with_flashraw import WithFlashraw, installed
from qc.decode.with_rawpy import WithRawpy
from qc.errors import CaptureError
from qc.frame import Cfa
from qc.rehearse.dng import MONOCHROME, XTRANS, encode_dng

pytestmark = pytest.mark.skipif(not installed(), reason="flashraw (extra fast) is not installed")

MATRIX = ((0.7, -0.2, -0.05), (-0.4, 1.2, 0.2), (-0.05, 0.2, 0.6))
WARM = ((0.8, -0.3, 0.0), (-0.3, 1.1, 0.2), (0.0, 0.2, 0.5))
COLOURED = {"matrices": ((21, MATRIX), (17, WARM)), "neutral": (0.5, 1.0, 0.7)}
RGBE = Cfa(pattern=((0, 1), (3, 2)), colours="RGBE")


def noise(*shape: int, top: int = 16383) -> NDArray[np.uint16]:
    return np.random.default_rng(5).integers(400, top, shape, dtype=np.uint16, endpoint=True)


SIMULATED = [
    pytest.param(noise(96, 130), {"cfa": "RGGB"} | COLOURED, id="RGGB"),
    pytest.param(noise(96, 130), {"cfa": "BGGR"} | COLOURED, id="BGGR"),
    pytest.param(noise(96, 130), {"cfa": "GRBG"} | COLOURED, id="GRBG"),
    pytest.param(noise(96, 130), {"cfa": "GBRG"} | COLOURED, id="GBRG"),
    pytest.param(noise(95, 131), COLOURED, id="odd sides"),
    pytest.param(noise(520, 514), {"cfa": XTRANS} | COLOURED, id="X-Trans"),
    pytest.param(noise(96, 130), {"cfa": MONOCHROME}, id="monochrome"),
    pytest.param(noise(96, 130), {"cfa": RGBE}, id="four colours"),
    pytest.param(noise(96, 130, 3), {"linear": True} | COLOURED, id="linear"),
    pytest.param(noise(96, 130), {"black": np.arange(16.0).reshape(4, 4) + 500.25} | COLOURED, id="black repeat"),
    pytest.param(noise(96, 130), {"black_columns": np.tile([0.0, 50.0], 65)} | COLOURED, id="black by column"),
    pytest.param(
        noise(120, 140), {"visible": (16, 24, 100, 110), "masked": ((0, 0, 120, 20),)} | COLOURED, id="margins"
    ),
    pytest.param(noise(120, 140), {"visible": (15, 23, 100, 110)} | COLOURED, id="odd active area"),
    pytest.param(noise(520, 530), {"cfa": XTRANS, "visible": (8, 4, 500, 520)} | COLOURED, id="X-Trans margins"),
    pytest.param(noise(96, 130), {"orientation": 6} | COLOURED, id="turned"),
    pytest.param(noise(96, 130), {}, id="no matrix, no balance"),
]


def same(a: Decoded, b: Decoded) -> None:
    assert np.array_equal(a.data, b.data)
    assert a.data.dtype == b.data.dtype == np.uint16
    for name in ("kind", "visible", "cfa", "colours", "white", "orientation", "pixel_aspect", "lossy"):
        assert getattr(a, name) == getattr(b, name), name
    assert a.masked == b.masked


def same_tags(a: Decoded, b: Decoded) -> None:
    same(a, b)
    assert a.black_tagged == b.black_tagged
    assert np.array_equal(a.black, b.black)
    assert a.colour.calibrations == b.colour.calibrations
    assert a.colour.reason == b.colour.reason
    assert (a.colour.neutral is None) == (b.colour.neutral is None)
    for one, other in ((a.black_rows, b.black_rows), (a.black_columns, b.black_columns)):
        assert (one is None) == (other is None)
        assert one is None or other is None or np.array_equal(one, other)


@pytest.mark.parametrize("compression", ["none", "ljpeg"])
@pytest.mark.parametrize(("mosaic", "how"), SIMULATED)
def test_simulated_raws_decode_alike(mosaic: NDArray[np.uint16], how: dict[str, object], compression: str) -> None:
    options = {"white": 16383, "black": 512.0, "compression": compression} | how
    data = encode_dng(mosaic, **options)  # type: ignore[arg-type]  # options are put together by the case
    by_rawpy, by_flashraw = WithRawpy().read(data, "x.dng"), WithFlashraw().read(data, "x.dng")
    same_tags(by_rawpy, by_flashraw)
    assert np.array_equal(by_rawpy.data.squeeze(), mosaic)


def test_every_raw_capture_that_both_read_decodes_alike(captures: Path) -> None:
    alike = []
    for path in sorted(captures.iterdir()):
        if path.suffix in (".jpg", ".tif", ".csv"):
            continue
        data = path.read_bytes()
        try:
            pair = WithRawpy().read(data, path.name), WithFlashraw().read(data, path.name)
        except CaptureError:
            continue
        same(*pair)
        alike.append(path.name)
    assert alike == [
        "chart_dslr14.dng",
        "cinema_gbrg_ljpeg.dng",
        "k120_08.kdc",
        "k50_0008L.kdc",
        "k50_0010S.kdc",
        "kodak_dc50.kdc",
        "ps_g2_0304.crw",
        "ps_s40_0101.crw",
        "ps_s40_0117.crw",
        "ps_s40_0119.crw",
    ]


@pytest.mark.parametrize("decoder", [WithRawpy(), WithFlashraw()])
def test_an_odd_active_area_keeps_the_phase_of_its_pattern(decoder: WithRawpy | WithFlashraw) -> None:
    mosaic = noise(120, 140)
    mosaic[15::2, 23::2] = 16000  # red, by the tag's own origin
    data = encode_dng(mosaic, white=16383, visible=(15, 23, 100, 110), cfa="RGGB")
    decoded = decoder.read(data, "x.dng")
    assert decoded.cfa is not None
    row, column, rows, columns = decoded.visible
    seen = decoded.data[row : row + rows, column : column + columns]
    index = np.tile(decoded.cfa.array(), (rows, columns))[:rows, :columns]
    assert np.all(seen[index == 0] == 16000)


@pytest.mark.parametrize("decoder", [WithRawpy(), WithFlashraw()])
def test_what_is_handed_over_does_not_depend_on_the_next_file(decoder: WithRawpy | WithFlashraw) -> None:
    first = decoder.read(encode_dng(noise(96, 130), white=16383), "a.dng")
    before = first.data.copy()
    decoder.read(encode_dng(np.zeros((96, 130), np.uint16), white=16383), "b.dng")
    assert np.array_equal(first.data, before)
