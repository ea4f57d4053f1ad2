"""The sweep under and behind the set: paper with a fine grain, crumbs of clay on it, and soft cast shadows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from qc.rehearse._surface import RISE, TABLE_MM, Mask, Plane, Planes, View, grain, lit
from qc.rehearse.lights import Light, smooth_step

PAPER = np.array([0.66, 0.645, 0.62], dtype=np.float32)
"""Balanced camera RGB of the paper."""

BEND_MM = (112.0, 230.0)
"""Depths at which the paper starts to rise and stands upright."""

GRAIN_MM = 0.07
COARSE = 8
"""Light on the paper is computed on every eighth pixel: nothing in it is sharp."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Footprint:
    """What casts a shadow: a round thing on the table, with its radius at a few heights."""

    x: float
    z: float
    radii: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Sweep:
    """The paper: its light per source, its fine grain and its depth.

    Attributes
    ----------
    diffuse : ndarray, shape (coarse rows, coarse columns, lights)
        Light from each source, shadows included.
    grain : ndarray, shape (rows, columns)
        Unit-mean texture in full focus.
    depth : ndarray, shape (rows,)
        z by row of the picture, millimetres.
    """

    diffuse: Planes
    grain: Plane
    depth: Plane


def make_sweep(
    view: View, lights: Sequence[Light], things: Sequence[Footprint], rng: np.random.Generator
) -> Sweep:
    """Return the paper with the shadows of the things on it."""
    whole = (slice(0, view.rows), slice(0, view.columns))
    x, picture = view.grid(whole, COARSE)
    place, normal = _paper(x, picture)
    light = lit(lights, place, normal)
    table = (place[2] < BEND_MM[0] + 40)[..., np.newaxis]
    for index, source in enumerate(lights):
        if source.glow is None:
            shade = _shadow(source, place, things)
            light[..., index] *= np.where(table[..., 0], 1 - 0.86 * shade, 1)
    light *= _contact(place, things)[..., np.newaxis]
    _, heights = view.grid((whole[0], slice(0, 1)))
    return Sweep(diffuse=light, grain=_texture(view, rng), depth=_paper(heights * 0, heights)[0][2, :, 0])


def _paper(x: Plane, picture: Plane) -> tuple[Planes, Planes]:
    """Return place and normal of the paper seen at a point of the picture."""
    flat = (picture - np.float32(TABLE_MM)) / np.float32(RISE)
    start, upright = BEND_MM
    t = np.clip((flat - start) / (upright - start), 0, 1)
    depth = np.where(flat < start, flat, start + (upright - start) * (t - t * t / 2))
    height = np.maximum(picture - np.float32(TABLE_MM) - np.float32(RISE) * depth, 0)
    bend = smooth_step(t)
    angle = bend * np.float32(np.pi / 2)
    normal = np.stack([np.zeros_like(x), np.cos(angle), -np.sin(angle)])
    return np.stack([x, height, depth]).astype(np.float32), normal.astype(np.float32)


def _shadow(source: Light, place: Planes, things: Sequence[Footprint]) -> Plane:
    """Return how deep the paper stands in the shadows of a source, 0–1."""
    sx, sy, sz = source.position
    deepest = np.zeros(place.shape[1:], dtype=np.float32)
    for thing in things:
        across = np.hypot(sx - thing.x, sz - thing.z)
        for height, radius in _steps(thing):
            thrown = height * across / max(sy - height, 60.0)
            centre_x = thing.x - (sx - thing.x) / across * thrown
            centre_z = thing.z - (sz - thing.z) / across * thrown
            soft = 2.5 + 0.55 * source.face[0] * thrown + 0.12 * thrown
            away = np.hypot(place[0] - np.float32(centre_x), place[2] - np.float32(centre_z))
            here = smooth_step((radius + soft - away) / (2 * soft)) * np.float32(1 / (1 + thrown / 160))
            deepest = np.maximum(deepest, here)
    return deepest


def _steps(thing: Footprint) -> list[tuple[float, float]]:
    heights, radii = zip(*thing.radii, strict=True)
    fine = np.linspace(heights[0], heights[-1], 14)
    return list(zip(fine.tolist(), np.interp(fine, heights, radii).tolist(), strict=True))


def _contact(place: Planes, things: Sequence[Footprint]) -> Plane:
    """Return what is left of all light close to where things stand."""
    left = np.ones(place.shape[1:], dtype=np.float32)
    for thing in things:
        away = np.hypot(place[0] - np.float32(thing.x), place[2] - np.float32(thing.z))
        close = np.clip(away - np.float32(thing.radii[0][1]), 0, None)
        left *= 1 - np.float32(0.55) * np.exp(-close / 5)
    return left


def _texture(view: View, rng: np.random.Generator) -> Plane:
    """Return paper grain, and crumbs of clay that grow rarer away from the set."""
    paper = grain(rng, (view.rows, view.columns), GRAIN_MM * view.scale, 0.012)
    crumbs = np.zeros((view.rows, view.columns), dtype=np.uint8)
    table = TABLE_MM + RISE * BEND_MM[0]
    for _ in range(420):
        x, y = rng.normal(10, 55), rng.uniform(1.0, table)
        radius, shade = rng.uniform(0.12, 0.45), rng.integers(70, 230)
        column, row = (x + 120) * view.scale, (view.height_mm - y) * view.scale
        size = (radius * view.scale, radius * view.scale * 0.6)
        ellipse(crumbs, column, row, size, int(shade))
    return paper * (1 - np.float32(0.75 / 255) * crumbs)


def ellipse(
    mask: Mask,
    x: float,
    y: float,
    size: tuple[float, float],
    shade: int,
) -> None:
    """Draw a small filled ellipse at a place between pixels."""
    fine = 16
    centre = (round((x - 0.5) * fine), round((y - 0.5) * fine))
    axes = (max(1, round(size[0] * fine)), max(1, round(size[1] * fine)))
    cv2.ellipse(mask, centre, axes, 0.0, 0.0, 360.0, shade, -1, cv2.LINE_AA, 4)
