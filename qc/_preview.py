"""The small grey picture of a frame: for looking at only, nothing is measured on it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from qc.orientation import upright

if TYPE_CHECKING:
    from qc.frame import Frame, Plane

LONG_SIDE = 1600
"""Most preview pixels along the long side."""

MOST_LIFT = 6
"""Most stops a dark frame is lifted by."""

READABLE: Final = {98: 0.25, 90: 0.1}
"""Percentile of the light and the level it must reach, or the frame is lifted. Our own choice."""

_CODES = 65535


def preview_of(frame: Frame) -> tuple[NDArray[np.uint8], int]:
    """Return the upright grey picture of a frame, and how many stops it was lifted by.

    Parameters
    ----------
    frame : Frame
        The capture.

    Returns
    -------
    preview : ndarray of uint8, shape (rows, columns)
        At most `LONG_SIDE` along the long side, never more than the frame has cells; pixels are square. One black
        pixel for a frame without cells.
    lift : int
        Whole stops, 0 to `MOST_LIFT`.

    Notes
    -----
    The green plane (the mean of all planes where there is no green), area-averaged. Its tone is fixed: sRGB's
    transfer function (IEC 61966-2-1) on light where 1 is the tagged white level. A frame whose bright parts miss
    `READABLE` is lifted by whole stops until they do not, by g = 2 to the lift in y = gx (1 + x/g) / (1 + gx):
    Reinhard et al. 2002, Photographic tone reproduction for digital images, equation 4, with white at the tagged
    level. It is the identity for g = 1 and keeps white white.
    """
    import cv2

    grey = _grey(frame)
    if grey.size == 0:
        return np.zeros((1, 1), dtype=np.uint8), 0
    rows, columns = grey.shape
    columns_shown = columns * frame.pixel_aspect
    factor = min(1.0, LONG_SIDE / max(rows, columns_shown), columns / columns_shown)
    size = max(1, round(columns_shown * factor)), max(1, round(rows * factor))
    small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA)
    codes = np.clip(np.rint(small * np.float32(_CODES)), 0, _CODES).astype(np.uint16).reshape(size[::-1])
    lift = _lift(codes)
    return np.ascontiguousarray(upright(_tone(lift)[codes], frame.orientation)), lift


def _grey(frame: Frame) -> Plane:
    if "G" in frame.colours:
        return frame.cells[frame.colours.index("G")]
    return frame.cells[0] if len(frame.colours) == 1 else frame.cells.mean(axis=0)


def _lift(codes: NDArray[np.uint16]) -> int:
    """Return whole stops, 0 to `MOST_LIFT`, by which the brighter parts miss a readable level."""
    sample = codes[:: max(1, codes.shape[0] // 400), :: max(1, codes.shape[1] // 400)]
    shares = np.percentile(sample, list(READABLE)) / _CODES / list(READABLE.values())
    return int(np.clip(np.ceil(-np.log2(max(float(shares.min()), 1e-9))), 0, MOST_LIFT))


def _tone(lift: int) -> NDArray[np.uint8]:
    """Grey by code of light, shape (65536,)."""
    x, g = np.linspace(0.0, 1.0, _CODES + 1), 2.0**lift
    y = g * x * (1 + x / g) / (1 + g * x)
    encoded = np.where(y <= 0.0031308, 12.92 * y, 1.055 * y ** (1 / 2.4) - 0.055)
    return np.rint(encoded * 255).astype(np.uint8)
