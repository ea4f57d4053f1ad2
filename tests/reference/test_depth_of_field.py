"""Depth of field against worked examples of handbooks and against the thin-lens limits.

Sources: US Army correspondence course SS0507 (50 mm, f/8, circle 0.002 in: hyperfocal distance 20.8 ft); US Navy
training manual 14209, *Photography (Basic)* (155 mm, f/2.8, focus at 10 ft: near 9.8 ft, far 10.2 ft). Both were
read in the documents. Thin lens: H = f²/(Nc) + f, near = s(H − f)/(H + s − 2f), far = s(H − f)/(H − s).
"""

from __future__ import annotations

import math

import pytest

from qc.measure.optics import depth_of_field

FOOT, INCH = 304.8, 25.4


def hyperfocal(focal: float, aperture: float, circle: float) -> float:
    return focal**2 / (aperture * circle) + focal


def limits(focal: float, aperture: float, circle: float, distance: float) -> tuple[float, float]:
    h = hyperfocal(focal, aperture, circle)
    return distance * (h - focal) / (h + distance - 2 * focal), distance * (h - focal) / (h - distance)


def test_thin_lens_limits_agree_with_the_army_example() -> None:
    # the handbook leaves out the "+ f"
    assert (hyperfocal(2 * INCH, 8, 0.002 * INCH) - 2 * INCH) / FOOT == pytest.approx(20.8, abs=0.05)


def test_depth_of_field_agrees_with_the_navy_example() -> None:
    focal, aperture, circle, distance = 6.1 * INCH, 2.8, 0.002 * INCH, 10 * FOOT
    near, far = limits(focal, aperture, circle, distance)
    assert near / FOOT == pytest.approx(9.8, abs=0.05)
    assert far / FOOT == pytest.approx(10.2, abs=0.05)
    depth = depth_of_field(aperture, circle, focal / (distance - focal), focal)
    assert depth / FOOT == pytest.approx(10.2 - 9.8, abs=0.1)  # two rounded figures


@pytest.mark.parametrize(
    ("focal", "aperture", "circle", "distance", "depth"),
    [
        (100, 11, 0.03, 500, 13.202),
        (100, 11, 0.03, 1000, 59.452),
        (80, 16, 0.03, 600, 46.87),
        (120, 16, 0.05, 900, 78.15),
        (100, 11, 0.0075, 700, 6.93),
        (50, 8, 0.03, 3000, 4185.3 - 2337.9),
    ],
)
def test_depth_of_field_is_far_less_near_of_the_thin_lens(
    focal: float, aperture: float, circle: float, distance: float, depth: float
) -> None:
    near, far = limits(focal, aperture, circle, distance)
    found = depth_of_field(aperture, circle, focal / (distance - focal), focal)
    assert found == pytest.approx(far - near, rel=1e-9)
    assert found == pytest.approx(depth, abs=0.06)


@pytest.mark.parametrize(("magnification", "depth"), [(1.0, 1.92), (0.1, 105.6)])
def test_close_up_form_needs_no_focal_length(magnification: float, depth: float) -> None:
    assert depth_of_field(16, 0.03, magnification) == pytest.approx(depth, abs=1e-9)


@pytest.mark.parametrize(
    ("magnification", "aperture", "depth"),
    [(0.05, 8, 50), (0.05, 11, 69), (0.1, 8, 13), (0.1, 16, 26), (0.25, 11, 3.3), (0.5, 8, 0.7), (1.0, 16, 0.48)],
)
def test_depth_for_two_pixels_of_3_75_um(magnification: float, aperture: float, depth: float) -> None:
    # common practice, no published source: the table technicians work by, rounded
    assert depth_of_field(aperture, 0.0075, magnification) == pytest.approx(depth, rel=0.05)


def test_depth_is_endless_at_the_hyperfocal_distance() -> None:
    focal, aperture, circle = 50.0, 8.0, 0.03
    at = focal / (hyperfocal(focal, aperture, circle) - focal)
    assert math.isinf(depth_of_field(aperture, circle, at * 0.999, focal))
    assert math.isfinite(depth_of_field(aperture, circle, at * 1.01, focal))
