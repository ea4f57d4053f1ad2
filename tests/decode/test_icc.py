"""ICC profiles made of matrix and curves give the light and the XYZ that a general-purpose engine gives.

References: ICC.1:2022; LittleCMS by way of imagecodecs.
"""

from __future__ import annotations

import struct

import imagecodecs
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.decode.icc import read_profile
from qc.decode.tone import ADOBE_RGB_EXPONENT, srgb_curve

STEPS = np.linspace(0.0, 1.0, 1001)
WHITE, PRIMARIES = [0.3127, 0.3290, 1], [0.64, 0.33, 1, 0.3, 0.6, 1, 0.15, 0.06, 1]
CURVE = (STEPS[::8] ** 2).astype(np.float32)
PROFILES = {
    "srgb": imagecodecs.cms_profile("srgb"),
    "adobe": imagecodecs.cms_profile("adobergb"),
    "gamma 1.8": imagecodecs.cms_profile("rgb", whitepoint=WHITE, primaries=PRIMARIES, gamma=1.8),
    "table": imagecodecs.cms_profile("rgb", whitepoint=WHITE, primaries=PRIMARIES, transferfunction=CURVE),
}


def number(value: float) -> bytes:
    return struct.pack(">i", round(value * 65536))


def built(curve: bytes, space: bytes = b"RGB ", white: float = 1.0, further: tuple[bytes, ...] = ()) -> bytes:
    """A profile with one curve for all channels and colorants that add up to D50 times `white`."""
    xyz = [b"XYZ \0\0\0\0" + b"".join(number(v * white / 3) for v in (0.9642, 1.0, 0.8249))] * 3
    names = (b"kTRC",) if space == b"GRAY" else (b"rTRC", b"gTRC", b"bTRC")
    tags = [*((name, curve) for name in names), *zip((b"rXYZ", b"gXYZ", b"bXYZ"), xyz, strict=True)]
    tags += [(name, b"mft2") for name in further]
    header = bytearray(128)
    header[16:20], header[36:40] = space, b"acsp"
    at = 132 + 12 * len(tags)
    table, body = struct.pack(">I", len(tags)), b""
    for name, content in tags:
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += content
    return bytes(header) + table + body


def para(function: int, *values: float) -> bytes:
    return b"para\0\0\0\0" + struct.pack(">HH", function, 0) + b"".join(map(number, values))


def curv(*values: int) -> bytes:
    return b"curv\0\0\0\0" + struct.pack(f">I{len(values)}H", len(values), *values)


@pytest.mark.parametrize("name", PROFILES)
def test_colours_come_out_as_littlecms_has_them(name: str) -> None:
    rgb = np.random.default_rng(1).random((20, 20, 3)).astype(np.float32)
    theirs = imagecodecs.cms_transform(
        rgb, PROFILES[name], imagecodecs.cms_profile("xyz"), colorspace="rgb", outcolorspace="xyz", outdtype="f4"
    )
    ours = read_profile(PROFILES[name], 3)
    assert ours.reason is None
    assert ours.curves is not None
    assert ours.matrix is not None
    light = np.stack([curve(rgb[..., i].astype(float)) for i, curve in enumerate(ours.curves)], axis=-1)
    assert np.allclose(light @ np.array(ours.matrix).T, theirs, atol=2e-4)


def test_published_curves_are_recognised() -> None:
    srgb, adobe = (read_profile(PROFILES[name], 3).curves for name in ("srgb", "adobe"))
    assert srgb is not None
    assert adobe is not None
    assert np.allclose(srgb[0](STEPS), srgb_curve(STEPS), atol=2e-5)
    assert np.allclose(adobe[2](STEPS), STEPS**ADOBE_RGB_EXPONENT, atol=1e-9)


@pytest.mark.parametrize(
    ("tag", "expected"),
    [
        (curv(), STEPS),
        (curv(0x0200), STEPS**2),
        (curv(0, 65535), STEPS),
        (curv(0, 16384, 65535), np.interp(STEPS, [0, 0.5, 1], [0, 16384 / 65535, 1])),
        (para(0, 2.0), STEPS**2),
        (para(1, 2.0, 1.25, -0.25), np.where(STEPS >= 0.2, np.maximum(1.25 * STEPS - 0.25, 0) ** 2, 0)),
        (
            para(2, 2.0, 1.25, -0.25, 0.1),
            np.minimum(np.where(STEPS >= 0.2, np.maximum(1.25 * STEPS - 0.25, 0) ** 2 + 0.1, 0.1), 1),
        ),
        (para(3, 2.0, 1.0, 0.0, 0.5, 0.5), np.where(STEPS >= 0.5, STEPS**2, 0.5 * STEPS)),
        (
            para(4, 2.0, 0.5, 0.5, 0.25, 0.5, 0.0, 0.125),
            np.where(STEPS >= 0.5, (0.5 * STEPS + 0.5) ** 2, 0.25 * STEPS + 0.125),
        ),
    ],
)
def test_every_form_of_curve_follows_its_formula(tag: bytes, expected: np.ndarray) -> None:
    profile = read_profile(built(tag), 3)
    assert profile.reason is None
    assert profile.curves is not None
    assert np.allclose(profile.curves[1](STEPS), expected, atol=2e-5)


def test_a_grey_profile_gives_light_and_no_colour() -> None:
    profile = read_profile(built(curv(0x0200), space=b"GRAY"), 1)
    assert profile.curves is not None
    assert profile.curves[0](STEPS) == pytest.approx(STEPS**2)
    assert profile.matrix is None
    assert profile.reason is not None


@pytest.mark.parametrize(
    ("data", "channels", "text", "has_curves"),
    [
        (b"", 3, "cannot be read", False),
        (bytes(200), 3, "cannot be read", False),
        (built(curv()), 1, "another kind of colour", False),
        (built(curv(), space=b"CMYK"), 3, "another kind of colour", False),
        (built(b"none"), 3, "no tone curves", False),
        (built(para(9, 1.0)), 3, "no tone curves", False),
        (built(curv(0)), 3, "no tone curves", False),
        (built(curv(), white=0.9), 3, "no usable matrix", True),
        (built(curv(), further=(b"A2B0",)), 3, "look-up table", True),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_reason(
    data: bytes, channels: int, text: str, has_curves: bool
) -> None:
    profile = read_profile(data, channels)
    assert profile.matrix is None
    assert profile.reason is not None
    assert text in profile.reason.text
    assert (profile.curves is not None) == has_curves


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(sorted(PROFILES)), st.data())
def test_a_mutated_profile_never_gives_more_than_a_reason(name: str, data: st.DataObject) -> None:
    mutated = bytearray(PROFILES[name])
    for _ in range(data.draw(st.integers(1, 5))):
        at = data.draw(st.integers(0, len(mutated) - 1))
        mutated[at : at + 2] = data.draw(st.binary(min_size=1, max_size=2))
    profile = read_profile(bytes(mutated[: data.draw(st.integers(0, len(mutated)))]), 3)
    assert (profile.matrix is None) == (profile.reason is not None)
    for curve in profile.curves or ():
        assert np.isfinite(curve(STEPS)).all()
