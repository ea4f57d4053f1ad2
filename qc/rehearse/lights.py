"""The lights of the rehearsal studio: three flash heads and three sources of the room, each a layer of its own.

All invented. Positions are millimetres in the set: x to the right, y up from the table, z away from the camera,
(0, 0, 0) under the middle bottle.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.rehearse import camera

Planes = NDArray[np.float32]


@dataclass(frozen=True, slots=True, kw_only=True)
class Light:
    """One source.

    Attributes
    ----------
    name : str
        As the set calls it.
    flash : bool
        Whether it follows the shutter release (True) or burns all the time (False).
    xy : (float, float)
        CIE chromaticity.
    level : float
        Light of a white surface facing it at (0, 60, 0), at power 1 and the nominal exposure; 1 is the white
        level.
    position : (float, float, float)
        Centre of its face.
    face : (float, float)
        Half width and half height of its face as mirrored in gloss, in tangents of the angle seen from the set.
    brightness : float
        Radiance of its face over that of the white surface it lights, π over its solid angle for an even face.
    rim : float
        How soft the mirrored face's edge is, as a fraction of its half sides.
    wrap : float
        How far round a body it reaches, 0 for a point source.
    reach : (float, float) or None
        It lights only from the first x on, fully from the second on.
    glow : (float, float, float) or None
        It lights only the wall, as a glow of centre x, y and radius.
    beam : (float, float, float) or None
        It lights only a spot on what stands in front, of centre x, y and radius, hard at its rim.
    usual : bool
        Whether it burns in an ordinary frame of the set.
    """

    name: str
    flash: bool
    xy: tuple[float, float]
    level: float
    position: tuple[float, float, float]
    face: tuple[float, float]
    brightness: float
    rim: float = 0.08
    wrap: float = 0.25
    reach: tuple[float, float] | None = None
    glow: tuple[float, float, float] | None = None
    beam: tuple[float, float, float] | None = None
    usual: bool = True

    @property
    def colour(self) -> NDArray[np.float32]:
        """Camera RGB of a white surface it lights at level 1."""
        return camera.camera_white(self.xy).astype(np.float32)

    def diffuse(self, place: Planes, normal: Planes) -> Planes:
        """Return the light on matt surfaces, 1 for a white one facing it at (0, 60, 0).

        Parameters
        ----------
        place, normal : ndarray, shape (3, ...)
            Where, and the unit normal.

        Returns
        -------
        ndarray, shape (...)
        """
        if self.glow is not None:
            x, y, radius = self.glow
            away = ((place[0] - x) ** 2 + (place[1] - y) ** 2) / radius**2
            return np.exp(-away) * np.clip((place[2] - 60) / 60, 0, 1)
        centre = np.array(self.position, dtype=np.float32)
        way = [centre[axis] - place[axis] for axis in range(3)]
        square = way[0] ** 2 + way[1] ** 2 + way[2] ** 2
        cosine = (way[0] * normal[0] + way[1] * normal[1] + way[2] * normal[2]) / np.sqrt(square)
        nominal = float(((centre - (0, 60, 0)) ** 2).sum())
        light = np.clip((cosine + self.wrap) / (1 + self.wrap), 0, None) * (nominal / square)
        if self.beam is not None:
            x, y, radius = self.beam
            away = np.hypot(place[0] - np.float32(x), place[1] - np.float32(y))
            light = light * smooth_step((radius - away) / (0.12 * radius)) * (place[2] < 0)
        if self.reach is not None:
            start, full = self.reach
            light = light * smooth_step((place[0] - start) / (full - start))
        return light

    def mirrored(self, reflected: Planes) -> Planes:
        """Return its face as seen along mirrored rays, in units of the white surface; shape of one plane.

        Parameters
        ----------
        reflected : ndarray, shape (3, ...)
            Unit vectors away from the surface.
        """
        ahead = np.array(self.position, dtype=np.float32) - np.array([0, 60, 0], dtype=np.float32)
        ahead /= np.linalg.norm(ahead)
        right = np.cross(ahead, np.array([0, 1, 0], dtype=np.float32))
        right /= np.linalg.norm(right)
        up = np.cross(right, ahead)
        along, across, above = (np.tensordot(axis, reflected, 1) for axis in (ahead, right, up))
        depth = np.maximum(along, 1e-3)
        inside = np.minimum(
            1 - np.abs(across / depth) / self.face[0],
            1 - np.abs(above / depth) / self.face[1],
        )
        return np.where(along > 0, smooth_step(inside / self.rim), 0) * np.float32(self.brightness)


HEADS = (
    Light(
        name="key",
        flash=True,
        xy=camera.D55,
        level=0.62,
        position=(-360.0, 330.0, -270.0),
        face=(0.10, 0.32),
        brightness=26.0,
        wrap=0.12,
    ),
    Light(
        name="fill",
        flash=True,
        xy=camera.D55,
        level=0.10,
        position=(420.0, 240.0, -420.0),
        face=(0.40, 0.50),
        brightness=3.6,
        rim=0.4,
        wrap=0.6,
    ),
    Light(
        name="backdrop",
        flash=True,
        xy=camera.D55,
        level=0.42,
        position=(0.0, 400.0, 60.0),
        face=(0.2, 0.1),
        brightness=0.0,
        glow=(15.0, 74.0, 96.0),
    ),
    Light(
        name="spot",
        flash=True,
        xy=camera.D55,
        level=3.4,
        position=(-150.0, 200.0, -400.0),
        face=(0.02, 0.02),
        brightness=0.0,
        wrap=0.0,
        beam=(-18.0, 52.0, 7.0),
        usual=False,
    ),
)
"""Flash heads at their nominal power; the snooted spot is there to go wrong."""

ROOM = (
    Light(
        name="lamp",
        flash=False,
        xy=camera.A,
        level=0.020,
        position=(300.0, 260.0, -160.0),
        face=(0.06, 0.06),
        brightness=120.0,
        wrap=0.1,
        reach=(-30.0, 70.0),
    ),
    Light(
        name="window",
        flash=False,
        xy=camera.D75,
        level=0.008,
        position=(-900.0, 500.0, 100.0),
        face=(0.25, 0.45),
        brightness=6.0,
        wrap=0.5,
    ),
    Light(
        name="screen",
        flash=False,
        xy=camera.SCREEN,
        level=0.0012,
        position=(340.0, 110.0, -250.0),
        face=(0.24, 0.15),
        brightness=26.0,
        rim=0.03,
    ),
)
"""Sources of the room at power 1: levels as a shutter of 1/125 s sees them."""

LIGHTS = {light.name: light for light in HEADS + ROOM}


def smooth_step(t: NDArray[np.floating]) -> Planes:
    """Return 0 below 0, 1 above 1 and a smooth way between."""
    t = np.clip(t, 0, 1)
    return (t * t * (3 - 2 * t)).astype(np.float32)
