"""What every piece of the set shares: the view, slices, and how light falls on a surface."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.rehearse.lights import Light

Plane = NDArray[np.float32]
Planes = NDArray[np.float32]
Mask = NDArray[np.uint8]

FIELD_MM = 240.0
"""Width of the picture at the set."""

TABLE_MM = 34.0
"""Height in the picture of the table under the middle bottle."""

RISE = 0.36
"""How far the table rises in the picture per millimetre of depth: a level camera with its lens shifted down."""

TO_EYE = np.array([0.0, RISE, -1.0], dtype=np.float32) / np.float32(np.hypot(1.0, RISE))
"""Unit vector from the set to the camera."""

GLOSS = 0.045
"""Reflectance of glaze at normal incidence (Fresnel, refractive index 1.54)."""


@dataclass(frozen=True, slots=True)
class View:
    """Where the picture's pixels lie in the set.

    Attributes
    ----------
    rows, columns : int
        Size of the picture.
    """

    rows: int
    columns: int

    @property
    def scale(self) -> float:
        """Pixels per millimetre."""
        return self.columns / FIELD_MM

    @property
    def height_mm(self) -> float:
        """Height of the picture at the set."""
        return self.rows / self.scale

    def window(self, left: float, right: float, low: float, high: float) -> tuple[slice, slice]:
        """Return the rows and columns that hold a box of the picture plane, in millimetres."""
        first = np.floor([(self.height_mm - high) * self.scale, (left + FIELD_MM / 2) * self.scale])
        last = np.ceil([(self.height_mm - low) * self.scale, (right + FIELD_MM / 2) * self.scale])
        row, column = np.clip(first, 0, (self.rows, self.columns)).astype(int)
        below, beside = np.clip(last, 0, (self.rows, self.columns)).astype(int)
        return slice(int(row), int(below)), slice(int(column), int(beside))

    def grid(self, window: tuple[slice, slice], step: int = 1) -> tuple[Plane, Plane]:
        """Return x and picture height of the pixel centres of a window, each (rows, columns), millimetres."""
        rows = np.arange(window[0].start, window[0].stop, step, dtype=np.float32) + step / 2
        columns = np.arange(window[1].start, window[1].stop, step, dtype=np.float32) + step / 2
        x = columns / np.float32(self.scale) - np.float32(FIELD_MM / 2)
        y = np.float32(self.height_mm) - rows / np.float32(self.scale)
        return np.broadcast_to(x, (len(rows), len(columns))), np.broadcast_to(
            y[:, np.newaxis], (len(rows), len(columns))
        )

    def fraction(self, x: float, y: float) -> tuple[float, float]:
        """Return a point of the picture plane as fractions of the picture."""
        return x / FIELD_MM + 0.5, 1 - y / self.height_mm


@dataclass(frozen=True, slots=True, kw_only=True)
class Slice:
    """One piece of the set, cut out.

    Attributes
    ----------
    name : str
        What it is.
    window : (slice, slice)
        Rows and columns of the picture it may cover, room for blur included.
    cover : ndarray, shape (rows, columns)
        Share of each pixel it covers, 0–1.
    albedo : ndarray, shape (rows, columns, 3)
        Balanced camera RGB of its body.
    diffuse : ndarray, shape (rows, columns, lights)
        Light on it from each source.
    gloss : ndarray, shape (rows, columns, lights), or None
        Light mirrored in it.
    depth : ndarray, shape (rows, columns)
        z in millimetres.
    """

    name: str
    window: tuple[slice, slice]
    cover: Plane
    albedo: Planes
    diffuse: Planes
    gloss: Planes | None
    depth: Plane

    def close_up(self, margin: int) -> Slice:
        """Return the smallest part of it that holds all it covers and `margin` pixels around."""
        rows, columns = (np.flatnonzero(self.cover.any(axis=axis)) for axis in (1, 0))
        if not len(rows):
            margin, rows, columns = 0, np.array([0]), np.array([0])
        part = tuple(
            slice(max(int(found[0]) - margin, 0), min(int(found[-1]) + 1 + margin, size))
            for found, size in zip((rows, columns), self.cover.shape, strict=True)
        )
        first = [side.start for side in self.window]
        window = tuple(slice(at + cut.start, at + cut.stop) for at, cut in zip(first, part, strict=True))
        return Slice(
            name=self.name,
            window=(window[0], window[1]),
            cover=self.cover[part],
            albedo=self.albedo[part],
            diffuse=self.diffuse[part],
            gloss=None if self.gloss is None else self.gloss[part],
            depth=self.depth[part],
        )


def lit(lights: Sequence[Light], place: Planes, normal: Planes) -> Planes:
    """Return the light on a matt surface from each source, shape (rows, columns, lights)."""
    return np.stack([light.diffuse(place, normal) for light in lights], axis=-1).astype(np.float32)


def mirrored(lights: Sequence[Light], normal: Planes, sheen: float = GLOSS) -> Planes:
    """Return what a glossy surface mirrors of each source, shape (rows, columns, lights).

    Fresnel's factor by Schlick's approximation (Computer Graphics Forum 13(3), 1994, equation 15). The pale sweep
    around the set mirrors as well: a share of the light that falls on it.
    """
    facing = np.clip(np.tensordot(TO_EYE, normal, 1), 0, 1)
    reflected = 2 * facing * normal - TO_EYE[:, np.newaxis, np.newaxis]
    fresnel = np.float32(sheen) + np.float32(1 - sheen) * (1 - facing) ** 5
    around = 0.10 + 0.35 * np.clip(reflected[2], 0, 1)
    # A beam on the set alone does not light the paper around it.
    shares = [(light.mirrored(reflected) + around * (light.beam is None)) * fresnel for light in lights]
    return np.stack(shares, axis=-1).astype(np.float32)


def inside_polygon(x: Plane, y: Plane, corners: Sequence[tuple[float, float]], scale: float) -> Plane:
    """Return the share of each pixel inside a convex polygon with corners anticlockwise, millimetres."""
    distance = np.full(x.shape, np.inf, dtype=np.float32)
    for (x0, y0), (x1, y1) in zip(corners, [*corners[1:], corners[0]], strict=True):
        length = float(np.hypot(x1 - x0, y1 - y0))
        away = ((x1 - x0) * (y - y0) - (y1 - y0) * (x - x0)) / length
        distance = np.minimum(distance, away.astype(np.float32))
    return np.clip(distance * np.float32(scale) + np.float32(0.5), 0, 1)


def grain(rng: np.random.Generator, shape: tuple[int, int], size: float, amount: float) -> Plane:
    """Return smooth noise of unit mean: standard deviation `amount`, correlated over a Gaussian of `size` px."""
    step = max(1, int(size / 2))  # broad noise is made coarse and brought up
    rows, columns = shape
    noise: Plane = rng.standard_normal((rows // step + 2, columns // step + 2), dtype=np.float32)
    if size > 0.3:
        noise = np.asarray(cv2.GaussianBlur(noise, (0, 0), size / step), dtype=np.float32)
        noise /= np.float32(max(float(noise.std()), 1e-6))
    if step > 1:
        broad = cv2.resize(noise, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
        noise = np.asarray(broad, dtype=np.float32)
    return np.float32(1) + np.float32(amount) * noise[:rows, :columns]
