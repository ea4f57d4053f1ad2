"""DNG 1.7.1.0, chapter 5 (mapping raw values to linear reference values) and LibRaw's published behaviour.

Chapter 5: (1) LinearizationTable, (2) subtract BlackLevel + DeltaH + DeltaV, the pattern's origin at the top-left
of ActiveArea, (3) scale by 1/(WhiteLevel − black), (4) negatives are better preserved. The oracle with LibRaw
(rawpy 0.28, LibRaw 0.22.2): a flat neutral mosaic at 0.30 of range develops to 0.30 within 1e-4.
"""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import rawpy

from qc.decode import open_frame
from qc.decode.with_flashraw import installed
from qc.rehearse.dng import encode_dng, write_dng

MATRIX = ((0.7, -0.2, -0.05), (-0.4, 1.2, 0.2), (-0.05, 0.2, 0.6))
DECODERS = ["rawpy", *(["flashraw"] if installed() else [])]
ROWS, COLUMNS = 96, 130


def dithered(level: float) -> np.ndarray[tuple[int, int], np.dtype[np.uint16]]:
    """Return a mosaic whose mean is `level` and that is nowhere constant."""
    steps = np.random.default_rng(1).permuted(np.tile([-2, -1, 0, 1, 2], ROWS * COLUMNS // 5))
    values = np.rint(level + steps).astype(np.uint16)
    return values.reshape(ROWS, COLUMNS)


@pytest.mark.parametrize("decoder", DECODERS)
def test_black_subtraction_and_scaling_follow_chapter_5(decoder: str, tmp_path: Path) -> None:
    # 0.30 of a range from 512 to 16383
    path = write_dng(tmp_path / "a.dng", dithered(512 + 0.30 * 15871), white=16383, black=512.0)
    frame = open_frame(path, decoder=decoder)
    assert frame.scale == 15871.0
    assert frame.cells.mean(axis=(1, 2)) == pytest.approx([0.30] * 3, abs=1e-4)


def test_libraws_own_linear_path_agrees(tmp_path: Path) -> None:
    mosaic = dithered(512 + 0.30 * 15871)
    balance = (0.5, 1.0, 1 / 1.5)
    light = mosaic.astype(np.float64) - 512
    light[0::2, 0::2] *= balance[0]
    light[1::2, 1::2] *= balance[2]
    seen = np.rint(light + 512).astype(np.uint16)
    data = encode_dng(seen, white=16383, black=512.0, matrices=((21, MATRIX),), neutral=balance)
    with rawpy.imread(io.BytesIO(data)) as raw:
        picture = raw.postprocess(
            use_camera_wb=True,
            no_auto_bright=True,
            gamma=(1, 1),
            output_bps=16,
            output_color=rawpy.ColorSpace.raw,
            adjust_maximum_thr=0,
            user_flip=0,
        )
    path = tmp_path / "a.dng"
    path.write_bytes(data)
    frame = open_frame(path)
    assert frame.colour.neutral is not None
    balanced = frame.cells.mean(axis=(1, 2)) / np.array(frame.colour.neutral)
    assert balanced == pytest.approx([0.30] * 3, abs=1e-3)
    assert picture.mean(axis=(0, 1)) / 65535 == pytest.approx(balanced, abs=1e-3)


@pytest.mark.parametrize("decoder", DECODERS)
def test_a_rational_black_is_not_truncated(decoder: str, tmp_path: Path) -> None:
    # LibRaw's own black_level_per_channel is a whole number, which would lose the three quarters
    path = write_dng(tmp_path / "a.dng", dithered(1000), white=16383, black=512.75)
    assert open_frame(path, decoder=decoder).black.array() == pytest.approx(512.75)


@pytest.mark.parametrize("decoder", DECODERS)
def test_a_black_pattern_starts_at_the_active_area(decoder: str, tmp_path: Path) -> None:
    black = np.array([[500.0, 512.0], [520.0, 530.0]])
    mosaic = dithered(3000)
    mosaic[15 : 15 + 60, 23 : 23 + 80] = np.tile(black, (30, 40)) + 2000 + np.arange(80) % 3
    path = write_dng(tmp_path / "a.dng", mosaic, white=16383, black=black, visible=(15, 23, 60, 80))
    frame = open_frame(path, decoder=decoder)
    light = frame.cells * frame.scale
    assert light.min() >= 2000 - 1e-2
    assert light.max() <= 2002 + 1e-2


@pytest.mark.parametrize("decoder", DECODERS)
def test_deltas_by_column_and_row_are_part_of_black(decoder: str, tmp_path: Path) -> None:
    by_column, by_row = np.tile([0.0, 50.0], COLUMNS // 2), np.linspace(0, 20, ROWS).round()
    mosaic = (dithered(1512) + by_column + by_row[:, np.newaxis]).astype(np.uint16)
    path = write_dng(
        tmp_path / "a.dng", mosaic, white=16383, black=512.0, black_columns=by_column, black_rows=by_row
    )
    frame = open_frame(path, decoder=decoder)
    assert frame.cells.mean(axis=(1, 2)) * frame.scale == pytest.approx([1000.0] * 3, abs=0.2)
    assert np.abs(frame.cells * frame.scale - 1000.0).max() < 2.1


@pytest.mark.parametrize("decoder", DECODERS)
def test_a_linearisation_table_is_applied_before_black(decoder: str, tmp_path: Path) -> None:
    table = np.minimum(65535, np.arange(4096.0) ** 1.2).astype(np.uint16)
    path = write_dng(tmp_path / "a.dng", dithered(1500), white=int(table[-1]), black=256.0, linearisation=table)
    frame = open_frame(path, decoder=decoder)
    expected = float(table[dithered(1500)].mean()) - 256.0
    assert frame.cells.mean() * frame.scale == pytest.approx(expected, abs=1.0)


@pytest.mark.parametrize("decoder", DECODERS)
def test_values_over_the_white_tag_are_kept_and_count_as_clipped(decoder: str, tmp_path: Path) -> None:
    mosaic = dithered(3000)
    mosaic[40:60, 40:60] = 16383
    frame = open_frame(write_dng(tmp_path / "a.dng", mosaic, white=15000, black=512.0), decoder=decoder)
    assert float(frame.cells.max()) > 1.0
    assert int(frame.clip.sum()) == 400


@pytest.mark.parametrize("decoder", DECODERS)
def test_values_under_black_stay_negative(decoder: str, tmp_path: Path) -> None:
    path = write_dng(tmp_path / "a.dng", dithered(500), white=16383, black=512.0)
    assert open_frame(path, decoder=decoder).cells.mean() * 15871 == pytest.approx(-12.0, abs=0.1)
