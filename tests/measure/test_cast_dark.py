"""A patch in the dark is too dark, whatever noise makes of its evenness."""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode import BAYER, frame_from_mosaic
from qc.measure.cast import SPEC
from qc.rehearse.sensor import Sensor
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone

CARD = Zone.from_box("card", Role.PATCH, (0.4, 0.4, 0.2, 0.2))


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("light", [0.0, 2e-6, 1e-5])
def test_no_unevenness_is_read_from_noise(light: float, seed: int) -> None:
    sensor = Sensor()
    mosaic = sensor.expose(np.full((3, 400, 600), light), BAYER["RGGB"], np.random.default_rng(seed))
    frame = frame_from_mosaic(mosaic, black=sensor.black, white=sensor.white)
    found = {r.name: r for r in SPEC(frame, zones=[CARD], brief=Brief()).readings}
    uneven = found["patch.unevenness"]
    assert uneven.value is None
    assert uneven.reason is not None
    assert uneven.reason.code == "too_dark"


def test_an_even_patch_in_ordinary_light_reads_even() -> None:
    sensor = Sensor()
    mosaic = sensor.expose(np.full((3, 400, 600), 0.2), BAYER["RGGB"], np.random.default_rng(1))
    frame = frame_from_mosaic(mosaic, black=sensor.black, white=sensor.white)
    found = {r.name: r for r in SPEC(frame, zones=[CARD], brief=Brief()).readings}
    assert found["patch.unevenness"].value == pytest.approx(0.0, abs=0.3)
