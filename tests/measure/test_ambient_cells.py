"""Cells that hold a hot photosite, that are clipped, or may be: what they do to the ambient test."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from qc.decode import BAYER, frame_from_mosaic
from qc.frame import Cfa, Frame, Noise, Saturation
from qc.measure.ambient import SPEC
from qc.measure.ambient.cells import hot_cells
from qc.measure.ambient.noise import cell_noise
from qc.measure.ambient.prepare import Prepared, prepare
from qc.reading import Measured
from qc.rehearse.sensor import Sensor
from qc.rehearse.studio import Studio
from qc.sheet.brief import Brief
from tests.measure.ambient_run import get, run
from tests.measure.ambient_scene import Set, shoot
from tests.measure.test_ambient_studio import XTRANS

SIZE = (400, 600)
ROOM = {"lamp": 1.0, "screen": 0.3}
MARGINS = (12, 24, 12, 0)
ONE_COLOUR = Cfa(pattern=((0,),), colours="L")


@cache
def pair(hot: int) -> tuple[Studio, Frame, Frame]:
    studio = Studio(seed=3, size=SIZE, sensor=Sensor(hot=hot, margins=MARGINS))
    # the same powers for all: the studio would reckon them anew for each sensor
    room = Studio(seed=3, size=SIZE, sensor=Sensor(margins=MARGINS)).room_at(5.0, ROOM)
    return studio, studio.frame(room=room).frame(), studio.frame(heads={}, room=room).frame()


@cache
def measured(hot: int) -> Measured:
    studio, lit, dark = pair(hot)
    return SPEC(lit, zones=studio.zones, brief=Brief(), companions=[dark])


def hot_of(*darks: Frame) -> set[tuple[int, int]]:
    found = hot_cells([(dark, cell_noise(dark)) for dark in darks])
    return set(zip(found.rows.tolist(), found.columns.tolist(), strict=True))


def dark_of(light: NDArray[np.floating], cfa: Cfa = BAYER["RGGB"], *, hot: int = 0, seed: int = 1) -> Frame:
    """A dark frame of some light, shape (colours, rows, columns), with the sensor's noise known."""
    sensor = Sensor(hot=hot)
    mosaic = sensor.expose(light, cfa, np.random.default_rng(seed))
    frame = frame_from_mosaic(mosaic, cfa=cfa, black=sensor.black, white=sensor.white)
    return replace(frame, noise=Noise(gain=sensor.gain, read_noise=sensor.read_noise, source="given"))


@pytest.mark.parametrize("hot", [12, 200])
def test_hot_photosites_are_told_and_hardly_anything_else_is(hot: int) -> None:
    studio, _, dark = pair(hot)
    places = studio.sensor.hot_places(studio.mosaic_size)
    true = {(int(row) // 2, int(column) // 2) for row, column in places}
    found = hot_of(dark)
    assert true <= found
    assert len(found - true) <= 3


@pytest.mark.parametrize("hot", [12, 200])
@pytest.mark.parametrize("name", ["stops_under", "worst_stops_under", "to_flash", "temperature", "structure"])
def test_hot_photosites_change_no_reading_beyond_its_plus_minus(hot: int, name: str) -> None:
    compared = 0
    for zone in (None, *(zone.name for zone in pair(0)[0].zones)):
        found = [r for m in (measured(0), measured(hot)) for r in m.readings if r.zone == zone]
        both = [r for r in found if r.name == f"ambient.{name}"]
        if not both:
            continue
        clean, spoilt = both
        assert (clean.value is None, clean.bound) == (spoilt.value is None, spoilt.bound)
        if clean.value is not None and spoilt.value is not None and clean.plus_minus is not None:
            assert abs(clean.value - spoilt.value) <= clean.plus_minus
            compared += 1
    assert compared >= 1


@pytest.mark.parametrize("hot", [12, 200])
def test_no_lone_tile_of_the_map_differs_by_more_than_its_plus_minus(hot: int) -> None:
    _, lit, dark = pair(0)
    ready = prepare(lit, [dark])
    assert isinstance(ready, Prepared)
    light = ready.pair.each(ready.tiles)
    sure = light.measured()[ready.pair.colour]
    clean, spoilt = (measured(n).maps[0].values for n in (0, hot))
    assert np.array_equal(np.isnan(clean), np.isnan(spoilt))
    sure &= ~np.isnan(clean)
    assert sure.sum() > 100
    assert np.all(np.abs(clean - spoilt)[sure] <= light.stops_pm()[ready.pair.colour][sure])


@pytest.mark.parametrize("cfa", [XTRANS, ONE_COLOUR], ids=["6 by 6", "one colour"])
def test_hot_photosites_are_told_in_other_mosaics(cfa: Cfa) -> None:
    light = np.full((len(cfa.colours), 240, 360), 0.02)
    dark = dark_of(light, cfa, hot=12)
    true = {
        (int(y) // dark.cell, int(x) // dark.cell)
        for y, x in Sensor(hot=12).hot_places((240, 360))
        if y // dark.cell < dark.cells.shape[1] and x // dark.cell < dark.cells.shape[2]
    }
    assert hot_of(dark) == true


@pytest.mark.parametrize("blur", [0.5, 1.0, 2.0])
@pytest.mark.parametrize(
    "colour", [(1.0, 1.0, 1.0), (1.0, 0.45, 0.15), (0.4, 0.8, 1.0)], ids=["white", "warm", "blue"]
)
def test_points_of_light_are_not_taken_for_hot_photosites(blur: float, colour: tuple[float, ...]) -> None:
    points = np.zeros((200, 300))
    rng = np.random.default_rng(5)
    for row in range(12, 190, 20):
        for column in range(12, 290, 20):
            points[row + rng.integers(2), column + rng.integers(2)] = 1.0
    spread = gaussian_filter(points, blur)
    spread *= 0.3 / spread.max()
    assert hot_of(dark_of(0.002 + spread * np.array(colour)[:, None, None])) == set()


@pytest.mark.parametrize("colours", [(0,), (0, 1, 2)], ids=["red alone", "white"])
@pytest.mark.parametrize("side", [4, 6, 10])
def test_a_small_mirrored_source_of_several_cells_is_kept(side: int, colours: tuple[int, ...]) -> None:
    light = np.full((3, 200, 300), 0.002)
    for row in range(20, 180, 31):
        for column in range(20, 280, 31):
            light[np.ix_(colours, range(row, row + side), range(column, column + side))] += 0.2
    assert hot_of(dark_of(gaussian_filter(light, (0, 0.6, 0.6)))) == set()


def test_a_mirrored_window_is_still_reported_beside_hot_photosites() -> None:
    clean = run(*Set(mirrored=0.05).frames())
    spoilt = run(*Set(mirrored=0.05).frames(sensor=Sensor(hot=200)))
    one, other = get(clean, "structure"), get(spoilt, "structure")
    assert one.value is not None
    assert one.value > 2.0
    assert other.value == pytest.approx(one.value, abs=one.plus_minus or 0.0)


@pytest.mark.parametrize(
    ("side", "low", "high"), [(4, 0.0, 0.0), (12, 2.0, 3.0), (24, 4.85, 5.15), (60, 4.85, 5.15)]
)
def test_structure_reads_things_from_a_fiftieth_to_a_tenth_of_the_long_side(
    side: int, low: float, high: float
) -> None:
    # a fine tile is 5.4 px here: 0.7, 2.2, 4.4 and 11 of them
    flash, ambient = Set().layers()
    ambient[:, 180 - side // 2 : 180 + side // 2, 380 - side // 2 : 380 + side // 2] += 0.05
    found = get(run(shoot(flash + ambient, 1), shoot(ambient, 1001)), "structure")
    assert found.value is not None
    if high == 0.0:
        assert found.bound == "at most"
    else:
        assert found.bound is None
        assert low <= found.value <= high


def test_noise_alone_has_no_hot_photosites() -> None:
    assert hot_of(*(dark_of(np.full((3, 400, 600), 0.01), seed=seed) for seed in range(4))) == set()


def test_only_the_clipped_cells_of_a_tile_are_left_out() -> None:
    lit, dark = Set().frames()
    ready = prepare(lit, [dark])
    assert isinstance(ready, Prepared)
    clipped = np.count_nonzero(lit.clip.any(axis=0))
    assert clipped > 1000
    assert ready.tiles.cells.sum() == pytest.approx(lit.cells[0].size - clipped, rel=1e-4)


def test_a_saturation_that_is_not_sure_widens_the_plus_minus() -> None:
    lit, dark = Set().frames()
    unsure = tuple(replace(s, source="plateau") for s in lit.saturation)
    missed = tuple(Saturation(colour=s.colour, level=s.level, source="tag") for s in lit.saturation)
    sure = get(run(lit, dark), "stops_under")
    found = get(run(replace(lit, saturation=unsure), dark), "stops_under")
    # nothing was seen to clip, so the burnt card counts
    burnt = replace(lit, saturation=missed, clip=np.zeros_like(lit.clip))
    counted = get(run(burnt, dark), "stops_under")
    assert sure.value is not None
    assert counted.value is not None
    assert counted.plus_minus is not None
    assert found.plus_minus is not None
    assert sure.plus_minus is not None
    assert sure.plus_minus <= found.plus_minus < 0.05
    assert abs(counted.value - sure.value) <= counted.plus_minus


@pytest.mark.parametrize(
    "sensor",
    [
        Sensor(margins=MARGINS),
        Sensor(black=509.0, tagged_black=512.0, saturation=15236.0, plateau=0.005, margins=(0, 48, 0, 0), hot=12),
    ],
    ids=["plain", "as real ones are"],
)
def test_the_truth_lies_within_the_plus_minus_for_nine_of_ten_noises(sensor: Sensor) -> None:
    studio = Studio(seed=1, size=(300, 450), sensor=sensor)
    room = studio.room_at(4.0, ROOM)
    held: dict[str | None, list[bool]] = {}
    widest: dict[str | None, float] = {}
    for noise in range(0, 40, 2):
        lit, dark = studio.frame(room=room, noise=noise), studio.frame(heads={}, room=room, noise=noise + 1)
        found = SPEC(lit.frame(), zones=studio.zones, brief=Brief(), companions=[dark.frame()])
        for reading in found.readings:
            if reading.name != "ambient.stops_under" or reading.value is None or reading.plus_minus is None:
                continue
            true = lit.truth.stops_under(studio.zone(reading.zone) if reading.zone else None)
            held.setdefault(reading.zone, []).append(abs(reading.value - true) <= reading.plus_minus)
            widest[reading.zone] = max(widest.get(reading.zone, 0.0), reading.plus_minus)
    assert {None, "label", "seal", "wall"} <= held.keys()
    for zone, answers in held.items():
        assert np.mean(answers) >= 0.9, zone
    assert widest[None] < 0.03
    assert widest["label"] < 0.05
