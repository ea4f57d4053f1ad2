"""What lies beside the bottles: a grey card, a woven cloth, a black pebble."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.rehearse import camera
from qc.rehearse._surface import RISE, TABLE_MM, Plane, Planes, Slice, View, grain, inside_polygon, lit, mirrored
from qc.rehearse._sweep import Footprint
from qc.rehearse.lights import Light

CARD = ((-106.0, 25.0), (-72.0, 29.5), (-74.5, 58.0), (-108.5, 53.5))
"""Corners of the grey card in the picture plane, anticlockwise from its lower left; millimetres."""
CARD_Z = -6.0

CLOTH = ((18.0, -78.0), (112.0, -66.0), (104.0, 4.0), (30.0, -6.0))
"""Corners of the cloth on the table, (x, z), millimetres."""
THREAD_MM = 1.7

PEBBLE = (14.0, -64.0, 8.5)
"""x, z and radius of the black pebble, millimetres."""


def footprints() -> tuple[Footprint, ...]:
    """Return what casts shadows: the pebble, and the card as a small round thing behind its lower edge."""
    x, z, radius = PEBBLE
    ball = tuple((radius * (1 - np.cos(t)), max(radius * float(np.sin(t)), 1.0)) for t in (0.5, 1.0, 1.57, 2.2))
    card = tuple((height, 7.0) for height in (0.0, 14.0, 26.0))
    return (
        Footprint(x=x, z=z, radii=tuple((float(h), r) for h, r in ball)),
        Footprint(x=-96.0, z=CARD_Z, radii=card),
        Footprint(x=-84.0, z=CARD_Z, radii=card),
    )


def card(view: View, lights: Sequence[Light], lab: Sequence[float], rng: np.random.Generator) -> Slice:
    """Return the grey card: matt, even, leaning back a little."""
    xs, ys = zip(*CARD, strict=True)
    window = view.window(min(xs) - 4, max(xs) + 4, min(ys) - 4, max(ys) + 4)
    x, picture = view.grid(window)
    place = np.stack([x * 0 + np.mean(xs), picture * 0 + 18.0, x * 0 + CARD_Z]).astype(np.float32)
    normal = np.array([-0.10, 0.20, -1.0], dtype=np.float32) / np.float32(np.sqrt(1.05))
    normals = np.broadcast_to(normal[:, np.newaxis, np.newaxis], place.shape)
    even = grain(rng, (x.shape[0], x.shape[1]), 0.05 * view.scale, 0.004)
    return Slice(
        name="card",
        window=window,
        cover=inside_polygon(x, picture, CARD, view.scale),
        albedo=camera.reflectance(lab).astype(np.float32) * even[..., np.newaxis],
        diffuse=lit(lights, place, normals),
        gloss=None,
        depth=place[2],
    )


def cloth(
    view: View,
    lights: Sequence[Light],
    shade: Planes,
    rng: np.random.Generator,
) -> Slice:
    """Return the woven cloth on the table; `shade` is the light on the paper under it, (rows, columns, lights)."""
    corners = tuple((x, TABLE_MM + RISE * z) for x, z in CLOTH)
    xs, ys = zip(*corners, strict=True)
    window = view.window(min(xs) - 4, max(xs) + 4, min(ys) - 4, max(ys) + 4)
    x, picture = view.grid(window)
    depth = (picture - np.float32(TABLE_MM)) / np.float32(RISE)
    u, v = (0.9925 * x + 0.122 * depth) / THREAD_MM, (-0.122 * x + 0.9925 * depth) / THREAD_MM
    weave = _threads(
        u.astype(np.float32),
        v.astype(np.float32),
        1 / (view.scale * THREAD_MM),
        1 / (view.scale * THREAD_MM * RISE),
    )
    folds = np.sin(0.09 * x + 0.05 * depth) * 0.5 + np.sin(0.21 * x - 0.03 * depth + 1.3) * 0.25
    normal = np.stack([0.16 * np.cos(0.09 * x + 0.05 * depth), np.ones_like(x), 0.10 * folds])
    normal = (normal / np.linalg.norm(normal, axis=0)).astype(np.float32)
    place = np.stack([x, np.zeros_like(x), depth]).astype(np.float32)
    yarn = grain(rng, (x.shape[0], x.shape[1]), 0.25 * view.scale, 0.05)
    flat = lit(lights, place, np.stack([x * 0, x * 0 + 1, x * 0]).astype(np.float32))
    light = lit(lights, place, normal) * np.clip(shade[window] / np.maximum(flat, 1e-6), 0, 1)
    body = (0.72 + 0.28 * weave) * yarn * (1 + 0.10 * folds)
    return Slice(
        name="cloth",
        window=window,
        cover=inside_polygon(x, picture, corners, view.scale),
        albedo=(np.array([0.43, 0.47, 0.54], dtype=np.float32) * body[..., np.newaxis]).astype(np.float32),
        diffuse=light.astype(np.float32),
        gloss=None,
        depth=depth.astype(np.float32),
    )


def pebble(view: View, lights: Sequence[Light], rng: np.random.Generator) -> Slice:
    """Return the black pebble: nearly no body colour, half a shine."""
    x0, z0, radius = PEBBLE
    middle = TABLE_MM + RISE * z0 + radius
    window = view.window(x0 - radius - 4, x0 + radius + 4, middle - radius - 4, middle + radius + 4)
    x, picture = view.grid(window)
    side, up = (x - np.float32(x0)) / radius, (picture - np.float32(middle)) / (radius * 0.82)
    away = np.hypot(side, up)
    front = np.sqrt(np.clip(1 - away**2, 0, None))
    rough = [grain(rng, (x.shape[0], x.shape[1]), 0.4 * view.scale, 0.03) - 1 for _ in range(2)]
    normal = np.stack([side + rough[0], up + rough[1], -front])
    normal = (normal / np.linalg.norm(normal, axis=0)).astype(np.float32)
    depth = np.float32(z0) - front * np.float32(radius)
    place = np.stack([x, np.clip(picture - (middle - radius), 0, None), depth]).astype(np.float32)
    return Slice(
        name="pebble",
        window=window,
        cover=np.clip((1 - away) * np.float32(radius * 0.9 * view.scale) + 0.5, 0, 1).astype(np.float32),
        albedo=np.broadcast_to(np.array([0.016, 0.016, 0.018], dtype=np.float32), (*x.shape, 3)),
        diffuse=lit(lights, place, normal),
        gloss=mirrored(lights, normal) * np.float32(0.35),
        depth=depth.astype(np.float32),
    )


def _threads(
    u: Plane,
    v: Plane,
    du: float,
    dv: float,
) -> Plane:
    """Return a plain weave, −1 to 1, threads fading where a pixel spans one (box aperture: sinc)."""
    across = np.sin(2 * np.pi * u) * np.sinc(du) + 0.35 * np.sin(4 * np.pi * u) * np.sinc(2 * du)
    along = np.sin(2 * np.pi * v) * np.sinc(dv) + 0.35 * np.sin(4 * np.pi * v) * np.sinc(2 * dv)
    checks = np.sin(np.pi * u) * np.sin(np.pi * v) * np.sinc(du / 2) * np.sinc(dv / 2)
    return (0.45 * across + 0.45 * along + 0.5 * checks).astype(np.float32)
