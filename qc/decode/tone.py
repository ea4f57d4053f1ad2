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
    (0.43604125, 0.38511291, 0.14304584),
    (0.22248454, 0.71690508, 0.06061038),
    (0.01392019, 0.09706724, 0.71391257),
)
"""Primaries and white of IEC 61966-2-1, adapted to D50 with linear Bradford; computed with colour-science."""

ADOBE_RGB_TO_XYZ_D50: Matrix = (
    (0.60974079, 0.20527256, 0.14918665),
    (0.31111253, 0.62567514, 0.06321232),
    (0.01946537, 0.06087451, 0.74456012),
)
"""Primaries and white of Adobe RGB (1998) color image encoding, 2005-05, 4.3.2, adapted in the same way."""

ADOBE_RGB_EXPONENT = 563 / 256
"""Adobe RGB (1998) color image encoding, 2005-05, 4.3.4.2."""


def srgb_curve(code: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return linear light of sRGB codes, both 0–1 (IEC 61966-2-1, 5.2)."""
    return np.where(code <= 0.04045, code / 12.92, ((np.maximum(code, 0.04045) + 0.055) / 1.055) ** 2.4)


def power_curve(exponent: float) -> Curve:
    """Return the curve code**exponent."""
    return lambda code: code**exponent


def split(codes: Codes) -> tuple[Codes, ...]:
    """Return a picture of shape (rows, columns, colours) as one contiguous plane a colour."""
    return tuple(np.ascontiguousarray(plane) for plane in cv2.split(codes))  # type: ignore[misc]  # keeps the depth


def to_linear(planes: Sequence[Codes], curves: Sequence[Curve]) -> NDArray[np.float32]:
    """Look up linear light for every code.

    Parameters
    ----------
    planes : sequence of ndarray of uint8 or uint16, shape (rows, columns)
        Device codes, one plane a colour.
    curves : sequence of callable
        One curve a colour.

    Returns
    -------
    ndarray of float32, shape (rows, columns, colours)
        Linear light, 0–1. The planes lie one after the other in memory, as a frame wants them.
    """
    entries = np.iinfo(planes[0].dtype).max + 1
    scale = np.linspace(0.0, 1.0, entries)
    light = np.empty((len(planes), *planes[0].shape), np.float32)
    for plane, curve, out in zip(planes, curves, light, strict=True):
        table = np.clip(curve(scale), 0.0, 1.0).astype(np.float32)
        cv2.LUT(plane, table.reshape(1, entries), dst=out)
    return np.moveaxis(light, 0, -1)


def at_top_code(planes: Sequence[Codes]) -> NDArray[np.bool_]:
    """Return which codes are the largest that their depth holds, laid out as `to_linear` lays out light."""
    top = np.empty((len(planes), *planes[0].shape), np.bool_)
    for plane, out in zip(planes, top, strict=True):
        np.equal(plane, np.iinfo(plane.dtype).max, out=out)
    return np.moveaxis(top, 0, -1)
