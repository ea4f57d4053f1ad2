"""DNG tags: as written, with the specification's defaults, and with the camera calibration folded in.

Reference: DNG 1.7.1.0, tag pages and chapter 6; files written by tifffile; real captures read by tifffile.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import tifffile

from qc.container.dng import DngTags, dng_tags

CM1 = np.array([[0.9, -0.3, -0.1], [-0.4, 1.2, 0.2], [-0.05, 0.2, 0.6]])
CM2 = np.array([[0.8, -0.2, -0.1], [-0.5, 1.3, 0.2], [-0.1, 0.3, 0.5]])
FM1 = np.array([[0.5, 0.33, 0.13], [0.28, 0.68, 0.04], [0.17, 0.0, 0.65]])


def ratios(values: Sequence[float] | np.ndarray) -> tuple[int, ...]:
    return tuple(n for value in np.ravel(values) for n in (round(float(value) * 10000), 10000))


def matrix_tag(code: int, values: np.ndarray) -> tuple[int, int, int, tuple[int, ...], bool]:
    return (code, 10, values.size, ratios(values), True)


def written(*tags: Any, shape: tuple[int, ...] = (12, 16), photometric: int = 32803) -> DngTags:
    cfa = [(33421, 3, 2, (2, 2), True), (33422, 1, 4, bytes([1, 0, 2, 1]), True)] if photometric == 32803 else []
    out = io.BytesIO()
    tifffile.imwrite(
        out,
        np.ones(shape, np.uint16),
        photometric=photometric,
        planarconfig="contig" if len(shape) == 3 else None,
        extratags=[(50706, 1, 4, bytes([1, 4, 0, 0]), True), *cfa, *tags],
    )
    found = dng_tags(out.getvalue())
    assert found is not None
    return found


def test_defaults_are_those_of_the_specification() -> None:
    tags = written()
    assert tags.version == (1, 4, 0, 0)
    assert (tags.width, tags.height, tags.samples, tags.bits, tags.linear) == (16, 12, 1, 16, False)
    assert tags.active_area == (0, 0, 12, 16)
    assert tags.masked_areas == ()
    assert tags.cfa_pattern == ((1, 0), (2, 1))
    assert (tags.black, tags.black_tagged, tags.black_repeat) == ((0.0,), False, (1, 1))
    assert (tags.white, tags.white_tagged) == ((65535.0,), False)
    assert (tags.linear_limit, tags.baseline_exposure, tags.default_scale) == (1.0, 0.0, (1.0, 1.0))
    assert (tags.neutral, tags.white_xy, tags.serial) == (None, None, None)
    assert tags.calibrations == ()
    assert not tags.linearised


def test_rational_black_is_kept_to_its_fraction_in_row_column_order() -> None:
    levels = [(5005, 10), (5122, 10), (520, 1), (5304, 10)]
    tags = written((50713, 3, 2, (2, 2), True), (50714, 5, 4, tuple(n for pair in levels for n in pair), True))
    assert tags.black_array()[..., 0].tolist() == [[500.5, 512.2], [520.0, 530.4]]
    assert tags.black_tagged


def test_linear_raw_has_a_black_and_a_white_a_sample() -> None:
    tags = written(
        (50714, 4, 3, (10, 20, 30), True),
        (50717, 4, 3, (100, 200, 300), True),
        shape=(12, 16, 3),
        photometric=34892,
    )
    assert tags.linear
    assert tags.cfa_pattern is None
    assert tags.black_array().tolist() == [[[10, 20, 30]]]
    assert tags.white == (100, 200, 300)


def test_black_deltas_belong_to_the_active_area_and_only_fit_its_size() -> None:
    area = (50829, 4, 4, (2, 4, 12, 16), True)
    deltas = (50715, 10, 12, ratios(np.arange(12) / 4), True), (50716, 10, 10, ratios(-np.arange(10) / 2), True)
    tags = written(area, *deltas)
    assert tags.active_area == (2, 4, 10, 12)
    assert tags.black_columns == tuple(np.arange(12) / 4)
    assert tags.black_rows == tuple(-np.arange(10) / 2)
    assert written(*deltas).black_columns == ()


def test_areas_are_windows_within_the_picture() -> None:
    masked = (0, 0, 12, 4, 0, 4, 2, 99, 5, 5, 5, 9)
    tags = written((50830, 4, 12, masked, True), (50829, 4, 4, (2, 4, 99, 99), True))
    assert tags.active_area == (2, 4, 10, 12)
    assert tags.masked_areas == ((0, 0, 12, 4), (0, 4, 2, 12))


def test_analog_balance_and_camera_calibration_are_folded_into_the_colour_matrices() -> None:
    balance, calibration = np.diag([1.5, 1.0, 0.75]), np.diag([1.01, 0.99, 1.02])
    tags = written(
        matrix_tag(50721, CM1),
        matrix_tag(50722, CM2),
        matrix_tag(50723, calibration),
        (50727, 5, 3, ratios(np.diag(balance)), True),
        (50778, 3, 1, 17, True),
        (50779, 3, 1, 21, True),
        matrix_tag(50964, FM1),
    )
    first, second = tags.calibrations
    assert np.allclose(first.xyz_to_camera, balance @ calibration @ CM1, atol=1e-9)
    assert np.allclose(second.xyz_to_camera, balance @ CM2, atol=1e-9)
    assert [(c.illuminant, c.kelvin) for c in tags.calibrations] == [(17, 2856.0), (21, 6504.0)]
    assert np.allclose(first.camera_to_xyz_d50 or (), FM1)
    assert second.camera_to_xyz_d50 is None


def test_a_diagonal_calibration_leaves_the_forward_matrix_as_it_is() -> None:
    # chapter 6: CameraToXYZ_D50 = FM · D · inv(AB·CC), D = inv(diag(inv(AB·CC) · neutral))
    folded, neutral = np.diag([1.5, 1.1, 0.8]), np.array([0.5, 1.0, 0.6])
    by_the_book = FM1 @ np.linalg.inv(np.diag(np.linalg.inv(folded) @ neutral)) @ np.linalg.inv(folded)
    assert np.allclose(by_the_book, FM1 @ np.diag(1 / neutral))


def test_a_calibration_that_mixes_colours_leaves_the_colour_matrix_alone_to_speak() -> None:
    mixing = np.array([[1.0, 0.02, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
    tags = written(matrix_tag(50721, CM1), matrix_tag(50723, mixing), matrix_tag(50964, FM1))
    assert tags.calibrations[0].camera_to_xyz_d50 is None
    assert np.allclose(tags.calibrations[0].xyz_to_camera, mixing @ CM1)


def test_a_calibration_signed_for_another_profile_is_not_used() -> None:
    tags = written(matrix_tag(50721, CM1), matrix_tag(50723, np.diag([1.1, 1, 1])), (50931, 2, 0, "bench", True))
    assert np.allclose(tags.calibrations[0].xyz_to_camera, CM1)


def test_senseless_values_take_the_default() -> None:
    tags = written(
        (50714, 5, 1, (512, 0), True),
        (50717, 4, 1, 0, True),
        (50728, 5, 3, (1, 2, 1, 1, 0, 1), True),
        (50829, 4, 4, (9, 9, 3, 3), True),
        (50729, 5, 2, (9, 10, 9, 10), True),
        matrix_tag(50721, np.zeros((3, 3))),
    )
    assert (tags.black, tags.black_tagged, tags.white) == ((0.0,), False, (65535.0,))
    assert (tags.neutral, tags.white_xy) == (None, None)
    assert tags.active_area == (0, 0, 12, 16)
    assert tags.calibrations == ()


def test_the_neutral_is_scaled_to_a_largest_value_of_one() -> None:
    tags = written((50728, 5, 3, ratios([0.8, 1.6, 1.2]), True))
    assert tags.neutral == pytest.approx((0.5, 1.0, 0.75))


def test_other_files_have_no_dng_tags() -> None:
    out = io.BytesIO()
    tifffile.imwrite(out, np.ones((4, 4), np.uint16))
    for data in (b"", b"II*\0", out.getvalue(), b"\xff\xd8\xff\xe0"):
        assert dng_tags(data) is None


@pytest.mark.parametrize(
    ("name", "facts"),
    [
        (
            "chart_dslr14.dng",
            {"white": (15000.0,), "black": (2056.0,), "active_area": (26, 152, 1156, 1734), "compression": 1},
        ),
        ("cinema_gbrg_ljpeg.dng", {"white": (51080.0,), "black": (256.0,), "linearised": True, "compression": 7}),
        ("linear_lossy_dark.dng", {"linear": True, "samples": 3, "black": (51.0,) * 3, "compression": 34892}),
        ("action_hero6.gpr", {"compression": 9, "black_repeat": (2, 2), "white": (16383.0,)}),
        ("trunc_leica_m10.dng", {"white": (15000.0,), "baseline_exposure": -0.78}),
    ],
)
def test_real_files_state_what_the_manifest_and_tifffile_say(
    captures: Path, name: str, facts: dict[str, object]
) -> None:
    tags = dng_tags((captures / name).read_bytes())
    assert {key: getattr(tags, key) for key in facts} == facts


@pytest.mark.parametrize(
    ("name", "words"),
    [("action_hero6.gpr", "wavelet"), ("cinema_gbrg_ljpeg.dng", "JPEG"), ("chart_dslr14.dng", "uncompressed")],
)
def test_a_compression_has_a_word_for_messages(captures: Path, name: str, words: str) -> None:
    tags = dng_tags((captures / name).read_bytes())
    assert tags is not None
    assert tags.coding == words
    assert replace(tags, compression=4711).coding == "compression 4711"


def test_both_matrices_of_a_real_file_are_read(captures: Path) -> None:
    tags = dng_tags((captures / "linear_lossy_dark.dng").read_bytes())
    assert tags is not None
    first, second = tags.calibrations
    assert first.xyz_to_camera[0] == pytest.approx((0.9376, -0.4139, -0.0394))
    assert second.camera_to_xyz_d50 is not None
    # forward matrices take a camera neutral of (1, 1, 1) to D50 (chapter 6)
    assert np.sum(second.camera_to_xyz_d50, axis=1) == pytest.approx((0.9642, 1.0, 0.8249), abs=2e-3)
