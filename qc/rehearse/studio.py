"""The studio: from heads, room and settings to a raw frame with its truth."""

from __future__ import annotations

import os
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from types import MappingProxyType

import cv2
import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.errors import UsageError
from qc.frame import Camera, Cfa, Frame
from qc.orientation import swaps_sides, upright
from qc.rehearse import camera
from qc.rehearse._bottle import resize
from qc.rehearse._sweep import PAPER
from qc.rehearse.dng import Compression, write_dng
from qc.rehearse.lens import Lens, shaken
from qc.rehearse.lights import HEADS, LIGHTS, ROOM
from qc.rehearse.scene import LABEL, MIDDLE, NEUTRAL_CARD, Scene, make_scene, zones
from qc.rehearse.sensor import Readout, Sensor
from qc.rehearse.truth import Truth
from qc.sheet.zones import Zone

Floats = NDArray[np.float32]

NOMINAL_SHUTTER_S = 1 / 125
NOMINAL_APERTURE = 11.0
NOMINAL_ISO = 100.0
LABEL_Z = MIDDLE.z - float(MIDDLE.radius(np.float32((LABEL.low + LABEL.high) / 2)))
"""z of the label's front, where the focus belongs; millimetres."""

STRIP = 64
"""Rows of the sweep that share one blur: depth changes slowly there."""

ALL_HEADS: Mapping[str, float] = MappingProxyType({light.name: 1.0 for light in HEADS if light.usual})
DARK_ROOM: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True, slots=True, kw_only=True)
class Shot:
    """One rehearsed frame.

    Attributes
    ----------
    readout : Readout
        Mosaic with its masked border, sensor orientation.
    cfa : Cfa
        Colour filters of the visible part.
    camera : Camera
        Settings as they are recorded.
    sensor : Sensor
        As it was at this ISO.
    orientation : int
        Exif Orientation.
    truth : Truth
        What is true of it.
    """

    readout: Readout
    cfa: Cfa
    camera: Camera
    sensor: Sensor
    orientation: int
    truth: Truth

    @property
    def mosaic(self) -> NDArray[np.uint16]:
        """Visible counts, shape (rows, columns)."""
        row, column, rows, columns = self.readout.visible
        return self.readout.mosaic[row : row + rows, column : column + columns]

    @property
    def tagged_black(self) -> float:
        """Black that the file states, DN."""
        return self.sensor.black if self.sensor.tagged_black is None else self.sensor.tagged_black

    def frame(self) -> Frame:
        """Return the frame as `qc.decode` would make it from the file."""
        return frame_from_mosaic(
            self.readout.mosaic,
            cfa=self.cfa,
            black=self.tagged_black,
            white=self.sensor.white,
            visible=self.readout.visible,
            masked=self.readout.masked,
            orientation=self.orientation,
            colour=camera.colour(),
            camera=self.camera,
        )

    def write(self, path: str | os.PathLike[str], *, compression: Compression = "none") -> Path:
        """Write it as a DNG; see `qc.rehearse.dng.write_dng`."""
        return write_dng(
            path,
            self.readout.mosaic,
            cfa=self.cfa,
            black=self.tagged_black,
            white=round(self.sensor.white),
            visible=self.readout.visible if self.readout.masked else None,
            masked=self.readout.masked,
            matrices=((camera.ILLUMINANT, camera.XYZ_TO_CAMERA),),
            neutral=camera.neutral(),
            orientation=self.orientation,
            camera=self.camera,
            compression=compression,
        )


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
    """

    seed: int = 1
    size: tuple[int, int] = (1000, 1500)
    sensor: Sensor = field(default_factory=Sensor)
    lens: Lens = field(default_factory=Lens)
    cfa: Cfa = field(default_factory=lambda: BAYER["RGGB"])
    orientation: int = 1
    card_lab: Sequence[float] = NEUTRAL_CARD

    def __post_init__(self) -> None:
        if self.cfa.shape != (2, 2) or self.cfa.colours != "RGB":
            raise UsageError("the rehearsed studio has a 2×2 mosaic of red, green and blue")
        if min(self.size) < 64:
            raise UsageError(f"a rehearsed picture has at least 64 px a side, not {self.size}")

    @cached_property
    def scene(self) -> Scene:
        """The set, cut into pieces once."""
        return make_scene(*self.size, self.seed, self.card_lab)

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
        flash, glow = self._light((flash_power, room_power), focus, aperture, shake)
        factor = iso / NOMINAL_ISO
        sensor = replace(self.sensor, gain=self.sensor.gain * factor, read_noise=self.sensor.read_noise * factor)
        sigma = self._turned(self._sigma_map(focus, aperture))
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
        self, groups: tuple[Floats, Floats], focus: float, aperture: float, shake: tuple[float, float]
    ) -> tuple[Floats, Floats]:
        """Return filtered light of flash and room, sensor orientation: one pass of the lens over both."""
        burning = [index for index, powers in enumerate(groups) if powers.any()]
        shape = self.mosaic_size
        light = [np.zeros(shape, dtype=np.float32), np.zeros(shape, dtype=np.float32)]
        if burning:
            picture = self._picture(np.concatenate([groups[index] for index in burning], axis=1), focus, aperture)
            if shake[0] > 0:
                picture = shaken(picture, *shake)
            picture *= self.lens.transmission(*self.size)[..., np.newaxis]
            picture += np.float32(self.lens.flare) * picture.mean(axis=(0, 1), dtype=np.float64).astype(np.float32)
            turned = self._turned(picture)
            for place, index in enumerate(burning):
                light[index] = self._filtered(turned[..., 3 * place : 3 * place + 3])
        return light[0], light[1]

    def _picture(self, powers: Floats, focus: float, aperture: float) -> Floats:
        """Return the upright picture behind the lens, shape (rows, columns, columns of `powers`)."""
        picture, floor = self._sweep_light(powers, focus, aperture), self._floor(aperture)
        for whole in self.scene.slices:
            spread = self._sigma(whole.depth[whole.cover > 0], focus, aperture).max(initial=floor)
            piece = whole.close_up(int(np.ceil(4 * spread)) + 1)
            layers = np.empty((*piece.cover.shape, powers.shape[1] + 1), dtype=np.float32)
            cover = piece.cover[..., np.newaxis]
            body = mixed(piece.diffuse, powers)
            for group in range(0, powers.shape[1], 3):
                body[..., group : group + 3] *= piece.albedo
            if piece.gloss is not None:
                body += mixed(piece.gloss, powers)
            np.multiply(body, cover, out=layers[..., :-1])
            layers[..., -1] = piece.cover
            blurred = self.lens.blur_by_depth(layers, self._sigma(piece.depth, focus, aperture), floor)
            under = picture[piece.window]
            under *= 1 - blurred[..., -1:]
            under += blurred[..., :-1]
        return picture

    def _sweep_light(self, powers: Floats, focus: float, aperture: float) -> Floats:
        sweep = self.scene.sweep
        colour = mixed(sweep.diffuse, powers) * np.tile(PAPER, powers.shape[1] // 3)
        light = np.concatenate(
            [resize(colour[..., at : at + 3], self.size) for at in range(0, powers.shape[1], 3)], axis=2
        )
        sigma = self._sigma(sweep.depth, focus, aperture)
        for row in range(0, len(sigma), STRIP):
            middle = float(np.sqrt((sigma[row : row + STRIP] ** 2).mean()))
            room = int(np.ceil(4 * middle)) + 1
            first = max(row - room, 0)
            blurred = self.lens.blur(sweep.grain[first : row + STRIP + room], middle, self._floor(aperture))
            light[row : row + STRIP] *= blurred[row - first : row - first + STRIP, :, np.newaxis]
        return light

    def _sigma(self, depth: Floats, focus: float, aperture: float) -> NDArray[np.float64]:
        return self.lens.sigma(depth, focus=focus, aperture=aperture, columns=self.size[1])

    def _floor(self, aperture: float) -> float:
        return self.lens.floor(aperture=aperture, columns=self.size[1])

    def _sigma_map(self, focus: float, aperture: float) -> Floats:
        """Return σ of the nearest surface on every eighth pixel, upright."""
        rows, columns = self.size
        depth = np.broadcast_to(self.scene.sweep.depth[:, np.newaxis], self.size).copy()
        for piece in self.scene.slices:
            solid = piece.cover > 0.5
            depth[piece.window][solid] = piece.depth[solid]
        coarse = depth[4 : rows // 8 * 8 : 8, 4 : columns // 8 * 8 : 8]
        return self._sigma(coarse, focus, aperture).astype(np.float32)

    def _turned(self, picture: Floats) -> Floats:
        """Turn an upright picture to sensor orientation."""
        return upright(picture, {6: 8, 8: 6}.get(self.orientation, self.orientation))

    def _filtered(self, picture: Floats) -> Floats:
        seen = np.empty(picture.shape[:2], dtype=np.float32)
        for row in (0, 1):
            for column in (0, 1):
                seen[row::2, column::2] = picture[row::2, column::2, self.cfa.pattern[row][column]]
        return seen


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


def mixed(planes: Floats, powers: Floats) -> Floats:
    """Return light per source, shape (rows, columns, lights), mixed to colours; faster than a thin product."""
    return np.asarray(cv2.transform(planes, np.ascontiguousarray(powers.T)), dtype=np.float32)
