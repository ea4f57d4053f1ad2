"""What `qc.measure.optics` claims of its readings."""

from __future__ import annotations

from dataclasses import replace

import pytest

from qc.frame import Camera, Frame
from qc.measure import optics
from qc.reading import Reading
from qc.sheet.brief import Brief
from tests.measure import sharpness_scene as scene

SET = Brief(magnification=0.25, pixel_pitch_um=3.76, circle_px=2.0)


def frame(**camera: float) -> Frame:
    light = scene.edge(72, 5.0, 1.0, 0.1, 0.4)
    return scene.expose(light, seed=None, camera=Camera(**camera))  # type: ignore[arg-type]  # numbers only


def readings(of: Frame, brief: Brief) -> dict[str, Reading]:
    return {r.name: r for r in optics.SPEC(of, zones=(), brief=brief).readings}


def test_expected_blur_is_that_of_the_effective_aperture() -> None:
    found = readings(frame(aperture=11.0), SET)["optics.expected_blur"]
    assert found.value == pytest.approx(optics.expected_blur(11.0 * 1.25, 3.76))
    assert found.bound is None


def test_without_magnification_expected_blur_is_at_least_that_of_the_marked_aperture() -> None:
    found = readings(frame(aperture=16.0), replace(SET, magnification=None))["optics.expected_blur"]
    assert (found.value, found.bound) == (optics.expected_blur(16.0, 3.76), "at least")


def test_magnification_is_taken_from_focal_length_and_focus_distance_where_only_they_are_known() -> None:
    found = readings(frame(aperture=11.0, focal_mm=100.0, focus_m=0.5), replace(SET, magnification=None))
    assert found["optics.expected_blur"].value == pytest.approx(optics.expected_blur(11.0 * 1.25, 3.76))


def test_a_blur_the_sampling_cannot_show_is_at_most_half_a_pixel() -> None:
    found = readings(frame(aperture=4.0), SET)["optics.expected_blur"]
    assert (found.value, found.bound) == (0.5, "at most")


def test_depth_of_field_is_in_millimetres_for_the_circle_of_the_set() -> None:
    found = readings(frame(aperture=11.0), SET)["optics.depth_of_field"]
    # 2 N c (1 + m)/m² with c = 2 × 3.76 µm
    assert found.value == pytest.approx(2 * 11 * 0.00752 * 1.25 / 0.0625)
    with_focal = readings(frame(aperture=11.0, focal_mm=100.0), SET)["optics.depth_of_field"]
    assert with_focal.value == pytest.approx(found.value, rel=1e-3)


def test_what_is_not_recorded_is_named() -> None:
    found = readings(frame(), Brief())
    for reading in found.values():
        assert reading.reason is not None
        assert reading.reason.code == "not_recorded"
        assert "aperture" in reading.reason.text
        assert "pixel pitch" in reading.reason.text
    assert "magnification" in str(found["optics.depth_of_field"].reason)


def test_a_depth_that_reaches_to_infinity_has_no_value() -> None:
    found = readings(frame(aperture=16.0, focal_mm=24.0), replace(SET, magnification=0.0001))
    reason = found["optics.depth_of_field"].reason
    assert reason is not None
    assert reason.code == "to_infinity"
