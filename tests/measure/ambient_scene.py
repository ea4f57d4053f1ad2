"""A small set for the ambient tests: flash and room light as separate layers, so that the truth is known.

Glazed bottles stand in as rectangles: a pale sweep, a dark red and a blue glaze, a black one, a card that clips.
The camera matrix is invented.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.decode import BAYER, frame_from_mosaic
from qc.frame import Black, Calibration, Camera, Colour, Frame, Noise
from qc.rehearse.sensor import Sensor

TO_CAMERA = np.array([[0.75, -0.2, -0.06], [-0.45, 1.3, 0.16], [-0.08, 0.2, 0.62]])
"""XYZ to camera; invented."""

D55 = (0.33243, 0.34744)
TUNGSTEN = (0.44758, 0.40745)
"""CIE xy of standard illuminant A (CIE 15:2018, from memory; checked in tests/reference)."""
WINDOW = (0.3127, 0.3290)
"""CIE xy of D65 (the same)."""

COLOUR = Colour(
    neutral=None,
    calibrations=(Calibration(illuminant=21, kelvin=6504.0, xyz_to_camera=tuple(map(tuple, TO_CAMERA.tolist()))),),
    source="DNG tags",
)
CAMERA = Camera(make="Own", model="Own 1", iso=100.0, shutter_s=1 / 60, aperture=11.0)
ROWS, COLUMNS = 400, 600
SENSOR = Sensor()


def camera_white(xy: tuple[float, float]) -> NDArray[np.float64]:
    """Camera values of a light with a green of 1."""
    x, y = xy
    values = TO_CAMERA @ np.array([x / y, 1.0, (1 - x - y) / y])
    return np.asarray(values / values[1], dtype=np.float64)


def albedo(seed: int = 0) -> NDArray[np.float64]:
    """Reflectance by colour, shape (3, rows, columns)."""
    rng = np.random.default_rng(seed)
    base = np.full((3, ROWS, COLUMNS), 0.55)
    base[:, 120:340, 80:180] = np.array([0.35, 0.10, 0.08])[:, None, None]
    base[:, 120:340, 260:340] = 0.012
    base[:, 120:340, 420:520] = np.array([0.08, 0.14, 0.35])[:, None, None]
    base[:, 40:90, 200:300] = 2.4
    return base * (1.0 + 0.05 * rng.standard_normal((1, ROWS, COLUMNS)).clip(-3, 3))


@dataclass(frozen=True, kw_only=True)
class Set:
    """One lighting of the set.

    Attributes
    ----------
    stops : float
        How far the room lies under the flash on everything.
    room : xy of the room light.
    lamp_stops, lamp, lamp_side : a lamp that lights one half of the upright picture, at `lamp_stops`.
    """

    stops: float = 5.0
    room: tuple[float, float] = D55
    lamp_stops: float | None = None
    lamp: tuple[float, float] = TUNGSTEN
    lamp_side: str = "left"
    flash: float = 0.55
    mirrored: float = 0.0
    exposure: float = 1.0
    reflectance: NDArray[np.float64] = field(default_factory=albedo)

    def layers(self, shutter: float = 1.0) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Flash light and ambient light, shape (3, rows, columns); ambient light follows `shutter`."""
        fall = np.linspace(1.0, 0.7, ROWS)[None, :, None] * self.flash * self.exposure
        flash = self.reflectance * fall * camera_white(D55)[:, None, None]
        ambient = self.reflectance * fall * camera_white(self.room)[:, None, None] * 2.0**-self.stops
        if self.lamp_stops is not None:
            half = np.zeros((1, ROWS, COLUMNS))
            half[0][_half(self.lamp_side)] = 2.0**-self.lamp_stops
            ambient = ambient + self.reflectance * fall * camera_white(self.lamp)[:, None, None] * half
        if self.mirrored:
            ambient[:, 200:240, 440:480] += self.mirrored * camera_white(WINDOW)[:, None, None]
        return flash, ambient * shutter

    def truth(self, rows: slice = slice(None), columns: slice = slice(None)) -> float:
        """Stops under in the green of what does not clip, noise-free."""
        flash, ambient = (layer[1, rows, columns] for layer in self.layers())
        open_ = (flash + ambient) * camera_white(D55).max() < 0.98
        return float(np.log2(flash[open_].sum() / ambient[open_].sum()))

    def frames(
        self, seed: int = 1, *, known: bool = True, shutter: float = 1.0, sensor: Sensor = SENSOR, **how: Any
    ) -> tuple[Frame, Frame]:
        """Lit and dark frame."""
        flash, ambient = self.layers(shutter)
        camera = replace(CAMERA, shutter_s=CAMERA.shutter_s * shutter if CAMERA.shutter_s else None)
        lit = shoot(flash + ambient, seed, known=known, sensor=sensor, camera=camera, **how)
        return lit, shoot(ambient, seed + 1000, known=known, sensor=sensor, camera=camera, **how)


def _half(side: str) -> tuple[slice, slice]:
    return {
        "left": (slice(None), slice(0, COLUMNS // 2)),
        "right": (slice(None), slice(COLUMNS // 2, None)),
        "top": (slice(0, ROWS // 2), slice(None)),
        "bottom": (slice(ROWS // 2, None), slice(None)),
        "top left": (slice(0, ROWS // 2), slice(0, COLUMNS // 2)),
    }[side]


def shoot(
    light: NDArray[np.float64],
    seed: int,
    *,
    known: bool = True,
    sensor: Sensor = SENSOR,
    camera: Camera = CAMERA,
    colour: Colour = COLOUR,
    orientation: int = 1,
    black: Black | None = None,
    cfa: str = "RGGB",
) -> Frame:
    """One frame of some light, with the noise model known or not; its black level is replaced by `black`."""
    mosaic = sensor.expose(light, BAYER[cfa], np.random.default_rng(seed))
    level = sensor.black if black is None else float(np.mean(black.array()))
    frame = frame_from_mosaic(
        mosaic, cfa=cfa, black=level, white=sensor.white, orientation=orientation, camera=camera, colour=colour
    )
    noise = Noise(gain=sensor.gain, read_noise=sensor.read_noise, source="given") if known else Noise()
    frame = replace(frame, noise=noise)
    return frame if black is None else replace(frame, black=black)
