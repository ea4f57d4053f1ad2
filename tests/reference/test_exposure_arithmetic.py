"""Exposure arithmetic: APEX values, nominal marks, and ambient light under flash.

Sources: APEX, Exif 2.32 annex C (Av = 2 log2 N, Tv = -log2 t; EV = Av + Tv); the figures below are that formula,
computed outside this project (REFERENCE D1, D2). Flash exposure does not depend on a shutter time at or slower
than sync, ambient exposure is proportional to it, and exposures add: common practice, in public tutorials named in
REFERENCE D6; its table is arithmetic, computed outside this project.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from qc.frame import Frame
from qc.measure.ambient.advice import advice
from qc.measure.ambient.light import Light
from qc.measure.ambient.readings import pooled
from qc.measure.ratio import position_ratio
from qc.rehearse.sensor import Sensor
from qc.settings import differing, shutter_scaling
from tests.measure.ambient_scene import CAMERA, shoot

EV = {(8.0, 1 / 125): 12.9658, (11.0, 1 / 125): 13.8846, (16.0, 1 / 125): 14.9658, (16.0, 1 / 100): 14.6439}

TABLE = {
    # stops under: ambient / flash %, share of the total %, stops added
    2: (25.0, 20.0, 0.322),
    3: (12.5, 11.1, 0.170),
    4: (6.25, 5.88, 0.0875),
    5: (3.125, 3.03, 0.0444),
    6: (1.56, 1.54, 0.0224),
    7: (0.78, 0.775, 0.0112),
    8: (0.39, 0.389, 0.0056),
    10: (0.098, 0.098, 0.0014),
}


def camera_at(aperture: float, shutter_s: float) -> Frame:
    light = np.full((3, 32, 32), 0.2)
    return shoot(light, 1, camera=replace(CAMERA, aperture=aperture, shutter_s=shutter_s))


@pytest.mark.parametrize(("settings", "ev"), EV.items())
def test_the_formula_of_the_table_is_the_one_used_here(settings: tuple[float, float], ev: float) -> None:
    assert 2 * math.log2(settings[0]) - math.log2(settings[1]) == pytest.approx(ev, abs=5e-5)


def test_a_third_of_a_stop_of_shutter_is_what_the_table_says() -> None:
    stops, doubt = shutter_scaling(camera_at(16.0, 1 / 100).camera, camera_at(16.0, 1 / 125).camera)
    recorded = EV[16.0, 1 / 125] - EV[16.0, 1 / 100]
    assert stops == pytest.approx(1 / 3)
    assert doubt == pytest.approx(abs(1 / 3 - recorded), abs=1e-4)


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        (11.0, 11.314, True),  # .081 stop: a rounded mark
        (5.6, 5.657, True),  # .029
        (22.0, 22.63, True),  # .081
        (11.0, 10.0, False),  # the next mark of a third
        (8.0, 11.0, False),  # .9188 by the table
    ],
)
def test_rounded_aperture_marks_are_the_same_setting_and_neighbours_are_not(
    one: float, other: float, same: bool
) -> None:
    found = differing(camera_at(one, 1 / 125).camera, camera_at(other, 1 / 125).camera)
    assert ("aperture" not in found) is same


@pytest.mark.parametrize(("nominal", "off"), [(60, 0.093), (125, 0.034)])
def test_rounded_shutter_marks_are_taken_for_the_true_step(nominal: int, off: float) -> None:
    true = 2 ** round(math.log2(nominal))
    assert abs(math.log2(true / nominal)) == pytest.approx(off, abs=5e-4)
    stops, doubt = shutter_scaling(camera_at(11.0, 1 / 32).camera, camera_at(11.0, 1 / nominal).camera)
    assert stops == pytest.approx(math.log2(true / 32))
    assert doubt == pytest.approx(off, abs=5e-4)


@pytest.mark.parametrize(("stops", "row"), TABLE.items())
def test_stops_under_and_share_agree_with_the_table(stops: int, row: tuple[float, float, float]) -> None:
    one, none = np.ones(1), np.zeros(1)
    light = Light(flash=one, ambient=one * row[0] / 100, flash_error=none, ambient_error=none, black_error=0.0)
    under, to_flash = pooled(light, 0, None, stated=True)
    assert under.value == pytest.approx(stops, abs=0.01)
    assert to_flash.value == pytest.approx(row[0])
    assert 100 * row[0] / (100 + row[0]) == pytest.approx(row[1], rel=0.005)


@pytest.mark.parametrize("stops", [2, 3, 4, 5, 6])
def test_a_lit_frame_gains_over_flash_alone_what_the_table_says(stops: int) -> None:
    flash = np.full((3, 256, 256), 0.3)
    quiet = Sensor(gain=0.01, read_noise=0.3)
    gained = position_ratio(shoot(flash, 1, sensor=quiet), shoot(flash * (1 + 2.0**-stops), 2, sensor=quiet))
    for reading in gained:
        assert reading.value == pytest.approx(TABLE[stops][2], abs=6e-4)


@pytest.mark.parametrize(("stops", "error"), [(5, 0.007), (6, 0.014), (8, 0.057), (10, 0.22)])
def test_one_dn_of_black_moves_the_result_as_the_table_says(stops: int, error: float) -> None:
    # REFERENCE D6: 14 bit, flash at 40 % of range; its table takes 1 DN for the change, ± here is two of them
    flash = 0.4 * np.ones(1)
    none = np.zeros(1)
    black = 1.0 / (16383 - 512)
    light = Light(
        flash=flash, ambient=flash * 2.0**-stops, flash_error=none, ambient_error=none, black_error=black
    )
    assert float(light.stops_pm()[0]) / 2 == pytest.approx(error, rel=0.08)


def test_a_smaller_aperture_is_named_by_its_true_mark() -> None:
    found = advice(5.6, "", replace(CAMERA, aperture=8.0), None)
    # one stop from f/8 is f/11.3
    assert "1.0 stop more flash with a smaller aperture (f/11)" in found.data["steps"][1]
