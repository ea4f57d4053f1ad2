"""CIEDE2000 against its published test data.

Source: Sharma, Wu, Dalal, "The CIEDE2000 Color-Difference Formula: Implementation Notes, Supplementary Test Data,
and Mathematical Observations", Color Research and Application 30(1), 21-30, 2005, table 1: 34 pairs to 4 decimals
(testdata/ciede2000_pairs.csv). Pairs 7 to 16 catch mistakes of the hue difference, 31 and 32 lie near white, 33
and 34 near black.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from skimage.color import deltaE_ciede2000

from qc.measure._colour import delta_e_2000

PAIRS = np.loadtxt(Path(__file__).parents[2] / "testdata" / "ciede2000_pairs.csv", delimiter=",")


def test_the_table_holds_all_pairs() -> None:
    assert PAIRS.shape == (34, 7)


def test_every_pair_is_met_to_the_rounding_of_the_table() -> None:
    found = delta_e_2000(PAIRS[:, 0:3], PAIRS[:, 3:6])
    np.testing.assert_allclose(found, PAIRS[:, 6], atol=1e-4, rtol=0)


def test_the_difference_is_the_same_both_ways() -> None:
    there, back = delta_e_2000(PAIRS[:, 0:3], PAIRS[:, 3:6]), delta_e_2000(PAIRS[:, 3:6], PAIRS[:, 0:3])
    np.testing.assert_allclose(there, back, atol=1e-9)


@pytest.mark.parametrize(
    ("shift", "difference"), [((1, 0), 1.451), ((0, 1), 0.978), ((2, 0), 2.810), ((0, 2), 1.914), ((0, 3), 2.810)]
)
@pytest.mark.parametrize("lightness", [20.0, 50.0, 90.0])
def test_a_cast_at_neutral_counts_more_along_a_than_along_b(
    shift: tuple[float, float], difference: float, lightness: float
) -> None:
    neutral, cast = np.array((lightness, 0.0, 0.0)), np.array((lightness, *shift))
    found = float(delta_e_2000(neutral, cast))
    assert found == pytest.approx(difference, abs=1e-3)
    assert found == pytest.approx(float(deltaE_ciede2000(neutral, cast)), abs=1e-9)
