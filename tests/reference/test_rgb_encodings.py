"""Finished pictures are taken to light and to XYZ as the published encodings say.

Sources: IEC 61966-2-1 (sRGB), decoding function, values at 8 bits as tabulated in REFERENCE A7; Adobe RGB (1998)
color image encoding, 2005-05, 4.3.2 (primaries) and 4.3.4.2 (exponent); the matrices by colour-science.
"""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode.tone import (
    ADOBE_RGB_EXPONENT,
    ADOBE_RGB_TO_XYZ_D50,
    SRGB_TO_XYZ_D50,
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
