"""The studio: from heads, room and settings to a raw frame with its truth."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER
from qc.errors import UsageError
from qc.frame import Camera, Cfa
from qc.orientation import swaps_sides, upright
from qc.rehearse._bottle import Bottle
from qc.rehearse._picture import Optics, picture_of, sigma_map
from qc.rehearse.lens import Lens, shaken
from qc.rehearse.lights import HEADS, LIGHTS, ROOM
from qc.rehearse.scene import BOTTLES, LABEL, MIDDLE, NEUTRAL_CARD, Scene, make_scene, zones
from qc.rehearse.sensor import Sensor, sample
from qc.rehearse.shot import Shot
from qc.rehearse.truth import Truth
from qc.sheet.zones import Zone

__all__ = ["ALL_HEADS", "DARK_ROOM", "LABEL_Z", "Shot", "Studio"]

Floats = NDArray[np.float32]

NOMINAL_SHUTTER_S = 1 / 125
NOMINAL_APERTURE = 11.0
NOMINAL_ISO = 100.0
LABEL_Z = MIDDLE.z - float(MIDDLE.radius(np.float32((LABEL.low + LABEL.high) / 2)))
"""z of the label's front, where the focus belongs; millimetres."""

ALL_HEADS: Mapping[str, float] = MappingProxyType({light.name: 1.0 for light in HEADS if light.usual})
DARK_ROOM: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, kw_only=True)
class Studio:
    """A set that can be photographed again and again.

    Attributes
    ----------
    seed : int
        Decides grain, specks and noise; the same seed gives the same frames.
    size : (int, int)
        Rows and columns of the upright picture.
    sensor : Sensor
        At ISO 100.
    lens : Lens
        The lens.
    cfa : Cfa
        Colour filters, 2×2.
    orientation : int
        Exif Orientation: how the camera is held.
    card_lab : sequence of float
        CIELAB (D50) of the card; neutral unless a cast is to be planted.
    bottles : sequence of Bottle
        What stands on the set.
    """

    seed: int = 1
    size: tuple[int, int] = (1000, 1500)
    sensor: Sensor = field(default_factory=Sensor)
    lens: Lens = field(default_factory=Lens)
    cfa: Cfa = field(default_factory=lambda: BAYER["RGGB"])
    orientation: int = 1
    card_lab: Sequence[float] = NEUTRAL_CARD
    bottles: Sequence[Bottle] = BOTTLES

    def __post_init__(self) -> None:
        if self.cfa.shape != (2, 2) or self.cfa.colours != "RGB":
            raise UsageError("the rehearsed studio has a 2×2 mosaic of red, green and blue")
        if min(self.size) < 64:
            raise UsageError(f"a rehearsed picture has at least 64 px a side, not {self.size}")

    @cached_property
    def scene(self) -> Scene:
        """The set, cut into pieces once."""
        return make_scene(*self.size, self.seed, self.card_lab, self.bottles)

    @property
    def zones(self) -> tuple[Zone, ...]:
        """The set's zones."""
        return zones(*self.size)

    @property
    def mosaic_size(self) -> tuple[int, int]:
        """Rows and columns of the visible mosaic, sensor orientation."""
        return self.size[::-1] if swaps_sides(self.orientation) else self.size

    def zone(self, name: str) -> Zone:
        """Return one zone by its name."""
        return next(zone for zone in self.zones if zone.name == name)

    def frame(
        self,
        *,
        heads: Mapping[str, float] = ALL_HEADS,
        room: Mapping[str, float] = DARK_ROOM,
        focus: float = LABEL_Z,
        shutter_s: float = NOMINAL_SHUTTER_S,
        aperture: float = NOMINAL_APERTURE,
        iso: float = NOMINAL_ISO,
        shake: tuple[float, float] = (0.0, 0.0),
        noise: int = 0,
        taken: str | None = "2026-11-25T10:00:00.000",
    ) -> Shot:
        """Take one frame.

        Light of the room follows the shutter time, light of the heads does not; both follow ISO and 1/N².

        Parameters
        ----------
        heads, room : mapping of str to float
            Power of each head and of each source of the room; what is not named is off.
        focus : float
            z of the sharp plane, millimetres; the label's front by default, larger is farther away.
        shutter_s, aperture, iso : float
            Settings.
        shake : (float, float)
            Pixels of movement and its direction in degrees, anticlockwise from +x of the upright picture.
        noise : int
            Which of the noise patterns: two frames with all else equal differ by it alone.
        taken : str or None
            Local time to record.

        Returns
        -------
        Shot

        Raises
        ------
        UsageError
            When a head or source is unknown or a setting is not above 0.
        """
        _check(heads, room, shutter_s, aperture, iso)
        exposure = iso / NOMINAL_ISO * (NOMINAL_APERTURE / aperture) ** 2
        flash_power = self._powers(heads, exposure)
        room_power = self._powers(room, exposure * shutter_s / NOMINAL_SHUTTER_S)
        optics = Optics(lens=self.lens, focus=focus, aperture=aperture, columns=self.size[1])
        flash, glow = self._light((flash_power, room_power), optics, shake)
        factor = iso / NOMINAL_ISO
        sensor = replace(self.sensor, gain=self.sensor.gain * factor, read_noise=self.sensor.read_noise * factor)
        sigma = self._turned(sigma_map(self.scene, optics))
        truth = Truth(
            flash=flash, room=glow, cfa=self.cfa, sensor=sensor, sigma=sigma, orientation=self.orientation
        )
        what = (sorted(heads.items()), sorted(room.items()), focus, shutter_s, aperture, iso, shake, noise)
        rng = np.random.default_rng([self.seed, zlib.crc32(repr(what).encode())])
        return Shot(
            readout=sensor.read_out(truth.light, self.cfa, rng),
            cfa=self.cfa,
            camera=self._settings(shutter_s, aperture, iso, focus, taken),
            sensor=sensor,
            orientation=self.orientation,
            truth=truth,
        )

    def room_at(
        self,
        stops_under: float,
        room: Mapping[str, float],
        *,
        zone: Zone | None = None,
        heads: Mapping[str, float] = ALL_HEADS,
        shutter_s: float = NOMINAL_SHUTTER_S,
    ) -> dict[str, float]:
        """Return the room's sources turned up or down together until they lie so many stops under the flash.

        Parameters
        ----------
        stops_under : float
            log2(Σ flash / Σ room) in green over the frame or zone.
        room : mapping of str to float
            Powers in the wanted mixture.
        zone : Zone or None
            Where; the frame when None.
        heads : mapping of str to float
            Power of each head.
        shutter_s : float
            Shutter time of the frames to come.

        Returns
        -------
        dict of str to float
            Powers.
        """
        now = self.frame(heads=heads, room=room, shutter_s=shutter_s).truth.stops_under(zone)
        return {name: power * 2 ** (now - stops_under) for name, power in room.items()}

    def _settings(self, shutter_s: float, aperture: float, iso: float, focus: float, taken: str | None) -> Camera:
        return Camera(
            make="Rehearsal",
            model="Simulated studio",
            serial=f"R-{self.seed:04d}",
            lens=f"{self.lens.focal_mm:g} mm, simulated",
            iso=iso,
            shutter_s=shutter_s,
            aperture=aperture,
            focal_mm=self.lens.focal_mm,
            focus_m=round((self.lens.distance_mm + focus - LABEL_Z) / 1000, 3),
            taken=taken,
        )

    def _powers(self, powers: Mapping[str, float], exposure: float) -> Floats:
        """Return camera RGB of each light on a white surface, shape (lights, 3)."""
        rows = [
            powers.get(name, 0.0) * exposure * LIGHTS[name].level * LIGHTS[name].colour
            for name in self.scene.lights
        ]
        return np.array(rows, dtype=np.float32)

    def _light(
        self, groups: tuple[Floats, Floats], optics: Optics, shake: tuple[float, float]
    ) -> tuple[Floats, Floats]:
        """Return filtered light of flash and room, sensor orientation: one pass of the lens over both."""
        burning = [index for index, powers in enumerate(groups) if powers.any()]
        shape = self.mosaic_size
        light = [np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)]
        if burning:
            powers = np.concatenate([groups[index] for index in burning], axis=1)
            picture = picture_of(self.scene, optics, powers)
            if shake[0] > 0:
                picture = shaken(picture, *shake)
            picture *= self.lens.transmission(*self.size)[..., np.newaxis]
            picture += np.float32(self.lens.flare) * picture.mean(axis=(0, 1), dtype=np.float64).astype(np.float32)
            turned = self._turned(picture)
            for place, index in enumerate(burning):
                light[index] = sample(np.moveaxis(turned[..., 3 * place : 3 * place + 3], -1, 0), self.cfa)
        return light[0], light[1]

    def _turned(self, picture: Floats) -> Floats:
        """Turn an upright picture to sensor orientation."""
        return upright(picture, {6: 8, 8: 6}.get(self.orientation, self.orientation))


def _check(
    heads: Mapping[str, float], room: Mapping[str, float], shutter_s: float, aperture: float, iso: float
) -> None:
    for given, known in ((heads, HEADS), (room, ROOM)):
        unknown = sorted(set(given) - {light.name for light in known})
        if unknown:
            names = ", ".join(light.name for light in known)
            raise UsageError(f"there is no {', '.join(unknown)} in this studio; there are {names}")
    if min(shutter_s, aperture, iso) <= 0:
        raise UsageError("shutter time, aperture and ISO must be above 0")
    if any(power < 0 for power in (*heads.values(), *room.values())):
        raise UsageError("a light cannot have less than no power")
