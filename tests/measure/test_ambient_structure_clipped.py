"""A mirrored lamp that clips in the dark frame is a bound, never a number that is far too low."""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode import BAYER, frame_from_mosaic
from qc.measure.ambient import SPEC
from qc.reading import Reading
from qc.rehearse.sensor import Sensor
from qc.sheet.brief import Brief


def structure(lamp: float) -> Reading:
    rows, columns = 400, 600
    sensor = Sensor()
    room = np.full((3, rows, columns), 0.01)
    y, x = np.mgrid[:rows, :columns]
    room += lamp * np.exp(-((x - 300) ** 2 + (y - 200) ** 2) / (2 * 8.0**2))
    frames = [
        frame_from_mosaic(
            sensor.expose(light, BAYER["RGGB"], np.random.default_rng(seed)),
            black=sensor.black,
            white=sensor.white,
        )
        for seed, light in enumerate((room + 0.3, room))
    ]
    found = SPEC(frames[0], zones=(), brief=Brief(), companions=frames[1:])
    (reading,) = [r for r in found.readings if r.name == "ambient.structure"]
    return reading


@pytest.mark.parametrize(("lamp", "bound"), [(0.3, None), (3.0, "at least")])
def test_a_clipped_lamp_is_at_least_what_is_left_of_it(lamp: float, bound: str | None) -> None:
    reading = structure(lamp)
    assert reading.value is not None
    assert reading.bound == bound
    assert 0 < reading.value <= 100 * lamp
