"""Every code is looked up in its own curve, at its own depth; published values: tests/reference."""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode.tone import (
    at_top_code,
    power_curve,
    split,
    srgb_curve,
    to_linear,
)


def test_both_branches_of_srgb_meet() -> None:
    below, above = srgb_curve(np.array([0.04045, np.nextafter(0.04045, 1)]))
    assert above == pytest.approx(below, rel=1e-4)


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
