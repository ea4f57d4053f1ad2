"""The two colour spaces that a file may be in without a profile, and the look-up from code to linear light."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

Curve = Callable[[NDArray[np.float64]], NDArray[np.float64]]
"""Device code 0–1 to linear light 0–1."""

Matrix = tuple[tuple[float, ...], ...]
Codes = NDArray[np.uint8] | NDArray[np.uint16]

SRGB_TO_XYZ_D50: Matrix = (
    (0.43606567, 0.38514709, 0.14306641),
    (0.22248840, 0.71687317, 0.06060791),
    (0.01391602, 0.09707642, 0.71409607),
)
"""Primaries and white of IEC 61966-2-1, adapted to D50 with linear Bradford, in the s15Fixed16 steps of an ICC
profile; compared with colour-science in the tests."""

ADOBE_RGB_TO_XYZ_D50: Matrix = (
    (0.60974121, 0.20527649, 0.14918518),
    (0.31111145, 0.62567139, 0.06321716),
    (0.01947021, 0.06086731, 0.74456787),
)
"""Primaries and white of Adobe RGB (1998) color image encoding, 2005-05, 4.3.2, adapted to D50 in the same way."""

ADOBE_RGB_EXPONENT = 563 / 256
"""Adobe RGB (1998) color image encoding, 2005-05, 4.3.4.2."""


def srgb_curve(code: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return linear light of sRGB codes, both 0–1 (IEC 61966-2-1, 5.2)."""
    return np.where(code <= 0.04045, code / 12.92, ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4)


def power_curve(exponent: float) -> Curve:
    """Return the curve code**exponent."""
    return lambda code: code**exponent


def to_linear(codes: Codes, curves: Sequence[Curve]) -> NDArray[np.float32]:
    """Look up linear light for every code.

    Parameters
    ----------
    codes : ndarray of uint8 or uint16, shape (rows, columns, colours)
        Device codes.
    curves : sequence of callable
        One curve a colour.

    Returns
    -------
    ndarray of float32, same shape
        Linear light, 0–1.
    """
    entries = np.iinfo(codes.dtype).max + 1
    scale = np.linspace(0.0, 1.0, entries)
    tables = np.stack([curve(scale) for curve in curves], axis=-1).astype(np.float32)
    table = np.ascontiguousarray(np.clip(tables, 0.0, 1.0)).reshape(1, entries, len(curves))
    return np.asarray(cv2.LUT(codes, table), dtype=np.float32).reshape(codes.shape)
