"""Codes become linear light as the published encodings say.

References: IEC 61966-2-1 (values from REFERENCE A7), Adobe RGB (1998) color image encoding, colour-science.
"""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode.tone import (
    ADOBE_RGB_EXPONENT,
    ADOBE_RGB_TO_XYZ_D50,
    SRGB_TO_XYZ_D50,
    at_top_code,
    power_curve,
    split,
    srgb_curve,
    to_linear,
)

SRGB = {255: 1.0, 254: 0.9911, 250: 0.9560, 243: 0.8963, 235: 0.8308, 200: 0.5776, 128: 0.2159, 118: 0.1812}
D50 = (0.9642, 1.0, 0.8249)


@pytest.mark.parametrize(("code", "light"), [*SRGB.items(), (10, 0.0030), (0, 0.0)])
def test_srgb_codes_are_the_published_light(code: int, light: float) -> None:
    codes = np.full((2, 3, 3), code, np.uint8)
    assert to_linear(split(codes), (srgb_curve,) * 3) == pytest.approx(light, abs=5e-5)


def test_both_branches_of_srgb_meet() -> None:
    below, above = srgb_curve(np.array([0.04045, np.nextafter(0.04045, 1)]))
    assert above == pytest.approx(below, rel=1e-4)


@pytest.mark.filterwarnings("ignore:.*Matplotlib.*")  # colour-science says so when it is first imported
@pytest.mark.parametrize(
    ("name", "matrix"), [("sRGB", SRGB_TO_XYZ_D50), ("Adobe RGB (1998)", ADOBE_RGB_TO_XYZ_D50)]
)
def test_matrices_are_those_of_the_published_primaries(name: str, matrix: tuple[tuple[float, ...], ...]) -> None:
    import colour

    space = colour.RGB_COLOURSPACES[name]
    to_xyz = colour.normalised_primary_matrix(space.primaries, space.whitepoint)
    adapt = colour.adaptation.matrix_chromatic_adaptation_VonKries(to_xyz.sum(axis=1), np.array(D50), "Bradford")
    assert np.allclose(matrix, adapt @ to_xyz, atol=1e-7)
    assert np.sum(matrix, axis=1) == pytest.approx(D50, abs=1e-6)


def test_adobe_rgb_has_its_published_exponent() -> None:
    assert ADOBE_RGB_EXPONENT == 2.19921875


@pytest.mark.parametrize("bits", [8, 16])
@pytest.mark.parametrize("colours", [1, 3])
def test_every_code_is_looked_up_in_its_own_curve(bits: int, colours: int) -> None:
    top = 2**bits - 1
    stored = np.stack([np.arange(256) * (top // 255)] * colours, axis=-1).reshape(16, 16, colours)
    exponents = (1.0, 2.0, 3.0)[:colours]
    codes = stored.astype(np.uint8) if bits == 8 else stored.astype(np.uint16)
    light = to_linear(split(codes), [power_curve(e) for e in exponents])
    assert light.dtype == np.float32
    assert light.shape == codes.shape
    assert np.allclose(light, (stored / top) ** np.array(exponents), atol=1e-7)


def test_no_two_codes_of_16_bits_become_one() -> None:
    light = to_linear((np.arange(65536, dtype=np.uint16).reshape(256, 256),), (srgb_curve,))
    assert len(np.unique(light)) == 65536


def test_only_the_largest_code_of_its_depth_is_at_the_top() -> None:
    codes = np.array([[[255, 254, 255], [0, 255, 1]]], np.uint8)
    assert np.array_equal(at_top_code(split(codes)), codes == 255)
    assert not at_top_code(split(codes.astype(np.uint16))).any()


def test_planes_of_colour_lie_one_after_the_other() -> None:
    codes = np.zeros((5, 7, 3), np.uint8)
    for array in (to_linear(split(codes), (srgb_curve,) * 3), at_top_code(split(codes))):
        assert array.shape == (5, 7, 3)
        assert np.moveaxis(array, -1, 0).flags.c_contiguous
