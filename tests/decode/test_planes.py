"""Cells are means of the light of their photosites; clip counts photosites, whatever the pattern."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_linear, frame_from_mosaic, frame_from_rendered
from qc.decode.decoded import Decoded
from qc.decode.develop import develop
from qc.decode.planes import cell_side, mosaic_cells, mosaic_clip
from qc.frame import Cfa
from qc.rehearse.dng import XTRANS

MONO = Cfa(pattern=((0,),), colours="L")
GMCY = Cfa(pattern=((0, 1), (2, 3)), colours="GMCY")
SHIFTED = Cfa(pattern=((0, 1), (2, 3), (1, 0), (3, 2)), colours="GMCY")
PATTERNS = [*BAYER.values(), MONO, GMCY, SHIFTED, XTRANS]
IDS = [*BAYER, "mono", "GMCY", "GMCY four rows", "X-Trans"]


def noise(rows: int, columns: int) -> NDArray[np.uint16]:
    return np.random.default_rng(1).integers(300, 16383, (rows, columns), dtype=np.uint16)


def index_of(cfa: Cfa, shape: tuple[int, int]) -> NDArray[np.intp]:
    return np.tile(cfa.array(), (-(-shape[0] // cfa.shape[0]), -(-shape[1] // cfa.shape[1])))[
        : shape[0], : shape[1]
    ]


@pytest.mark.parametrize("cfa", PATTERNS, ids=IDS)
@pytest.mark.parametrize("shape", [(48, 60), (601, 47), (12, 13)])
def test_cells_are_the_means_of_each_colour(cfa: Cfa, shape: tuple[int, int]) -> None:
    mosaic = noise(*shape)
    black = 500.0 + np.arange(np.prod(cfa.shape), dtype=np.float64).reshape(cfa.shape)
    side, index = cell_side(cfa), index_of(cfa, shape)
    cells = mosaic_cells(mosaic, cfa, black, 15871.0)
    light = (mosaic - index_of(Cfa(pattern=cfa.pattern), shape) * 0.0) - np.tile(black, shape)[
        : shape[0], : shape[1]
    ]
    rows, columns = shape[0] // side, shape[1] // side
    for colour in range(len(cfa.colours)):
        for y, x in [(0, 0), (rows - 1, columns - 1), (rows // 2, columns // 3)]:
            part = (slice(y * side, (y + 1) * side), slice(x * side, (x + 1) * side))
            expected = light[part][index[part] == colour].mean() / 15871.0
            assert cells[colour, y, x] == pytest.approx(expected, abs=2e-6)
    assert cells.shape == (len(cfa.colours), rows, columns)


@pytest.mark.parametrize("cfa", PATTERNS, ids=IDS)
def test_clip_counts_photosites_of_each_colour_in_blocks_of_two(cfa: Cfa) -> None:
    over = (np.random.default_rng(2).random((601, 38)) < 0.1).astype(np.uint8)
    index = index_of(cfa, over.shape)
    clip = mosaic_clip(over, cfa)
    assert clip.shape == (len(cfa.colours), 300, 19)
    for colour in range(len(cfa.colours)):
        mine = np.where(index == colour, over, 0)[:600, :38].reshape(300, 2, 19, 2).sum(axis=(1, 3))
        assert np.array_equal(clip[colour], mine)


def test_black_of_a_larger_repeat_is_taken_off_position_by_position() -> None:
    black = np.arange(16.0).reshape(4, 4) * 10 + 500
    mosaic = np.tile(black, (25, 30)).astype(np.uint16) + 1000
    frame = frame_from_mosaic(mosaic, black=black, white=16383.0)
    assert np.allclose(frame.cells * frame.scale, 1000.0, atol=0.01)
    assert frame.black.array().shape == (4, 4)


def test_black_by_row_and_column_is_taken_off() -> None:
    by_row, by_column = np.arange(40.0), np.tile([0.0, 50.0], 30)
    mosaic = (1000 + 512 + by_row[:, np.newaxis] + by_column).astype(np.uint16)
    decoded = Decoded(
        kind="mosaic",
        data=mosaic,
        visible=(0, 0, 40, 60),
        cfa=BAYER["RGGB"],
        colours="RGB",
        black=np.full((2, 2), 512.0),
        black_rows=by_row,
        black_columns=by_column,
        white=16383.0,
    )
    frame = develop(decoded)
    assert np.allclose(frame.cells * frame.scale, 1000.0, atol=0.01)


def test_light_under_black_stays_negative() -> None:
    frame = frame_from_mosaic(np.full((20, 20), 500, np.uint16), black=512.0, white=16383.0)
    assert np.all(frame.cells < 0)


def test_saturation_never_scales_light() -> None:
    mosaic = noise(200, 200)
    low, high = mosaic.copy(), mosaic.copy()
    low[:100], high[:100] = 12000, 16383
    a, b = (frame_from_mosaic(m, black=512.0, white=16383.0) for m in (low, high))
    assert a.scale == b.scale
    assert np.array_equal(a.cells[:, 60:], b.cells[:, 60:])


def test_a_callers_array_is_neither_frozen_nor_shared() -> None:
    mosaic = noise(20, 20)
    frame = frame_from_mosaic(mosaic, white=16383.0)
    assert frame.mosaic is not None
    assert not np.shares_memory(frame.mosaic, mosaic)
    assert mosaic.flags.writeable


@pytest.mark.parametrize("shape", [(0, 4), (1, 1), (1, 7), (2, 2), (5, 1), (7, 7)])
@pytest.mark.parametrize("cfa", PATTERNS, ids=IDS)
@pytest.mark.parametrize("value", [0, 512, 16383, 65535])
def test_tiny_frames_have_tiny_planes(shape: tuple[int, int], cfa: Cfa, value: int) -> None:
    frame = frame_from_mosaic(np.full(shape, value, np.uint16), cfa=cfa, black=512.0, white=16383.0)
    side = cell_side(cfa)
    assert frame.cells.shape[1:] == (shape[0] // side, shape[1] // side)
    assert np.all(np.isfinite(frame.cells))
    assert not frame.noise.known


def test_linear_files_clip_by_pixel_and_average_by_two() -> None:
    pixels = np.full((40, 60, 3), 600, np.uint16)
    pixels[10:20, 10:20, 1] = 4095
    frame = frame_from_linear(pixels, black=(100.0), white=4095.0)
    assert frame.clip.shape == (3, 40, 60)
    assert (int(frame.clip[0].sum()), int(frame.clip[1].sum()), int(frame.clip[2].sum())) == (0, 100, 0)
    assert np.allclose(frame.cells[0], 500 / 3995)
    assert frame.pixels is not None
    assert frame.pixels.shape == (3, 40, 60)
    assert frame.noise.reason is not None
    assert frame.noise.reason.code == "wrong_kind"


def test_rendered_pictures_clip_at_their_top_code() -> None:
    light = np.full((40, 60, 3), 0.25)
    light[:4, :5, 2] = 1.0
    frame = frame_from_rendered(light)
    assert int(frame.clip.sum()) == int(frame.clip[2].sum()) == 20
    assert [s.source for s in frame.saturation] == ["top code"] * 3
    told = frame_from_rendered(light, top_code=np.zeros(light.shape, bool))
    assert not told.clip.any()


def test_grey_pictures_have_one_plane() -> None:
    frame = frame_from_rendered(np.full((8, 8, 1), 0.5))
    assert (frame.colours, frame.cells.shape) == ("L", (1, 4, 4))
