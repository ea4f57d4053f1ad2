"""Ratios by mosaic position, on a real exposure series and on what cannot be compared."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from qc.decode import BAYER, MosaicHint, frame_from_mosaic, open_frame
from qc.errors import UsageError
from qc.frame import Frame
from qc.measure.ratio import position_ratio
from qc.rehearse.sensor import Sensor
from tests.measure.ambient_scene import shoot

TIMES = (25, 50, 100, 250)
STRONG = ("ratio.row0_column0", "ratio.row1_column1")


def series(captures: Path, milliseconds: int) -> Frame:
    # which colour a position sees is not known of these files; any phase serves, positions are reported
    hint = MosaicHint(cfa="GRBG", black=0.0, white=255.0)
    return open_frame(captures / f"mv_chart_550nm_{milliseconds}ms.tif", mosaic=hint)


@pytest.mark.captures
@pytest.mark.parametrize(("short", "long"), [(s, t) for s in TIMES for t in TIMES if s < t])
def test_a_real_exposure_series_reads_the_ratio_of_its_times(captures: Path, short: int, long: int) -> None:
    # exposure times stand in the file names of the data set (MANIFEST of the captures)
    readings = {r.name: r for r in position_ratio(series(captures, short), series(captures, long))}
    for name in STRONG:
        assert readings[name].value == pytest.approx(math.log2(long / short), abs=0.05)
    for name in readings.keys() - set(STRONG):
        reason = readings[name].reason
        assert reason is not None
        assert reason.code == "too_dark"


def flat(level: float, seed: int = 0, sensor: Sensor | None = None) -> Frame:
    sensor = sensor or Sensor()
    fall = np.linspace(1.0, 0.5, 160)[None, None, :]
    return shoot(np.full((3, 120, 160), level) * fall, seed, sensor=sensor)


@pytest.mark.parametrize("stops", [-2.0, -0.3, 0.0, 1.0, 3.0])
def test_the_ratio_is_found_whatever_it_is(stops: float) -> None:
    readings = position_ratio(flat(0.25 * 2.0 ** -max(stops, 0.0)), flat(0.25 * 2.0 ** min(stops, 0.0), 1))
    assert len(readings) == 4
    for reading in readings:
        assert reading.value is not None
        assert reading.plus_minus is not None
        assert abs(reading.value - stops) <= max(reading.plus_minus, 0.01)


@pytest.mark.parametrize(("a", "b", "code"), [(0.2, 2.5, "clipped"), (0.001, 0.5, "too_dark")])
def test_a_frame_without_tiles_in_range_says_why(a: float, b: float, code: str) -> None:
    reasons = [reading.reason for reading in position_ratio(flat(a, sensor=Sensor(saturation=15000)), flat(b, 1))]
    assert [reason.code for reason in reasons if reason] == [code] * 4


def test_tiny_frames_and_other_sizes_are_refused() -> None:
    tiny = frame_from_mosaic(np.full((8, 8), 2000, dtype=np.uint16), black=512.0, white=16383.0)
    assert all(r.reason and r.reason.code == "too_small" for r in position_ratio(tiny, tiny))
    with pytest.raises(UsageError, match="pixels"):
        position_ratio(tiny, flat(0.2))


@pytest.mark.parametrize("noise", [2.0, 8.0])
def test_with_black_cut_off_the_ratio_is_off_by_little_until_it_is_refused(noise: float) -> None:
    # black at 0 DN: the noise of dark places is cut off there, and more of it the darker they are
    bright = mosaic_cut_at_zero(400.0, noise)
    read, refused = 0, 0
    for level in np.linspace(1.0, 5.0, 9) * noise:
        found = position_ratio(mosaic_cut_at_zero(level, noise), bright, low=0.0)[0]
        if found.value is None:
            refused += 1
            assert found.reason is not None
            assert found.reason.code == "too_dark"
        else:
            read += 1
            assert found.value == pytest.approx(math.log2(400.0 / level), abs=0.03)
    assert read >= 3
    assert refused >= 2


def mosaic_cut_at_zero(level: float, noise: float) -> Frame:
    values = level + noise * np.random.default_rng(3).standard_normal((480, 640))
    mosaic = np.rint(np.maximum(values, 0.0)).astype(np.uint16)
    return frame_from_mosaic(mosaic, cfa=BAYER["RGGB"], black=0.0, white=1023.0)
