"""`Frame`: one decoded capture, frozen, with the planes that every measurement shares.

Conventions, fixed here for the whole house:

* Arrays are in sensor orientation, rows × columns, pixel centres at integers. Planes come first: an array with
  a value per colour has shape (colours, rows, columns).
* Light is linear, black subtracted, in units of `Frame.scale` (tagged white level less black): 0 is no light,
  1 is the tagged white level. Negatives are kept. Saturation never scales light.
* All arrays are read-only. A frame lives inside one worker and never leaves it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from qc.reading import Finding, Reason

Kind = Literal["mosaic", "linear", "rendered"]
BlackSource = Literal["masked pixels", "tag", "decoder", "given", "none"]
SaturationSource = Literal["tag", "plateau", "remembered", "top code", "given", "unknown"]

Plane = NDArray[np.float32]
Planes = NDArray[np.float32]
Counts = NDArray[np.uint8]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cfa:
    """Colour filter array of a mosaic.

    Attributes
    ----------
    pattern : tuple of tuple of int
        Index into `colours` by (row % rows, column % columns) of the visible area in sensor orientation. Both
        greens of a Bayer mosaic have the same index. 2×2 for Bayer, 6×6 for X-Trans, ((0,),) for monochrome.
    colours : str
        One letter a colour: ``"RGB"``, ``"L"`` (monochrome), ``"RGBE"``, ``"GMCY"``.
    """

    pattern: tuple[tuple[int, ...], ...]
    colours: str = "RGB"

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns of the repeating pattern."""
        return len(self.pattern), len(self.pattern[0])

    def array(self) -> NDArray[np.intp]:
        """Return the pattern as an array, shape `shape`."""
        return np.array(self.pattern, dtype=np.intp)


@dataclass(frozen=True, slots=True, kw_only=True)
class Black:
    """Level of no light.

    Attributes
    ----------
    levels : tuple of tuple of float
        DN by position in the CFA pattern, or in a multiple of it where the file states a larger repeat (row %
        rows, column % columns holds for both); by colour, shape (1, colours), for linear and rendered files.
    source : str
        Where it comes from.
    uncertainty : float
        One standard error in DN: the disagreement of the masked areas, or 0.5 DN when only a tag.
    """

    levels: tuple[tuple[float, ...], ...]
    source: BlackSource
    uncertainty: float

    def array(self) -> NDArray[np.float64]:
        """Return the levels as an array of DN."""
        return np.array(self.levels, dtype=np.float64)


@dataclass(frozen=True, slots=True, kw_only=True)
class Saturation:
    """Level at which one colour clips; a threshold, never a scale.

    Attributes
    ----------
    colour : str
        The colour's letter.
    level : float or None
        DN as stored (black included); a photosite at or above it is clipped. None when `source` is "unknown".
    source : str
        How it was found.
    width : float or None
        Full width of the plateau, DN: photosites saturate between `level` and `level` + `width`. 0 for a hard
        one; None where no plateau was seen, so that only the tag or nothing states a level.
    """

    colour: str
    level: float | None
    source: SaturationSource
    width: float | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Noise of one photosite: variance = gain × (signal in DN) + read_noise² (EMVA 1288 R4, linear model).

    Attributes
    ----------
    gain : float or None
        K, DN per electron.
    read_noise : float or None
        Standard deviation without light, in DN.
    bound : {"at most"} or None
        "at most" where nothing dark in the frame shows the read noise: it is then the upper end of what the line
        of photon noise leaves open, up to some 2.5 times too large. A ± from it is too wide in the dark, never
        too narrow.
    source : str
        ``"pair"``, ``"masked pixels"``, ``"one frame"``, ``"remembered"``, ``"given"`` or ``"unknown"``.
    reason : Reason or None
        Why it is unknown.
    """

    gain: float | None = None
    read_noise: float | None = None
    bound: Literal["at most"] | None = None
    source: str = "unknown"
    reason: Reason | None = None

    @property
    def known(self) -> bool:
        """Whether a variance can be stated."""
        return self.gain is not None and self.read_noise is not None


@dataclass(frozen=True, slots=True, kw_only=True)
class Calibration:
    """Colour matrices of a camera under one illuminant (DNG 1.7.1.0 chapter 6).

    Attributes
    ----------
    illuminant : int
        Exif LightSource code (21 is D65, 17 is standard illuminant A); 255 for other.
    kelvin : float or None
        Correlated colour temperature of the illuminant.
    xyz_to_camera : tuple of tuple of float
        ColorMatrix, camera calibration included: shape (colours, 3).
    camera_to_xyz_d50 : tuple of tuple of float or None
        ForwardMatrix, shape (3, colours).
    """

    illuminant: int
    kelvin: float | None
    xyz_to_camera: tuple[tuple[float, ...], ...]
    camera_to_xyz_d50: tuple[tuple[float, ...], ...] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Colour:
    """What is needed to take camera colour to CIE XYZ.

    Attributes
    ----------
    neutral : tuple of float or None
        As-shot neutral: the camera's values for a neutral object, largest 1; balance gains are its inverse.
    calibrations : tuple of Calibration
        None, one or two.
    rgb_to_xyz_d50 : tuple of tuple of float or None
        For rendered files: linear RGB to XYZ relative to D50.
    source : str
        ``"DNG tags"``, ``"decoder's table"``, ``"ICC profile"``, ``"Exif: Adobe RGB"``, ``"sRGB assumed"``.
    reason : Reason or None
        Why colour cannot be computed; None when it can.
    """

    neutral: tuple[float, ...] | None = None
    calibrations: tuple[Calibration, ...] = ()
    rgb_to_xyz_d50: tuple[tuple[float, ...], ...] | None = None
    source: str = "none"
    reason: Reason | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Camera:
    """Settings as recorded; None is "not recorded". A flash-fired tag decides nothing and is not here."""

    make: str | None = None
    model: str | None = None
    serial: str | None = None
    lens: str | None = None
    iso: float | None = None
    shutter_s: float | None = None
    aperture: float | None = None
    focal_mm: float | None = None
    focus_m: float | None = None
    taken: str | None = None
    """Local time, ``YYYY-MM-DDTHH:MM:SS[.fff][±HH:MM]``; the offset only when it was recorded."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frame:
    """One decoded capture.

    Attributes
    ----------
    kind : {"mosaic", "linear", "rendered"}
        One value per photosite; three values per pixel of sensor light; a finished picture.
    colours : str
        One letter a plane of `cells`, `clip` and `pixels`.
    height, width : int
        Visible photosites or pixels, sensor orientation.
    orientation : int
        Exif Orientation, 1–8.
    pixel_aspect : float
        Width of a photosite over its height; 1 for square ones.
    cfa : Cfa or None
        For mosaics.
    mosaic : ndarray of uint16, shape (height, width), or None
        DN as stored, for mosaics.
    pixels : ndarray of float32, shape (colours, height, width), or None
        Linear light for linear and rendered frames.
    black : Black
        Level of no light.
    scale : float
        Tagged white level less black, DN: the unit of light.
    saturation : tuple of Saturation
        One a colour.
    cell : int
        Photosites along the side of a cell: 2, or 6 for X-Trans.
    cells : ndarray of float32, shape (colours, height // cell, width // cell)
        Mean light of each colour in each cell.
    clip_cell : int
        Pixels along the side of a cell of `clip`: 2 for mosaics, 1 otherwise.
    clip : ndarray of uint8, shape (colours, height // clip_cell, width // clip_cell)
        How many photosites of each colour are clipped, decided per photosite before any averaging.
    noise : Noise
        Of one photosite.
    colour : Colour
        Way to XYZ.
    camera : Camera
        Recorded settings.
    decoder : str
        Name and version of what read it.
    findings : tuple of Finding
        What decoding has to say: ``saturation``, ``nothing_saturates``, ``assumed_srgb``, ….
    """

    kind: Kind
    colours: str
    height: int
    width: int
    orientation: int = 1
    pixel_aspect: float = 1.0
    cfa: Cfa | None = None
    mosaic: NDArray[np.uint16] | None = None
    pixels: Planes | None = None
    black: Black
    scale: float
    saturation: tuple[Saturation, ...]
    cell: int
    cells: Planes
    clip_cell: int
    clip: Counts
    noise: Noise
    colour: Colour
    camera: Camera = field(default_factory=Camera)
    decoder: str = "none"
    findings: tuple[Finding, ...] = ()

    def __post_init__(self) -> None:
        for array in (self.mosaic, self.pixels, self.cells, self.clip):
            if array is not None:
                array.flags.writeable = False

    @property
    def upright_size(self) -> tuple[int, int]:
        """Width and height of the upright picture in pixels."""
        from qc.orientation import swaps_sides

        size = (self.width, self.height)
        return size[::-1] if swaps_sides(self.orientation) else size

    def photosites_per_cell(self) -> NDArray[np.float64]:
        """Return how many photosites of each colour a cell of `cells` averages, shape (colours,)."""
        if self.cfa is None:
            return np.full(len(self.colours), float(self.cell * self.cell))
        rows, columns = self.cfa.shape
        counts = np.bincount(self.cfa.array().ravel(), minlength=len(self.colours))
        return counts * (self.cell * self.cell) / (rows * columns)

    def variance_of_photosite(self, light: NDArray[np.float32] | float) -> NDArray[np.float64] | None:
        """Return the variance of one photosite at a given light, in units of scale²; None when unknown.

        σ² = (K · light · scale + σ_read²) / scale² (EMVA 1288 R4, linear model); light below 0 counts as 0.
        """
        if self.noise.gain is None or self.noise.read_noise is None:
            return None
        signal = np.maximum(np.asarray(light, dtype=np.float64), 0.0) * self.scale
        return (self.noise.gain * signal + self.noise.read_noise**2) / self.scale**2
