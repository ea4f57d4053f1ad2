"""Zones: named places of the upright picture with a role.

A zone is a box or a closed polygon in fractions of the upright picture. `Zone.mask` and `Zone.window` are the
only ways from a zone to array indices, at any plane's resolution.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from qc.orientation import points_to_sensor
from qc.reading import Box


class Role(StrEnum):
    """What a zone is for."""

    PROTECT = "protect"
    ALLOW = "allow"
    SHARP = "sharp"
    MOVING = "moving"
    WITNESS = "witness"
    PATCH = "patch"
    BACKDROP = "backdrop"


@dataclass(frozen=True, slots=True, kw_only=True)
class Zone:
    """A named place of the upright picture.

    Attributes
    ----------
    name : str
        As the technician says it; unique in a sheet.
    role : Role
        What it is for.
    points : tuple of (x, y)
        Corners in fractions of the upright picture; at least three. `Zone.from_box` makes four.
    budget : float or None
        For ``allow``: area that may be burnt, that is clipped in at least one colour; % of frame.
    reference : str or None
        For ``patch``: ``"neutral"`` or ``"EDITION/patch name"`` of a chart; None is neutral.
    lightness : float or None
        For ``patch``: L* of its reference; None for the reference's own, 50 for neutral.
    """

    name: str
    role: Role
    points: tuple[tuple[float, float], ...]
    budget: float | None = None
    reference: str | None = None
    lightness: float | None = None

    @classmethod
    def from_box(
        cls,
        name: str,
        role: Role | str,
        box: Box,
        *,
        budget: float | None = None,
        reference: str | None = None,
        lightness: float | None = None,
    ) -> Zone:
        """Make a rectangular zone from left, top, width, height."""
        left, top, width, height = box
        right, bottom = left + width, top + height
        return cls(
            name=name,
            role=Role(role),
            points=((left, top), (right, top), (right, bottom), (left, bottom)),
            budget=budget,
            reference=reference,
            lightness=lightness,
        )

    def _pixels(self, shape: tuple[int, int], orientation: int) -> NDArray[np.float64]:
        """Corners as (x, y) in pixels of an array of `shape`, edges at integers + ½."""
        rows, columns = shape
        return points_to_sensor(np.array(self.points), orientation) * (columns, rows) - 0.5

    def window(self, shape: tuple[int, int], orientation: int) -> tuple[slice, slice]:
        """Return the rows and columns of the smallest window that holds the zone.

        Parameters
        ----------
        shape : (int, int)
            Rows and columns of the plane, sensor orientation.
        orientation : int
            Exif Orientation of the frame.

        Returns
        -------
        (slice, slice)
            Clipped to the plane; empty slices when the zone lies outside.
        """
        corners = self._pixels(shape, orientation)
        low = np.clip(np.ceil(corners.min(axis=0) - 1e-6), 0, (shape[1], shape[0])).astype(int)
        high = np.clip(np.floor(corners.max(axis=0) + 1e-6) + 1, 0, (shape[1], shape[0])).astype(int)
        return slice(low[1], max(low[1], high[1])), slice(low[0], max(low[0], high[0]))

    def mask(self, shape: tuple[int, int], orientation: int) -> NDArray[np.bool_]:
        """Return which pixels of a plane have their centre in the zone, shape `shape`."""
        rows, columns = self.window(shape, orientation)
        mask = np.zeros(shape, dtype=bool)
        mask[rows, columns] = self.mask_in_window(shape, orientation)
        return mask

    def mask_in_window(self, shape: tuple[int, int], orientation: int) -> NDArray[np.bool_]:
        """Return `mask` cut to `window`: the cheap form for small zones of large planes."""
        rows, columns = self.window(shape, orientation)
        inside = np.zeros((rows.stop - rows.start, columns.stop - columns.start), dtype=bool)
        if inside.size == 0:
            return inside
        corners = self._pixels(shape, orientation) - (columns.start, rows.start)
        if _is_box(corners):
            inside[:] = True
            return inside
        return _polygon(corners, (inside.shape[0], inside.shape[1]))


def _polygon(corners: NDArray[np.float64], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Return the pixels whose centre lies in a polygon or on its rim; corners are (x, y).

    Whether a pixel is in is asked one by one along the rim only. The rest is filled by OpenCV, whose corners are
    sixteenths of a pixel: on 50 megapixels that takes 0.05 s where asking everywhere takes 1.5 s.
    """
    import cv2  # heavy: only for zones that are no boxes

    if np.any(corners < -1) or np.any(corners > shape[::-1]):
        # OpenCV cuts wide lines that leave the picture; a sheet does not let a zone do that
        return _in_polygon(corners, np.ones(shape, dtype=bool), np.zeros(shape, dtype=bool))
    inside, rim = np.zeros(shape, dtype=np.uint8), np.zeros(shape, dtype=np.uint8)
    sixteenths = np.rint(corners * 16).astype(np.int32)
    cv2.fillPoly(inside, [sixteenths], 1, shift=4)
    cv2.polylines(rim, [sixteenths], isClosed=True, color=1, thickness=5, shift=4)
    return _in_polygon(corners, rim.view(np.bool_), inside.view(np.bool_))


def _in_polygon(
    corners: NDArray[np.float64], asked: NDArray[np.bool_], inside: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Ask of some pixels whether they are in, and return `inside` with the answers."""
    from skimage.measure import points_in_poly  # heavy

    y, x = np.nonzero(asked)
    inside[y, x] = points_in_poly(np.stack([x, y], axis=-1), corners)
    return inside


def _is_box(corners: NDArray[np.float64]) -> bool:
    return len(corners) == 4 and len(set(np.round(corners[:, 0], 6))) == 2 == len(set(np.round(corners[:, 1], 6)))


def with_role(zones: Sequence[Zone], *roles: Role) -> tuple[Zone, ...]:
    """Return the zones that have one of the roles, in sheet order."""
    return tuple(zone for zone in zones if zone.role in roles)


def union_mask(zones: Sequence[Zone], shape: tuple[int, int], orientation: int) -> NDArray[np.bool_]:
    """Return the pixels of a plane that lie in any of the zones, shape `shape`."""
    mask = np.zeros(shape, dtype=bool)
    for zone in zones:
        rows, columns = zone.window(shape, orientation)
        mask[rows, columns] |= zone.mask_in_window(shape, orientation)
    return mask
