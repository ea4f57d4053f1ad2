"""A real exposure series: the times stand in the file names of the data set (MANIFEST of the captures)."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from qc.decode import MosaicHint, open_frame
from qc.digest import Digest, tile_light
from qc.series.shift import shift_of
from qc.series.tiles import Light, light_of


def light(path: Path, hint: MosaicHint | None = None) -> Light:
    frame = open_frame(path, mosaic=hint)
    made = light_of(
        Digest(
            preview=np.zeros((1, 1), np.uint8),
            colours=frame.colours,
            tile_means=tile_light(frame),
            full_size=frame.upright_size,
        )
    )
    assert made is not None
    return made


@pytest.mark.captures
@pytest.mark.parametrize(("short", "long", "within"), [(25, 50, 0.05), (50, 100, 0.1)])
def test_a_real_exposure_series_reads_the_ratio_of_its_times(
    captures: Path, short: int, long: int, within: float
) -> None:
    # black is cut off at 0 in these files and the chart burns at 100 ms: tiles of both kinds are left out
    hint = MosaicHint(cfa="GRBG", black=0.0, white=255.0)
    one, two = (light(captures / f"mv_chart_550nm_{ms}ms.tif", hint) for ms in (short, long))
    found = shift_of(one, two)
    assert found is not None
    assert found.shape == "whole"
    assert found.stops == pytest.approx(math.log2(long / short), abs=within)


@pytest.mark.captures
def test_a_real_scene_with_and_without_flash_is_no_small_change(captures: Path) -> None:
    found = shift_of(light(captures / "jpg_flash_g2.jpg"), light(captures / "jpg_ambient_g2.jpg"))
    assert found is not None
    assert found.stops < -1


@pytest.mark.captures
def test_of_two_different_real_scenes_nothing_is_claimed(captures: Path) -> None:
    assert shift_of(light(captures / "ps_s40_0101.crw"), light(captures / "ps_s40_0119.crw")) is None
