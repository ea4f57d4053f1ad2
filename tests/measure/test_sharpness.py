"""What `qc.measure.sharpness` claims, on scenes of known blur that the estimator did not make."""

from __future__ import annotations

import numpy as np
import pytest

from qc.frame import Frame
from qc.measure import sharpness
from qc.measure.optics import expected_blur
from qc.reading import Measured, Reading
from qc.sheet.brief import Brief
from qc.sheet.zones import Role, Zone
from tests.measure import sharpness_scene as scene

FULL, WEAK = (0.03, 0.6), (0.30, 0.429)
"""Low and high side of an edge: full contrast, and 30 %."""


def measured(frame: Frame, *zones: Zone) -> Measured:
    return sharpness.SPEC(frame, zones=zones, brief=Brief())


def reading(found: Measured, name: str, zone: str | None = None) -> Reading:
    return next(r for r in found.readings if r.name == f"sharpness.{name}" and r.zone == zone)


def blur_of(light: scene.Light, seed: int = 0, phase: str = "RGGB") -> Reading:
    return reading(measured(scene.expose(light, seed=seed, phase=phase)), "blur")


@pytest.mark.parametrize("stops_less", [0, 2])
@pytest.mark.parametrize("sides", [FULL, WEAK], ids=["full", "30 %"])
@pytest.mark.parametrize("sigma", [0.8, 1.2, 2.0, 2.5, 3.0, 4.0])
def test_blur_of_an_edge_is_right_within_a_tenth_at_any_contrast_and_exposure(
    sigma: float, sides: tuple[float, float], stops_less: int
) -> None:
    low, high = (side / 2**stops_less for side in sides)
    seed = round(sigma * 10) + stops_less
    angle = (5.0, 22.0, 68.0, 130.0)[seed % 4]
    light = scene.edge(192, angle, sigma, low, high, shift=0.3)
    found = blur_of(light, seed, ("RGGB", "BGGR", "GRBG", "GBRG")[seed % 4])
    assert found.value == pytest.approx(sigma, rel=0.10)
    assert found.value is not None
    assert found.plus_minus is not None
    assert abs(found.value - sigma) < 2 * found.plus_minus


@pytest.mark.parametrize("angle", [0.0, 3.0, 22.0, 90.0])
@pytest.mark.parametrize("sides", [FULL, WEAK], ids=["full", "30 %"])
def test_half_a_pixel_of_blur_is_right_within_0_15_px(sides: tuple[float, float], angle: float) -> None:
    found = blur_of(scene.edge(144, angle, 0.5, *sides, shift=0.2), seed=int(angle))
    assert found.value == pytest.approx(0.5, abs=0.15)


def test_blur_beneath_the_sampling_limit_is_at_most_half_a_pixel() -> None:
    found = blur_of(scene.edge(144, 12.0, 0.25, *FULL))
    assert (found.value, found.bound, found.plus_minus) == (0.5, "at most", None)


@pytest.mark.parametrize(("sigma", "width"), [(0.8, 6), (1.2, 8), (2.0, 12), (0.6, 5)])
def test_print_of_strokes_four_times_their_blur_reads_their_blur(sigma: float, width: float) -> None:
    ink = scene.gaussian(scene.strokes(240, width, seed=31), sigma)
    assert blur_of(0.35 - 0.2 * scene.to_pixels(ink), seed=7).value == pytest.approx(sigma, rel=0.10)


@pytest.mark.parametrize(("sigma", "width"), [(2.5, 4), (4.0, 4), (4.0, 6), (1.6, 3)])
def test_print_narrower_than_its_blur_has_no_value_rather_than_a_sharper_one(sigma: float, width: float) -> None:
    ink = scene.gaussian(scene.strokes(240, width, seed=32), sigma)
    value = blur_of(0.35 - 0.2 * scene.to_pixels(ink), seed=8).value
    assert value is None or value == pytest.approx(sigma, rel=0.20)


@pytest.mark.parametrize("angle", [0.0, 9.0, 33.0, 45.0])
@pytest.mark.parametrize("period", [12.0, 20.0, 40.0])
def test_woven_cloth_has_no_value_or_its_blur_within_a_quarter(period: float, angle: float) -> None:
    found = measured(scene.expose(scene.weave(240, period, angle, 0.8), seed=3))
    for name in ("blur", "best_blur"):
        value = reading(found, name).value
        assert value is None or value == pytest.approx(0.8, rel=0.25)


@pytest.mark.parametrize("period", [12.0, 20.0, 40.0])
def test_a_sine_pattern_has_no_blur(period: float) -> None:
    y, x = np.mgrid[0:200, 0:200]
    found = blur_of(0.3 + 0.1 * np.sin(2 * np.pi * (0.9 * x + 0.3 * y) / period))
    assert found.value is None


@pytest.mark.parametrize("penumbra", [3.0, 5.0, 10.0])
def test_a_strong_shadow_does_not_own_fine_detail_of_8_percent_contrast(penumbra: float) -> None:
    detail = 1 - 0.08 * scene.to_pixels(scene.gaussian(scene.strokes(240, 6, seed=33), 0.8))
    light = detail * scene.edge(240, 20.0, penumbra, 0.08, 0.4)
    assert blur_of(light, seed=9).value == pytest.approx(0.8, rel=0.20)


def test_a_plain_wall_has_no_blur_and_says_why() -> None:
    found = blur_of(np.full((240, 240), 0.4))
    assert found.value is None
    assert found.reason is not None
    assert found.reason.code == "no_detail"


@pytest.mark.parametrize("penumbra", [6.5, 10.0, 20.0])
def test_a_shadow_alone_has_no_blur_and_says_why(penumbra: float) -> None:
    found = blur_of(scene.edge(240, 20.0, penumbra, 0.08, 0.4))
    assert found.value is None
    assert found.reason is not None
    assert found.reason.code in ("soft_only", "no_detail")


def test_many_edges_softer_than_can_be_read_are_at_least_5_px() -> None:
    y, x = np.mgrid[0:480, 0:480]
    blocks = ((x // 60 + y // 60) % 2).astype(np.float32)
    fine = np.kron(blocks, np.ones((2, 2), dtype=np.float32))
    light = 0.1 + 0.4 * scene.gaussian(fine, 8.0 * 2 / scene.FINE)[::2, ::2].astype(np.float64)
    found = blur_of(light)
    assert (found.value, found.bound) == (5.0, "at least")


def test_a_uniformly_sharp_frame_is_sharp_nearly_all_over() -> None:
    ink = scene.gaussian(scene.strokes(360, 8, seed=34), 0.9)
    found = measured(scene.expose(0.4 - 0.25 * scene.to_pixels(ink), seed=4))
    assert reading(found, "sharp_area").value is not None
    assert (reading(found, "sharp_area").value or 0) > 90
    assert reading(found, "best_blur").value == pytest.approx(0.9, rel=0.10)
    assert (reading(found, "plane_slope").value or 0) < 0.2


def test_a_sharp_plane_is_found_where_it_lies() -> None:
    fine = scene.strokes(480, 9, seed=35)
    k = np.abs(np.arange(480 * scene.FINE) / (480 * scene.FINE) - 0.3)
    levels = np.linspace(0.7, 2.1, 8)
    stack = [scene.gaussian(fine, s) for s in levels]
    which = np.clip(np.round(k / 0.7 * 7), 0, 7).astype(int)
    ink = np.choose(which[np.newaxis, :], stack)
    found = measured(scene.expose(0.4 - 0.25 * scene.to_pixels(ink), seed=5))
    assert reading(found, "plane_x").value == pytest.approx(0.3, abs=0.08)
    assert reading(found, "plane_slope").value == pytest.approx(1.4 / 0.7, rel=0.35)
    assert (reading(found, "sharp_area").value or 100) < 70


@pytest.mark.parametrize("angle", [0.0, 30.0, 110.0])
def test_shake_is_read_as_direction_and_not_as_defocus(angle: float) -> None:
    smeared = scene.spread(scene.strokes(240, 12, seed=36), scene.motion(6.0, angle))
    found = measured(scene.expose(0.4 - 0.3 * scene.to_pixels(scene.gaussian(smeared, 0.8)), seed=6))
    major, minor, turn = (reading(found, name).value for name in ("blur_major", "blur_minor", "blur_angle"))
    assert major is not None
    assert turn is not None
    assert minor == pytest.approx(0.8, rel=0.15)
    # a smear of 6 px has σ 6/√12 px; its flat top reads more at the estimator's scales
    assert np.hypot(6 / np.sqrt(12), 0.8) < major < 1.25 * np.hypot(6 / np.sqrt(12), 0.8)
    assert (turn - angle + 90) % 180 - 90 == pytest.approx(0, abs=6)
    assert [f.code for f in found.findings] == ["shake"]
    (arrows,) = [tile_map for tile_map in found.maps if tile_map.drawing == "arrows"]
    assert arrows.angles is not None
    shown = np.isfinite(arrows.values)
    assert shown.any()
    assert np.array_equal(shown, np.isfinite(arrows.angles))
    assert (np.unique(arrows.angles[shown]) - angle + 90) % 180 - 90 == pytest.approx([0], abs=6)


def test_defocus_has_no_direction() -> None:
    ink = scene.spread(scene.strokes(240, 12, seed=37), scene.disc(5.0))
    found = measured(scene.expose(0.4 - 0.3 * scene.to_pixels(ink), seed=6))
    assert reading(found, "blur_major").value is not None
    assert [tile_map.drawing for tile_map in found.maps] == ["tiles"]
    angle = reading(found, "blur_angle")
    assert angle.value is None
    assert angle.reason is not None
    assert angle.reason.code == "round"
    assert found.findings == ()


@pytest.mark.parametrize("pitch", [3.76, 5.3])
@pytest.mark.parametrize("aperture", [8.0, 11.0, 16.0, 22.0])
def test_airy_patterns_read_as_expected_blur_says(aperture: float, pitch: float) -> None:
    ink = scene.spread(scene.strokes(200, 10, seed=38), scene.airy(aperture, pitch))
    value = blur_of(0.4 - 0.3 * scene.to_pixels(ink), seed=2).value
    assert value == pytest.approx(max(0.5, expected_blur(aperture, pitch)), rel=0.10)


@pytest.mark.parametrize("diameter", [3.0, 4.0, 6.0, 8.0, 12.0])
def test_defocus_discs_read_as_expected_blur_says(diameter: float) -> None:
    step = (np.add.outer(0.17 * np.arange(200 * scene.FINE), np.arange(200 * scene.FINE)) > 700).astype(np.float32)
    value = blur_of(0.08 + 0.4 * scene.to_pixels(scene.spread(step, scene.disc(diameter))), seed=2).value
    assert value == pytest.approx(expected_blur(None, None, diameter), rel=0.10)


def test_exposure_does_not_change_blur() -> None:
    ink = scene.to_pixels(scene.gaussian(scene.strokes(200, 8, seed=39), 1.0))
    bright, dark = (blur_of((0.8 - 0.5 * ink) * f, seed=1).value for f in (1.0, 0.25))
    assert bright is not None
    assert dark == pytest.approx(bright, rel=0.04)


def test_more_blur_reads_larger() -> None:
    fine = scene.strokes(200, 12, seed=40)
    values = [
        blur_of(0.4 - 0.3 * scene.to_pixels(scene.gaussian(fine, s)), seed=1).value for s in (0.7, 1.0, 1.4, 2)
    ]
    assert None not in values
    assert values == sorted(values, key=float)  # type: ignore[arg-type]  # no None among them, as just asserted


def test_clipped_edges_do_not_count() -> None:
    light = scene.edge(192, 8.0, 2.0, 0.2, 3.0)
    found = blur_of(light)
    assert found.value is None


def test_a_zone_reads_its_own_blur_upright() -> None:
    sharp = scene.edge(192, 7.0, 0.8, *FULL)
    soft = scene.edge(192, 7.0, 2.5, *FULL)
    light = np.concatenate([sharp, soft], axis=0)
    top = Zone.from_box("top", Role.SHARP, (0.0, 0.0, 1.0, 0.5))
    bottom = Zone.from_box("bottom", Role.PROTECT, (0.0, 0.5, 1.0, 0.5))
    backdrop = Zone.from_box("backdrop", Role.BACKDROP, (0.0, 0.0, 1.0, 1.0))
    found = measured(scene.expose(light), top, bottom, backdrop)
    assert reading(found, "blur", "top").value == pytest.approx(0.8, rel=0.1)
    assert reading(found, "blur", "bottom").value == pytest.approx(2.5, rel=0.1)
    turned = measured(scene.expose(light, orientation=3), top, bottom)
    assert reading(turned, "blur", "top").value == pytest.approx(2.5, rel=0.1)
    assert not [r for r in found.readings if r.zone == "backdrop"]


def test_mtf50_falls_as_blur_grows_and_never_passes_the_sampling_limit() -> None:
    sharp, soft = (
        reading(measured(scene.expose(scene.edge(144, 9.0, s, *FULL))), "mtf50").value for s in (0.3, 2.0)
    )
    assert sharp is not None
    assert soft is not None
    assert soft < sharp <= 0.5
    assert soft == pytest.approx(0.18739 / np.hypot(2.0, np.sqrt(1 / 12)), rel=0.06)


def test_a_large_frame_read_in_windows_agrees_with_the_whole(monkeypatch: pytest.MonkeyPatch) -> None:
    ink = scene.gaussian(scene.strokes(480, 8, seed=41), 1.1)
    frame = scene.expose(0.4 - 0.25 * scene.to_pixels(ink), seed=1)
    whole = reading(measured(frame), "blur").value
    monkeypatch.setattr("qc.measure.sharpness.windows.WHOLE", 1000)
    parts = measured(frame, Zone.from_box("label", Role.SHARP, (0.3, 0.3, 0.4, 0.4)))
    assert whole is not None
    assert reading(parts, "blur").value == pytest.approx(whole, rel=0.02)
    assert reading(parts, "blur", "label").value == pytest.approx(1.1, rel=0.10)


@pytest.mark.parametrize(
    ("width", "sigma"), [(2.5, 0.8), (2.5, 1.2), (3, 0.6), (3, 1.2), (4, 0.8), (4, 1.2), (6, 1.6)]
)
def test_strokes_whose_two_edges_overlap_read_their_blur(width: float, sigma: float) -> None:
    ink = scene.gaussian(scene.strokes(240, width, seed=42), sigma)
    found = blur_of(0.4 - 0.3 * scene.to_pixels(ink), seed=3)
    assert found.value == pytest.approx(sigma, rel=0.20)
    assert found.value is not None
    assert found.plus_minus is not None
    assert abs(found.value - sigma) < found.plus_minus


@pytest.mark.parametrize("width", [2, 3, 4, 6])
@pytest.mark.parametrize("sigma", [1.0, 1.5, 2.0])
def test_faint_strokes_never_read_much_sharper_than_they_are(sigma: float, width: float) -> None:
    ink = scene.gaussian(scene.strokes(240, width, seed=43), sigma)
    value = blur_of(0.3 - 0.024 * scene.to_pixels(ink), seed=4).value
    assert value is None or value > 0.75 * sigma


@pytest.mark.parametrize("angle", [43.0, 44.5, 45.0, 45.5, 47.0])
@pytest.mark.parametrize(("sigma", "shift"), [(0.5, 0.0), (0.6, 0.18), (0.6, 0.7), (0.8, 0.0), (0.8, 0.35)])
def test_an_edge_along_the_diagonal_of_the_lattice_is_covered_by_its_error(
    angle: float, sigma: float, shift: float
) -> None:
    found = blur_of(scene.edge(144, angle, sigma, *FULL, shift=shift))
    if found.value is None:
        assert sigma < 0.8
    elif found.bound is None:
        assert found.plus_minus is not None
        assert abs(found.value - sigma) < found.plus_minus
    else:
        assert (found.bound, sigma <= found.value) == ("at most", True)
