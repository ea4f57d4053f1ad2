"""The one place that turns pictures, points, boxes and angles between sensor and upright orientation.

Arrays are rows × columns in sensor orientation, pixel centres at integers. Zones and regions are fractions of
the upright picture: x to the right, y down, (0, 0) its top-left corner and (1, 1) its bottom-right corner.
`orientation` is the Exif Orientation value 1–8 (Exif 2.32, tag 274): how the stored rows and columns are to be
shown. 0 and "not recorded" count as 1.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from qc.reading import Box

Scalar = TypeVar("Scalar", bound=np.generic)

_TO_SENSOR: dict[int, tuple[tuple[int, int, int], tuple[int, int, int]]] = {
    # (constant, factor of u, factor of v) for sensor x, then for sensor y
    1: ((0, 1, 0), (0, 0, 1)),
    2: ((1, -1, 0), (0, 0, 1)),
    3: ((1, -1, 0), (1, 0, -1)),
    4: ((0, 1, 0), (1, 0, -1)),
    5: ((0, 0, 1), (0, 1, 0)),
    6: ((0, 0, 1), (1, -1, 0)),
    7: ((1, 0, -1), (1, -1, 0)),
    8: ((1, 0, -1), (0, 1, 0)),
}


def swaps_sides(orientation: int) -> bool:
    """Tell whether width and height change places between sensor and upright picture."""
    return orientation in (5, 6, 7, 8)


def upright(array: NDArray[Scalar], orientation: int) -> NDArray[Scalar]:
    """Turn an array from sensor to upright orientation; a view where possible.

    Parameters
    ----------
    array : ndarray, shape (rows, columns, ...)
        In sensor orientation.
    orientation : int
        Exif Orientation.

    Returns
    -------
    ndarray
        In upright orientation; further axes unchanged.
    """
    if swaps_sides(orientation):
        array = np.swapaxes(array, 0, 1)
    flip_rows, flip_columns = {
        2: (False, True),
        3: (True, True),
        4: (True, False),
        6: (False, True),
        7: (True, True),
        8: (True, False),
    }.get(orientation, (False, False))
    return array[:: -1 if flip_rows else 1, :: -1 if flip_columns else 1]


def points_to_sensor(points: NDArray[np.floating[Any]], orientation: int) -> NDArray[np.float64]:
    """Turn (x, y) fractions of the upright picture into fractions of the sensor picture, shape (n, 2)."""
    (cx, ux, vx), (cy, uy, vy) = _TO_SENSOR.get(orientation, _TO_SENSOR[1])
    u, v = np.asarray(points, dtype=np.float64).T
    return np.stack([cx + ux * u + vx * v, cy + uy * u + vy * v], axis=-1)


def points_to_upright(points: NDArray[np.floating[Any]], orientation: int) -> NDArray[np.float64]:
    """Turn (x, y) fractions of the sensor picture into fractions of the upright picture, shape (n, 2)."""
    inverse = {6: 8, 8: 6}.get(orientation, orientation)
    return points_to_sensor(points, inverse)


def box_to_sensor(box: Box, orientation: int) -> Box:
    """Turn left, top, width, height from the upright to the sensor picture (fractions)."""
    return _box(points_to_sensor(_corners(box), orientation))


def box_to_upright(box: Box, orientation: int) -> Box:
    """Turn left, top, width, height from the sensor to the upright picture (fractions)."""
    return _box(points_to_upright(_corners(box), orientation))


def angle_to_upright(degrees: float, orientation: int) -> float:
    """Turn the direction of a line from the sensor to the upright picture.

    Parameters
    ----------
    degrees : float
        Anticlockwise from +x as seen on the sensor picture.
    orientation : int
        Exif Orientation.

    Returns
    -------
    float
        The same line in the upright picture, in [0, 180).
    """
    t = np.deg2rad(degrees)
    ends = np.array([[0.0, 0.0], [np.cos(t), -np.sin(t)]])  # y runs down
    (x0, y0), (x1, y1) = points_to_upright(ends, orientation)
    turned = float(np.rad2deg(np.arctan2(-(y1 - y0), x1 - x0))) % 180.0
    return 0.0 if np.isclose(turned, 180.0) else turned


def _corners(box: Box) -> NDArray[np.float64]:
    left, top, width, height = box
    return np.array([[left, top], [left + width, top + height]])


def _box(corners: NDArray[np.float64]) -> Box:
    low, high = corners.min(axis=0), corners.max(axis=0)
    return (float(low[0]), float(low[1]), float(high[0] - low[0]), float(high[1] - low[1]))
