"""Stoneware bottles: a turned body, glaze over bare clay, iron speckle, a label pasted round it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.rehearse._label import Label, paste
from qc.rehearse._surface import RISE, TABLE_MM, Mask, Plane, Planes, Slice, View, grain, lit, mirrored
from qc.rehearse._sweep import Footprint, ellipse
from qc.rehearse.lights import Light, smooth_step


@dataclass(frozen=True, slots=True, kw_only=True)
class Bottle:
    """One bottle.

    Attributes
    ----------
    name : str
        What it is called.
    x, z : float
        Where it stands, millimetres.
    profile : tuple of (height, radius)
        Turned outline from foot to mouth, millimetres.
    glaze, clay : (float, float, float)
        Balanced camera RGB of the glazed and of the bare body.
    dip : float
        Height up to which the clay is bare.
    label : Label or None
        What is pasted on it.
    speckles : int
        Iron specks on its front.
    turn : float
        How far its label is turned away from the front, radians.
    """

    name: str
    x: float
    z: float
    profile: tuple[tuple[float, float], ...]
    glaze: tuple[float, float, float]
    clay: tuple[float, float, float] = (0.44, 0.33, 0.245)
    dip: float = 12.0
    label: Label | None = None
    speckles: int = 260
    turn: float = 0.0

    @property
    def height(self) -> float:
        """Height in millimetres."""
        return self.profile[-1][0]

    @property
    def widest(self) -> float:
        """Largest radius in millimetres."""
        return max(radius for _, radius in self.profile)

    @property
    def foot(self) -> float:
        """Height in the picture of the centre of its foot, millimetres."""
        return TABLE_MM + RISE * self.z

    def footprint(self) -> Footprint:
        """Return what casts its shadow."""
        return Footprint(x=self.x, z=self.z, radii=self.profile)

    def radius(self, height: Plane | np.float32) -> Plane:
        """Return the radius at a height, by a smooth curve through the profile."""
        heights, radii = _curve(self.profile)
        return np.asarray(np.interp(height, heights, radii), dtype=np.float32)

    def cut(self, view: View, lights: Sequence[Light], rng: np.random.Generator) -> Slice:
        """Return the bottle as a slice of the picture."""
        room = 4.0
        window = view.window(
            self.x - self.widest - room,
            self.x + self.widest + room,
            self.foot - self.widest * RISE - room,
            self.foot + self.height + self.widest * RISE + room,
        )
        x, picture = view.grid(window)
        side, level = x - np.float32(self.x), picture - np.float32(self.foot)
        outer = self.radius(level)
        depth = np.sqrt(np.clip(outer**2 - side**2, 0, None))
        height = level + np.float32(RISE) * depth
        cover = self._cover(side, level, outer, view.scale)
        normal = self._normal(side, height, outer, depth, view, rng)
        place = np.stack([x, np.clip(height, 0, self.height), np.float32(self.z) - depth])
        diffuse, gloss = lit(lights, place, normal), mirrored(lights, normal)
        albedo, shine = self._body(side, height, outer, view, rng)
        diffuse *= self._shade(height, normal)[..., np.newaxis]
        albedo, shine, diffuse = self._mouth(side, level, view, albedo, shine, diffuse)
        return Slice(
            name=self.name,
            window=window,
            cover=cover,
            albedo=albedo,
            diffuse=diffuse,
            gloss=gloss * shine[..., np.newaxis],
            depth=place[2],
        )

    def _cover(self, side: Plane, level: Plane, outer: Plane, scale: float) -> Plane:
        lift = np.float32(RISE) * np.sqrt(np.clip(outer**2 - side**2, 0, None))
        slope = np.abs(np.gradient(outer, axis=0)) * np.float32(scale)
        across = (outer - np.abs(side)) / np.sqrt(1 + slope**2)
        above = level + lift  # the foot is a half ellipse that bulges down
        below = np.float32(self.height) + lift - level  # and so is the far edge of the mouth, up
        inside = np.minimum(across, np.minimum(above, below))
        return np.clip(inside * np.float32(scale) + 0.5, 0, 1).astype(np.float32)

    def _normal(
        self, side: Plane, height: Plane, outer: Plane, depth: Plane, view: View, rng: np.random.Generator
    ) -> Planes:
        slope = self.radius(height + 0.4) - self.radius(height - 0.4)
        slope = np.clip(slope / np.float32(0.8), -2.5, 2.5)
        radius = np.maximum(outer, 1e-3)
        shape = (side.shape[0], side.shape[1])
        # Thrown by hand and glazed: faint turning rings and the unevenness of a fired surface.
        rings = 0.018 * np.sin(height * 1.9 + 0.6 * np.sin(height * 0.37))
        uneven = [grain(rng, shape, 1.6 * view.scale, 0.013) - 1 for _ in range(2)]
        normal = np.stack([side / radius + uneven[0], -slope + rings + uneven[1], -depth / radius])
        normal /= np.linalg.norm(normal, axis=0)
        return normal.astype(np.float32)

    def _shade(self, height: Plane, normal: Planes) -> Plane:
        """Return what is left of light low down, where the table is near and shaded."""
        return (0.72 + 0.28 * smooth_step(height / 26) + 0.10 * np.clip(-normal[1], 0, 1)).astype(np.float32)

    def _body(
        self, side: Plane, height: Plane, outer: Plane, view: View, rng: np.random.Generator
    ) -> tuple[Planes, Plane]:
        angle = np.arcsin(np.clip(side / np.maximum(outer, 1e-3), -1, 1))
        line = self.dip + 1.6 * np.sin(2.1 * angle + 0.7) + 0.7 * np.sin(5.3 * angle)
        glazed = smooth_step((height - line) / 0.5)
        pooled = np.exp(-np.clip(height - line, 0, None) / 1.6)  # glaze runs and is thicker at its lower edge
        top = smooth_step((height - (self.height - 7)) / 6)
        glaze = np.array(self.glaze, dtype=np.float32) * (1 - 0.35 * pooled - 0.10 * top)[..., np.newaxis]
        cloud = grain(rng, (side.shape[0], side.shape[1]), 3.5 * view.scale, 0.05)
        clay = (
            np.array(self.clay, dtype=np.float32)
            * grain(rng, (side.shape[0], side.shape[1]), 0.12 * view.scale, 0.06)[..., np.newaxis]
        )
        albedo = clay * (1 - glazed[..., np.newaxis]) + glaze * (glazed * cloud)[..., np.newaxis]
        albedo *= 1 - self._specks(view, side, height, rng)[..., np.newaxis] * np.array(
            [0.45, 0.58, 0.68], dtype=np.float32
        )
        shine = 0.10 + 0.90 * glazed
        if self.label is not None:
            arc = (angle - np.float32(self.turn)) * outer
            paper, print_cover = paste(self.label, arc, height, self.widest, view.scale)
            albedo = albedo * (1 - print_cover[..., np.newaxis]) + paper * print_cover[..., np.newaxis]
            shine = shine * (1 - 0.97 * print_cover)
        return albedo.astype(np.float32), shine.astype(np.float32)

    def _specks(self, view: View, side: Plane, height: Plane, rng: np.random.Generator) -> Plane:
        mask: Mask = np.zeros(side.shape, dtype=np.uint8)
        scale = view.scale
        for _ in range(self.speckles):
            angle, h = rng.uniform(-1.5, 1.5), rng.uniform(self.dip - 4, self.height)
            size = min(rng.lognormal(-1.55, 0.5), 0.9)
            radius = float(self.radius(np.float32(h)))
            level = h - RISE * radius * np.cos(angle)
            column = (radius * np.sin(angle) - float(side[0, 0])) * scale + 0.5
            row = (float(height[0, 0]) - level) * scale + 0.5
            ellipse(mask, column, row, (size * scale * np.cos(angle), size * scale), int(rng.integers(90, 255)))
        return mask.astype(np.float32) / np.float32(255)

    def _mouth(
        self, side: Plane, level: Plane, view: View, albedo: Planes, shine: Plane, diffuse: Planes
    ) -> tuple[Planes, Plane, Planes]:
        """Darken the opening, which is an ellipse at the top."""
        mouth = self.profile[-1][1]
        away = np.hypot(side, (level - np.float32(self.height)) / np.float32(RISE))
        hole = np.clip((np.float32(mouth - 1.9) - away) * np.float32(view.scale * RISE) + 0.5, 0, 1)
        deep = 1 - hole * np.float32(0.93)
        return (
            (albedo * deep[..., np.newaxis]).astype(np.float32),
            (shine * (1 - hole)).astype(np.float32),
            diffuse,
        )


def _curve(profile: tuple[tuple[float, float], ...]) -> tuple[Plane, Plane]:
    """Return a profile refined by a curve that overshoots nowhere (Fritsch and Carlson 1980: monotone cubic)."""
    heights, radii = (np.array(part, dtype=np.float64) for part in zip(*profile, strict=True))
    steps = np.diff(radii) / np.diff(heights)
    middle = np.where(steps[1:] * steps[:-1] > 0, 2 / (1 / _safe(steps[1:]) + 1 / _safe(steps[:-1])), 0)
    slopes = np.concatenate([[steps[0]], middle, [steps[-1]]])
    fine = np.linspace(heights[0], heights[-1], 600)
    piece = np.clip(np.searchsorted(heights, fine, side="right") - 1, 0, len(steps) - 1)
    width = np.diff(heights)[piece]
    t = (fine - heights[piece]) / width
    curve = (
        (1 + 2 * t) * (1 - t) ** 2 * radii[piece]
        + t * (1 - t) ** 2 * width * slopes[piece]
        + t**2 * (3 - 2 * t) * radii[piece + 1]
        + t**2 * (t - 1) * width * slopes[piece + 1]
    )
    return fine.astype(np.float32), curve.astype(np.float32)


def _safe(steps: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.where(steps == 0, 1e-9, steps)


def resize(plane: Planes, size: tuple[int, int]) -> Planes:
    """Return a coarse plane brought to rows × columns by linear interpolation."""
    return np.asarray(cv2.resize(plane, size[::-1], interpolation=cv2.INTER_LINEAR), dtype=np.float32)
