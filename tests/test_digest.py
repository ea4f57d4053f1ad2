from __future__ import annotations

import dataclasses
import io
import pickle
import zlib
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from qc._preview import LONG_SIDE, MOST_LIFT
from qc.digest import STORED_LIMIT, VERSION, Digest, make_digest
from qc.errors import UsageError
from qc.frame import Black, Colour, Frame, Noise
from qc.measure._colour import science
from qc.measure._tiles import grid, tile_means
from qc.reading import Measured, Reading, Region, TileMap, Unit

CORNERS = {1: (0, 0), 2: (0, -1), 3: (-1, -1), 4: (-1, 0), 5: (0, 0), 6: (0, -1), 7: (-1, -1), 8: (-1, 0)}
"""Where the corner of the first stored row and column is seen: Exif 2.32, tag 274, "the 0th row is at the visual
top (bottom, left, right) and the 0th column at the visual left (right, top, bottom)"."""


def frame_of(cells: NDArray[np.floating[Any]], **facts: Any) -> Frame:
    cells = np.asarray(cells, dtype=np.float32)
    defaults: dict[str, Any] = {
        "kind": "mosaic",
        "colours": "RGB"[: len(cells)] if len(cells) > 1 else "L",
        "height": cells.shape[1] * 2,
        "width": cells.shape[2] * 2,
        "black": Black(levels=((0.0,),), source="tag", uncertainty=0.5),
        "scale": 1000.0,
        "saturation": (),
        "cell": 2,
        "cells": cells,
        "clip_cell": 2,
        "clip": np.zeros(cells.shape, dtype=np.uint8),
        "noise": Noise(),
        "colour": Colour(),
    }
    return Frame(**defaults | facts)


def ragged(corners: int) -> tuple[tuple[float, float], ...]:
    """A closed outline whose every corner a preview can show."""
    turn = np.linspace(0, 2 * np.pi, corners, endpoint=False)
    radius = np.where(np.arange(corners) % 2, 0.2, 0.45)
    return tuple(zip((0.5 + radius * np.cos(turn)).tolist(), (0.5 + radius * np.sin(turn)).tolist(), strict=True))


@pytest.fixture(scope="module")
def full() -> Digest:
    """A digest with everything in it, of a frame full of noise: the hardest to compress."""
    rng = np.random.default_rng(5)
    frame = frame_of(rng.random((3, 1067, 1600)))
    values = rng.random((64, 96)).astype(np.float32)
    values[:5] = np.nan
    maps = [TileMap(name=f"made.up_{n}", unit=Unit.DELTA_E, values=values, low=0.0) for n in range(8)]
    maps.append(TileMap(name="made.way", unit=Unit.PIXELS, values=values, drawing="arrows", angles=values * 180))
    regions = tuple(
        Region(what="clipped", box=(0.1, 0.1, 0.5, 0.5), area=1.5, colours="RG", zone="label", outline=ragged(999))
        for _ in range(40)
    )
    reading = Reading(name="made.up_0", unit=Unit.PERCENT, value=1.0)
    return make_digest(frame, [Measured(readings=(reading,), regions=regions, maps=tuple(maps))])


def test_a_digest_comes_back_from_its_stored_form(full: Digest) -> None:
    back = Digest.from_bytes(full.to_bytes())
    for name in ("colours", "full_size", "lift", "region_readings"):
        assert getattr(back, name) == getattr(full, name)
    assert np.array_equal(back.tile_means, full.tile_means)
    for ours, theirs in zip(back.maps, full.maps, strict=True):
        assert (ours.name, ours.unit, ours.drawing, ours.low, ours.high) == (
            theirs.name,
            theirs.unit,
            theirs.drawing,
            theirs.low,
            theirs.high,
        )
        np.testing.assert_allclose(ours.values, theirs.values, rtol=2**-11, atol=1e-7)
        assert (ours.angles is None) == (theirs.angles is None)
        if ours.angles is not None and theirs.angles is not None:
            np.testing.assert_allclose(ours.angles, theirs.angles, rtol=2**-11, atol=1e-4)
    for got, region in zip(back.regions, full.regions, strict=True):
        assert dataclasses.replace(got, outline=()) == dataclasses.replace(region, outline=())
        np.testing.assert_allclose(got.outline, region.outline, atol=1e-6)


def test_a_preview_comes_back_nearly_the_same() -> None:
    smooth = np.linspace(0.0, 0.9, 600 * 400).reshape(1, 400, 600)
    digest = make_digest(frame_of(smooth), [])
    back = Digest.from_bytes(digest.to_bytes())
    assert np.abs(back.preview.astype(int) - digest.preview).max() <= 4


def test_the_stored_form_stays_under_its_limit_for_a_frame_full_of_noise(full: Digest) -> None:
    assert full.preview.shape == (1067, LONG_SIDE)
    assert len(full.to_bytes()) < STORED_LIMIT


def test_values_that_half_precision_would_spoil_are_stored_whole() -> None:
    values = np.array([[1e-7, 70000.0], [5000.3, np.nan]], dtype=np.float32)
    tile_map = TileMap(name="made.up", unit=Unit.KELVIN, values=values)
    digest = make_digest(frame_of(np.ones((3, 8, 8))), [Measured(maps=(tile_map,))])
    assert np.array_equal(Digest.from_bytes(digest.to_bytes()).maps[0].values, values, equal_nan=True)


def test_a_digest_without_maps_and_regions_comes_back() -> None:
    digest = make_digest(frame_of(np.full((3, 30, 40), 0.3)), [])
    back = Digest.from_bytes(digest.to_bytes())
    assert (back.maps, back.regions, back.region_readings) == ((), (), ())


def test_an_unknown_version_is_refused_by_its_number() -> None:
    stored = make_digest(frame_of(np.ones((3, 8, 8))), []).to_bytes()
    newer = stored.replace(f"/{VERSION}\n".encode(), b"/77\n", 1)
    with pytest.raises(UsageError, match="version 77: only version 1"):
        Digest.from_bytes(newer)


@pytest.mark.parametrize(
    "stored", [b"", b"\n", b"PK\x03\x04", b"qc.digest/", b"qc.digest/x\nPK", b"\x89PNG\r\n\x1a\n"]
)
def test_what_is_not_a_digest_is_refused(stored: bytes) -> None:
    with pytest.raises(UsageError, match="not a digest"):
        Digest.from_bytes(stored)


def test_damage_is_refused() -> None:
    stored = make_digest(frame_of(np.full((3, 30, 40), 0.3)), []).to_bytes()
    rng = np.random.default_rng(2)
    for cut in range(12, len(stored), 61):
        with pytest.raises(UsageError, match="damaged digest"):
            Digest.from_bytes(stored[:cut])
    for place in rng.integers(12, len(stored), 100).tolist():
        changed = bytearray(stored)
        changed[place] ^= int(rng.integers(1, 256))
        with pytest.raises(UsageError, match="damaged digest"):
            Digest.from_bytes(bytes(changed))


def test_a_digest_of_this_version_that_lacks_its_parts_is_refused() -> None:
    buffer = io.BytesIO()
    np.savez(buffer, header=np.frombuffer(b"{}", dtype=np.uint8))
    archive = buffer.getvalue()
    with pytest.raises(UsageError, match="damaged digest"):
        Digest.from_bytes(f"qc.digest/{VERSION}\n".encode() + zlib.crc32(archive).to_bytes(4) + archive)


def test_a_digest_can_leave_a_worker(full: Digest) -> None:
    assert pickle.loads(pickle.dumps(full)).full_size == full.full_size


@pytest.mark.parametrize("orientation", range(1, 9))
def test_a_marked_corner_stays_in_its_corner(orientation: int) -> None:
    cells = np.full((3, 64, 96), 0.02)
    cells[:, :8, :8] = 0.9
    values = np.zeros((8, 12), dtype=np.float32)
    values[0, 0] = 1.0
    tile_map = TileMap(name="made.up", unit=Unit.STOPS, values=values, angles=values)
    digest = make_digest(frame_of(cells, orientation=orientation), [Measured(maps=(tile_map,))])
    width, height = digest.full_size
    for plane in (digest.preview, *digest.tile_means, digest.maps[0].values):
        bright = np.argwhere(plane == plane.max())
        row, column = CORNERS[orientation]
        corner = (row % plane.shape[0], column % plane.shape[1])
        assert (np.abs(bright - corner).max(axis=0) <= np.array(plane.shape) // 8).all()
        assert tuple(corner) in map(tuple, bright)
        assert (plane.shape[1] > plane.shape[0]) == (width > height)


@pytest.mark.parametrize(
    ("orientation", "seen"), [(1, 30), (2, 150), (3, 30), (4, 150), (5, 60), (6, 120), (7, 60), (8, 120)]
)
def test_directions_turn_with_the_picture(orientation: int, seen: float) -> None:
    """By the turns and mirrorings that Exif 2.32, tag 274, asks for, done to a line of 30° by hand."""
    values = np.ones((2, 3), dtype=np.float32)
    angles = np.full((2, 3), 30.0, dtype=np.float32)
    angles[0, 0] = np.nan
    tile_map = TileMap(name="made.up", unit=Unit.PIXELS, values=values, angles=angles, drawing="arrows")
    turned = make_digest(frame_of(np.ones((3, 8, 12)), orientation=orientation), [Measured(maps=(tile_map,))])
    got = turned.maps[0].angles
    assert got is not None
    assert np.isnan(got).sum() == 1
    assert got[np.isfinite(got)] == pytest.approx(seen, abs=1e-3)


def test_tile_means_are_those_of_the_cells() -> None:
    cells = np.random.default_rng(3).random((3, 200, 301)).astype(np.float32)
    digest = make_digest(frame_of(cells), [])
    expected = [tile_means(plane, grid((200, 301))) for plane in cells]
    assert np.array_equal(digest.tile_means, expected)


def test_the_tone_of_a_lit_frame_is_srgb() -> None:
    """IEC 61966-2-1 as colour-science has it."""
    light = np.linspace(0.0, 1.0, 512)
    digest = make_digest(frame_of(np.tile(light, (3, 8, 1))), [])
    expected = science().models.eotf_inverse_sRGB(light) * 255
    assert digest.lift == 0
    assert np.abs(digest.preview - expected).max() <= 0.6


@pytest.mark.parametrize(
    ("under", "lift"), [(0, 0), (1, 0), (2, 1), (3, 2), (5, 4), (7, MOST_LIFT), (20, MOST_LIFT)]
)
def test_a_dark_frame_is_lifted_by_whole_stops(under: int, lift: int) -> None:
    cells = np.linspace(0.0, 0.98, 4000).reshape(1, 40, 100) * 2.0**-under
    digest = make_digest(frame_of(cells), [])
    assert digest.lift == lift
    if lift < MOST_LIFT:
        assert digest.preview.max() >= 110


@pytest.mark.parametrize("lift", range(MOST_LIFT + 1))
def test_a_lifted_tone_keeps_its_order_and_clips_nothing(lift: int) -> None:
    cells = np.full((1, 100, 1024), 0.24 * 2.0**-lift)
    cells[0, 0] = np.linspace(0, 1, 1024)
    digest = make_digest(frame_of(cells), [])
    ramp = digest.preview[0].astype(int)
    assert digest.lift == lift + (lift < MOST_LIFT)
    assert (np.diff(ramp) >= 0).all()
    assert (ramp[0], ramp[-1]) == (0, 255)
    assert ramp[int(0.8 * 1023)] < 255


def test_a_few_specks_do_not_decide_the_lift() -> None:
    cells = np.full((3, 100, 100), 0.01)
    cells[:, 0, :20] = 1.0
    assert make_digest(frame_of(cells), []).lift == 5


def test_a_bright_strip_does_not_keep_a_dark_picture_dark() -> None:
    cells = np.full((3, 100, 100), 0.02)
    cells[:, :6] = 0.6
    assert make_digest(frame_of(cells), []).lift == 3


def test_a_lit_subject_on_black_is_left_alone() -> None:
    cells = np.full((3, 100, 100), 0.001)
    cells[:, 30:70, 30:70] = 0.4
    assert make_digest(frame_of(cells), []).lift == 0


def test_light_outside_black_and_white_is_shown_as_black_and_white() -> None:
    cells = np.full((3, 20, 20), -0.1)
    cells[:, :10] = 1.4
    digest = make_digest(frame_of(cells), [])
    assert set(np.unique(digest.preview)) == {0, 255}


def test_pixels_that_are_not_square_are_shown_in_their_shape() -> None:
    wide = make_digest(frame_of(np.ones((3, 100, 200)), pixel_aspect=1.5), [])
    tall = make_digest(frame_of(np.ones((3, 100, 200)), pixel_aspect=0.5), [])
    assert wide.preview.shape[1] / wide.preview.shape[0] == pytest.approx(3.0, rel=0.02)
    assert tall.preview.shape == (100, 100)


@pytest.mark.parametrize(("colours", "expected"), [("RGB", 0.5), ("RGBE", 0.5), ("CMYE", 0.3125), ("L", 0.25)])
def test_grey_is_green_or_the_mean_where_there_is_none(colours: str, expected: float) -> None:
    levels = {"RGB": (0.1, 0.5, 0.9), "RGBE": (0.1, 0.5, 0.9, 0.0), "CMYE": (0.25, 0.5, 0.25, 0.25), "L": (0.25,)}
    cells = np.array(levels[colours])[:, np.newaxis, np.newaxis] * np.ones((1, 10, 10))
    digest = make_digest(frame_of(cells, colours=colours), [])
    srgb = 1.055 * expected ** (1 / 2.4) - 0.055
    assert digest.preview == pytest.approx(srgb * 255, abs=0.6)


@pytest.mark.parametrize("shape", [(0, 0), (0, 5), (1, 1), (1, 40), (3, 2)])
def test_a_frame_of_almost_no_cells_has_a_digest_all_the_same(shape: tuple[int, int]) -> None:
    digest = make_digest(frame_of(np.full((3, *shape), 0.3), height=1, width=1), [])
    assert digest.preview.size >= 1
    assert Digest.from_bytes(digest.to_bytes()).preview.shape == digest.preview.shape


def test_outlines_are_simplified_within_a_pixel_of_the_preview() -> None:
    turn = np.linspace(0, 2 * np.pi, 5000, endpoint=False)
    circle = np.stack([0.5 + 0.3 * np.cos(turn), 0.5 + 0.3 * np.sin(turn)], axis=-1)
    region = Region(
        what="clipped", box=(0.2, 0.2, 0.6, 0.6), area=28.0, outline=tuple(map(tuple, circle.tolist()))
    )
    cells = np.full((3, 1000, 1000), 0.3)
    kept = np.array(make_digest(frame_of(cells), [Measured(regions=(region,))]).regions[0].outline)
    assert 8 < len(kept) < 500
    middles = (kept + np.roll(kept, 1, axis=0)) / 2
    radius = np.hypot(*(np.vstack([kept, middles]) - 0.5).T) * 1000
    assert radius == pytest.approx(300, abs=0.9)


def test_each_region_knows_the_measurement_that_found_it() -> None:
    def measured(name: str, what: str) -> Measured:
        region = Region(what=what, box=(0, 0, 1, 1), area=1.0)
        return Measured(readings=(Reading(name=name, unit=Unit.PERCENT, value=1.0),), regions=(region,))

    digest = make_digest(frame_of(np.ones((3, 8, 8))), [measured("a.b", "x"), measured("c.d", "y")])
    assert dict(zip(digest.region_readings, (r.what for r in digest.regions), strict=True)) == {
        "a.b": "x",
        "c.d": "y",
    }


def test_making_a_digest_changes_nothing_of_the_frame() -> None:
    frame = frame_of(np.random.default_rng(1).random((3, 50, 70)))
    before = frame.cells.copy()
    first, second = make_digest(frame, []), make_digest(frame, [])
    assert np.array_equal(frame.cells, before)
    assert np.array_equal(first.preview, second.preview)
