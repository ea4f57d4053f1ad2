from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from qc.measure._colour import science
from qc.reading import TileMap, Unit
from qc.sheet.zones import Zone
from qc.show.draw._scale import colours_at
from qc.show.draw.arrows import draw_arrows
from qc.show.draw.tiles import draw_tiles
from qc.show.palette import OKABE_ITO
from tests.show.pictures_of import CAPTION, coloured, digest_of

VALUES = np.linspace(0.0, 1.0, 24, dtype=np.float32).reshape(4, 6)


def body(drawing: np.ndarray) -> np.ndarray:
    """The picture of a drawing of a 1600 × 1067 capture: it starts under the caption, which no picture touches."""
    dark = (drawing[:, 40:-40] == 27).all(axis=(1, 2))
    rows = np.flatnonzero(~dark)
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    tallest = max(runs, key=len)
    return drawing[tallest[0] : tallest[0] + 1067, 24:-24]


def lab_of_srgb(colours: np.ndarray) -> np.ndarray:
    white = science().CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"]["D65"]
    return np.asarray(science().XYZ_to_Lab(science().sRGB_to_XYZ(colours), white))


def textured(seed: int = 1) -> np.ndarray:
    rng = np.random.default_rng(seed)
    return rng.integers(60, 200, (1067, 1600)).astype(np.uint8)


def tile_map(values: np.ndarray, angles: np.ndarray | None = None) -> TileMap:
    return TileMap(
        name="made.up", unit=Unit.PIXELS, values=values.astype(np.float32), low=0.0, high=1.0, angles=angles
    )


@pytest.mark.parametrize("bright", ["high", "low"])
def test_the_mean_colour_of_a_tile_is_that_of_the_bar(bright: str) -> None:
    digest = dataclasses.replace(digest_of(shape=(1067, 1600)), preview=textured())
    some = tile_map(VALUES)
    drawing = draw_tiles(digest, some, caption=CAPTION, bright="low" if bright == "low" else "high")
    picture = body(drawing)
    for row, column in np.ndindex(4, 6):
        inside = picture[267 * row + 10 : 267 * row + 255, 267 * column + 10 : 267 * column + 255]
        place = VALUES[row, column] if bright == "high" else 1 - VALUES[row, column]
        mean, expected = inside.mean(axis=(0, 1)) / 255, colours_at(np.array(place))
        lab = [lab_of_srgb(colours) for colours in (mean, expected)]
        assert float(science().delta_E(*lab, method="CIE 2000")) < 2


def test_the_picture_shows_through_a_map() -> None:
    digest = dataclasses.replace(digest_of(shape=(1067, 1600)), preview=textured())
    drawing = body(draw_tiles(digest, tile_map(np.full((4, 6), 0.5)), caption=CAPTION))
    relief = drawing[300:500, 300:500].astype(float).mean(axis=2)
    under = digest.preview[300:500, 300:500].astype(float)
    assert np.corrcoef(relief.ravel(), under.ravel())[0, 1] > 0.9


def test_tiles_without_a_value_stay_grey_picture() -> None:
    values = VALUES.copy()
    values[:, :3] = np.nan
    picture = body(draw_tiles(digest_of(shape=(1067, 1600)), tile_map(values), caption=CAPTION))
    assert not coloured(picture[:, :799]).any()
    assert coloured(picture[:, 801:]).mean() > 0.99


@pytest.mark.parametrize("values", [np.full((4, 6), np.nan), np.full((1, 1), 0.3), np.full((4, 6), np.inf)])
def test_a_map_of_nothing_or_of_one_value_can_be_drawn(values: np.ndarray) -> None:
    free = TileMap(name="made.up", unit=Unit.PIXELS, values=values.astype(np.float32))
    drawing = draw_tiles(digest_of(), free, caption=CAPTION)
    assert coloured(drawing[100:1000]).any() == np.isfinite(values).any()


@pytest.mark.parametrize("shape", [(64, 96), (96, 64), (13, 17), (96, 3)])
def test_every_tile_covers_its_own_part_of_the_picture(shape: tuple[int, int]) -> None:
    values = np.full(shape, np.nan)
    values[-1, -1] = 0.9
    picture = draw_tiles(digest_of(shape=(1067, 1600)), tile_map(values), caption=CAPTION)
    tinted = np.argwhere(coloured(body(picture)))
    edge = np.array((1067 * (1 - 1 / shape[0]), 1600 * (1 - 1 / shape[1])))
    assert np.abs(tinted.min(axis=0) - edge).max() <= 1
    assert tinted.max(axis=0).tolist() == [1066, 1599]


@pytest.mark.parametrize("angle", [0.0, 30.0, 90.0, 135.0])
def test_segments_lie_along_the_angle_as_seen(angle: float) -> None:
    values, angles = np.full((4, 6), 1.0), np.full((4, 6), angle, dtype=np.float32)
    picture = body(draw_arrows(digest_of(shape=(1067, 1600)), tile_map(values, angles), caption=CAPTION))
    blue = np.abs(picture.astype(int) - OKABE_ITO["sky blue"]).max(axis=2) < 20
    rows, columns = np.nonzero(blue[267:533, 267:533])
    spread = np.cov(np.stack([columns, -rows]))
    _, vectors = np.linalg.eigh(spread)
    seen = np.rad2deg(np.arctan2(vectors[1, 1], vectors[0, 1])) % 180
    assert (seen - angle + 90) % 180 - 90 == pytest.approx(0, abs=1.5)


def test_segments_are_longer_where_the_value_is_higher() -> None:
    values, angles = np.full((4, 6), 0.2), np.zeros((4, 6), dtype=np.float32)
    values[:, 3:] = 0.8
    picture = body(draw_arrows(digest_of(shape=(1067, 1600)), tile_map(values, angles), caption=CAPTION))
    blue = np.abs(picture.astype(int) - OKABE_ITO["sky blue"]).max(axis=2) < 20
    assert blue[:, 800:].sum() / blue[:, :800].sum() == pytest.approx(4, rel=0.15)


def test_fine_tiles_that_disagree_shorten_each_other() -> None:
    rng = np.random.default_rng(8)
    values = np.ones((64, 96))
    agreed = np.full((64, 96), 20.0, dtype=np.float32)
    mixed = rng.uniform(0, 180, (64, 96)).astype(np.float32)
    length = []
    for angles in (agreed, mixed):
        picture = body(draw_arrows(digest_of(shape=(1067, 1600)), tile_map(values, angles), caption=CAPTION))
        length.append(int((np.abs(picture.astype(int) - OKABE_ITO["sky blue"]).max(axis=2) < 20).sum()))
    assert length[1] < 0.6 * length[0]


def test_no_segment_where_value_or_angle_is_missing() -> None:
    values, angles = np.full((4, 6), 1.0), np.zeros((4, 6), dtype=np.float32)
    values[:2], angles[2:] = np.nan, np.nan
    picture = body(draw_arrows(digest_of(shape=(1067, 1600)), tile_map(values, angles), caption=CAPTION))
    assert not coloured(picture).any()


def test_a_map_without_angles_has_no_directions() -> None:
    with pytest.raises(ValueError, match="needs angles"):
        draw_arrows(digest_of(), tile_map(VALUES), caption=CAPTION)


@pytest.mark.parametrize("shape", [(1, 1), (1, 900), (900, 1), (3, 7)])
@pytest.mark.parametrize("tiles", [(1, 1), (4, 6), (64, 96)])
def test_pictures_of_any_shape_can_be_drawn(shape: tuple[int, int], tiles: tuple[int, int]) -> None:
    values = np.linspace(0, 1, tiles[0] * tiles[1]).reshape(tiles)
    some = tile_map(values, np.zeros(tiles, dtype=np.float32))
    digest = digest_of(shape=shape)
    zone = Zone.from_box("all", "sharp", (0, 0, 1, 1))
    for drawing in (
        draw_tiles(digest, some, caption=CAPTION, zones=[zone]),
        draw_arrows(digest, some, caption=CAPTION, zones=[zone]),
    ):
        assert drawing.dtype == np.uint8
        assert drawing.shape[1] >= 1000
        assert drawing.shape[2] == 3
