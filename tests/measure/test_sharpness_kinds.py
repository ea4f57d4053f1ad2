"""Which frames `qc.measure.sharpness` reads, and what it says of those it does not."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from qc.decode import frame_from_mosaic
from qc.frame import Cfa
from qc.measure import sharpness
from qc.rehearse.sensor import Sensor
from tests.measure import sharpness_scene as scene
from tests.measure.test_sharpness import FULL, measured, reading

X_TRANS = Cfa(
    pattern=(
        (1, 1, 0, 1, 1, 2),
        (1, 1, 2, 1, 1, 0),
        (2, 0, 1, 0, 2, 1),
        (1, 1, 2, 1, 1, 0),
        (1, 1, 0, 1, 1, 2),
        (0, 2, 1, 2, 0, 1),
    )
)


@pytest.mark.parametrize("angle", [3.0, 45.0, 130.0])
@pytest.mark.parametrize("sigma", [0.6, 1.2, 2.0, 4.0])
def test_a_pattern_of_6_by_6_reads_down_to_one_pixel_and_says_at_most_below(sigma: float, angle: float) -> None:
    light = scene.edge(192, angle, sigma, 0.05, 0.5, shift=0.2)
    sensor = Sensor()
    planes = np.stack([0.6 * light, light, 0.7 * light])
    mosaic = sensor.expose(planes, X_TRANS, np.random.default_rng(1))
    frame = frame_from_mosaic(mosaic, cfa=X_TRANS, black=sensor.black, white=sensor.white)
    found = reading(measured(frame), "blur")
    assert found.bound == ("at most" if sigma < 1 else None)
    assert found.value == pytest.approx(max(sigma, 1.0), rel=0.05)


def test_linear_and_monochrome_frames_are_read_too() -> None:
    light = scene.edge(192, 6.0, 1.2, *FULL)
    mosaic = scene.expose(light, seed=None)
    raw = np.round(light * mosaic.scale + 512).astype(np.uint16)
    one = Cfa(pattern=((0,),), colours="L")
    cells = light.reshape(96, 2, 96, 2).mean(axis=(1, 3))[np.newaxis].astype(np.float32)
    clip = np.zeros((1, 96, 96), dtype=np.uint8)
    mono = replace(
        mosaic,
        colours="L",
        cfa=one,
        mosaic=raw,
        cells=cells,
        clip=clip,
        black=replace(mosaic.black, levels=((512.0,),)),
    )
    linear = replace(
        mosaic,
        kind="linear",
        cfa=None,
        mosaic=None,
        cell=1,
        clip_cell=1,
        pixels=np.repeat(light[np.newaxis].astype(np.float32), 3, axis=0),
        cells=np.repeat(light[np.newaxis].astype(np.float32), 3, axis=0),
        clip=np.zeros((3, 192, 192), dtype=np.uint8),
    )
    for frame in (mono, linear):
        assert reading(measured(frame), "blur").value == pytest.approx(1.2, rel=0.05)


@pytest.mark.parametrize(
    ("change", "code"),
    [
        ({"kind": "rendered"}, "wrong_kind"),
        ({"pixel_aspect": 1.5}, "wrong_kind"),
        ({"cfa": Cfa(pattern=((0, 1), (2, 3)), colours="RGBE"), "colours": "RGBE"}, "wrong_kind"),
        ({"height": 40}, "too_small"),
    ],
)
def test_frames_that_cannot_be_judged_say_why_for_every_reading(change: dict[str, object], code: str) -> None:
    frame = replace(scene.expose(scene.edge(96, 6.0, 1.2, *FULL)), **change)  # type: ignore[arg-type]  # a table of changes
    found = measured(frame)
    assert {r.reason.code for r in found.readings if r.reason is not None} == {code}
    assert len(found.readings) == len([r for r in sharpness.SPEC.readings if r.per_frame])
