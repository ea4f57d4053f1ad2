"""Blur of printed letters, whose strokes crowd each other: a right value, or the reason, never another's blur."""

from __future__ import annotations

from math import erf, sqrt

import cv2
import numpy as np
import pytest
from PIL import Image, ImageDraw, ImageFont

from qc.decode import BAYER, frame_from_mosaic
from qc.measure.sharpness import SPEC
from qc.reading import Reading
from qc.rehearse.sensor import Sensor
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone

FINE = 6
HEIGHT, WIDTH = 320, 480


def letters(size: int, blur: float, contrast: float, penumbra: float | None) -> Reading:
    """Read a zone of letters, drawn `FINE` times too large, blurred there and averaged down."""
    page = Image.new("L", (WIDTH * FINE, HEIGHT * FINE), 255)
    pen, font = ImageDraw.Draw(page), ImageFont.load_default(size * FINE)
    for top in range(4, HEIGHT - size, int(size * 1.5)):
        pen.text((6 * FINE, top * FINE), "ASH GLAZE No 27 KILN TWELVE STONEWARE", fill=0, font=font)
    ink = cv2.GaussianBlur(np.asarray(page, dtype=np.float32) / 255, (0, 0), blur * FINE)
    ink = cv2.resize(ink, (WIDTH, HEIGHT), interpolation=cv2.INTER_AREA)
    light = 0.35 * (1 - contrast + contrast * ink)
    if penumbra is not None:
        light = light * [1 - 0.35 * (1 + erf((x - 0.7 * WIDTH) / (penumbra * sqrt(2)))) for x in range(WIDTH)]
    sensor = Sensor()
    mosaic = sensor.expose(np.stack([0.7 * light, light, 0.6 * light]), BAYER["RGGB"], np.random.default_rng(size))
    frame = frame_from_mosaic(mosaic, black=sensor.black, white=sensor.white)
    zone = Zone.from_box("print", Role.SHARP, (0.02, 0.02, 0.96, 0.96))
    found = SPEC(frame, zones=[zone], brief=Brief())
    (reading,) = [r for r in found.readings if (r.name, r.zone) == ("sharpness.blur", "print")]
    return reading


@pytest.mark.parametrize("blur", [0.6, 0.8, 1.2, 2.0])
def test_large_letters_are_read(blur: float) -> None:
    reading = letters(110, blur, 0.8, None)
    assert reading.value == pytest.approx(blur, rel=0.1)


@pytest.mark.parametrize("blur", [0.6, 1.2])
def test_large_faint_letters_are_read_beside_a_soft_shadow(blur: float) -> None:
    reading = letters(110, blur, 0.08, 5.0)
    assert reading.value == pytest.approx(blur, rel=0.2)


@pytest.mark.parametrize("size", [24, 40, 70])
@pytest.mark.parametrize("blur", [0.6, 1.2, 3.0])
@pytest.mark.parametrize(("contrast", "penumbra"), [(0.8, None), (0.08, 3.0), (0.08, 5.0)])
def test_crowded_letters_have_a_right_value_or_a_reason(
    size: int, blur: float, contrast: float, penumbra: float | None
) -> None:
    reading = letters(size, blur, contrast, penumbra)
    if reading.value is None:
        assert reading.reason is not None
        assert reading.reason.code in SPEC.reasons
    else:
        assert reading.value == pytest.approx(blur, rel=0.25)
