"""Small finished pictures of every kind, for the tests to read back."""

from __future__ import annotations

import io
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

from qc.decode.tone import srgb_curve
from qc.frame import Cfa

RNG = np.random.default_rng(11)
RGB8 = RNG.integers(0, 256, (24, 40, 3)).astype(np.uint8)
RGB16 = RNG.integers(0, 65536, (24, 40, 3)).astype(np.uint16)
ADOBE = imagecodecs.cms_profile("adobergb")
LINEAR = imagecodecs.cms_profile(
    "rgb", whitepoint=[0.3127, 0.3290, 1], primaries=[0.64, 0.33, 1, 0.3, 0.6, 1, 0.15, 0.06, 1], gamma=1.0
)
BAYER = Cfa(pattern=((0, 1), (1, 2)))


def tiff(array: np.ndarray, **how: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, array, **how)
    return out.getvalue()


def png(array: np.ndarray) -> bytes:
    return bytes(imagecodecs.png_encode(np.ascontiguousarray(array)))


def pillow(array: np.ndarray, kind: str, mode: str | None = None, **how: Any) -> bytes:
    out = io.BytesIO()
    image = Image.fromarray(array)
    (image.convert(mode) if mode else image).save(out, kind, **how)
    return out.getvalue()


def srgb(array: np.ndarray) -> np.ndarray:
    return srgb_curve(array / float(np.iinfo(array.dtype).max))
