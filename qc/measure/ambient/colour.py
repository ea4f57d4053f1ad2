"""Colour of ambient light, and what it does to a neutral that the flash lights.

Both come from the ratio A / (T − A) of each colour, in which the colour of what is photographed cancels out.
Multiplied by the camera's neutral under the flash it is the camera's neutral under the ambient light.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.frame import Colour
from qc.measure.ambient.light import Light
from qc.reading import Reason

Array = NDArray[np.float64]

WIDEST_MIRED = 40.0
"""± in mired beyond which a temperature, and a word for it, says nothing."""

WHITEST_DUV = 0.05
"""Duv beyond which a temperature describes nothing (CIE 15:2018; the figure is from memory)."""

VIRTUAL_LIGHTNESS = 81.0
"""L* of the neutral that the colour shift is stated for: a light grey, where a cast shows well."""

_UV_PER_MIRED = 3.7e-4
"""Length of 1 mired along the daylight locus near 5,500 K in CIE 1960 u, v (computed from D50 and D55)."""

_NEUTRAL_UV = 0.004
"""Distance in CIE 1960 u, v under which a light has the flash's colour: about 11 mired. Our own choice."""


@dataclass(frozen=True, slots=True)
class Ratio:
    """Ambient over flash light by colour, shape (colours,) or (colours, n).

    Attributes
    ----------
    value, error : ndarray
        Ratio and one standard error by noise.
    black : ndarray
        Change of the ratio for one standard error of the black level, the same sign for all colours.
    """

    value: Array
    error: Array
    black: Array

    @classmethod
    def of(cls, light: Light) -> Ratio:
        """Return the ratio of one place, or of many."""
        with np.errstate(divide="ignore", invalid="ignore"):
            value = light.ambient / light.flash
            return cls(value, light.ambient_error / light.flash, light.black_error / light.flash)

    def flat(self) -> Ratio:
        """Return the ratio of one group as of a row of one place, shape (colours, 1)."""
        return Ratio(*(part.reshape(len(self.value), -1) for part in (self.value, self.error, self.black)))

    def above(self, rest: Ratio) -> Ratio:
        """Return what this place has more than the rest: the light of a lamp that reaches only this place."""
        return Ratio(self.value - rest.value, np.hypot(self.error, rest.error), self.black - rest.black)


@dataclass(frozen=True, slots=True)
class Hue:
    """Colour of a light.

    Attributes
    ----------
    words : tuple of str
        Of warm, cool, green, magenta, neutral; the stronger first.
    kelvin, kelvin_pm, mired_pm : float or None
        Correlated colour temperature with its ±; None where it describes nothing or there is no matrix.
    duv, duv_pm : float or None
        Distance from the Planckian locus, with its ±.
    """

    words: tuple[str, ...]
    kelvin: float | None = None
    kelvin_pm: float | None = None
    mired_pm: float | None = None
    duv: float | None = None
    duv_pm: float | None = None

    @property
    def word(self) -> str:
        """The words as people say them."""
        return " and ".join(self.words)


def flash_neutral(colour: Colour, white: tuple[float, float], colours: int) -> Array | Reason:
    """Return the camera's values for a neutral under the flash, shape (colours,), largest 1.

    ColorMatrix × XYZ of the flash's white (DNG 1.7.1.0 chapter 6), the matrix interpolated for that white.
    """
    from qc.measure._colour import calibration_under, xyz_of

    if colour.reason is not None:
        return colour.reason
    if not colour.calibrations:
        return Reason("no_colour_matrix", "the file carries no usable camera matrix")
    if len(colour.calibrations[-1].xyz_to_camera) != colours:
        return Reason("no_colour_matrix", f"the camera matrix is not one for {colours} colours")
    xyz = xyz_of(white)
    neutral = np.array(colour.calibrations[-1].xyz_to_camera, dtype=np.float64) @ xyz
    for _ in range(4):  # the matrix hardly changes with the white: two rounds reach 1e-6
        if neutral.min() <= 0:
            return Reason("no_colour_matrix", "the camera matrix makes no neutral of the flash's white")
        found = calibration_under(colour.calibrations, neutral / neutral.max())
        if isinstance(found, Reason):
            return found
        neutral = found[0] @ xyz
    return np.asarray(neutral / neutral.max(), dtype=np.float64)


def shift(ratio: Ratio, colour: Colour, neutral: Array) -> tuple[Array, Array] | Reason:
    """Return the colour shift of a virtual neutral, and its ±.

    Parameters
    ----------
    ratio : Ratio
        Of n places, shape (colours, n).
    colour : Colour
        Of the lit frame.
    neutral : ndarray, shape (colours,)
        From `flash_neutral`.

    Returns
    -------
    (shift, plus_minus) : ndarray, shape (n,), or Reason
        CIEDE2000 between a neutral of L* 81 under flash plus ambient, brought back to the same lightness, and
        under flash alone; the white is flash alone.
    """
    from qc.measure._colour import camera_to_xyz_d50, delta_e_2000, lab, xyz_of_lab

    matrix = camera_to_xyz_d50(colour, tuple(neutral))
    if isinstance(matrix, Reason):
        return matrix
    white = matrix @ neutral
    same = np.array([VIRTUAL_LIGHTNESS, 0.0, 0.0])
    luminance = xyz_of_lab(same, white)[1]

    def difference(value: Array) -> Array:
        xyz = matrix @ (neutral[:, None] * (1.0 + np.maximum(value, -0.5)))
        return delta_e_2000(np.broadcast_to(same, xyz.T.shape), lab((xyz / xyz[1] * luminance).T, white))

    found = difference(ratio.value)
    moved = [difference(_moved(ratio, c)) - found for c in range(len(neutral))]
    moved.append(difference(ratio.value + ratio.black) - found)
    return found, 2.0 * np.sqrt(np.sum(np.square(moved), axis=0))


def _moved(ratio: Ratio, colour: int) -> Array:
    value = ratio.value.copy()
    value[colour] += ratio.error[colour]
    return value


def hue(ratio: Ratio, colour: Colour, neutral: Array | Reason, flash_white: tuple[float, float]) -> Hue | Reason:
    """Return the colour of an ambient light from its ratio to the flash, shape (colours,).

    Temperature and Duv by Ohno 2013 of the white that the camera neutral stands for (DNG 1.7.1.0 chapter 6).
    Words are relative to the flash's white. Without a matrix there are words only, from the ratios themselves.

    Returns
    -------
    Hue or Reason
        ``colour_uncertain`` when a colour is at the floor or the ± exceeds 40 mired; ``no_colour_matrix`` for a
        monochrome sensor.
    """
    if len(ratio.value) < 3:
        return Reason("no_colour_matrix", "a monochrome sensor sees no colour")
    if np.any(ratio.value <= 2.0 * np.hypot(ratio.error, ratio.black)):
        return Reason("colour_uncertain", "one colour of the ambient light does not stand clear of the noise")
    if isinstance(neutral, Reason):
        return _hue_without_matrix(ratio)
    return _hue(ratio, colour, neutral, flash_white)


def _hue(ratio: Ratio, colour: Colour, neutral: Array, flash_white: tuple[float, float]) -> Hue | Reason:
    from qc.measure._colour import cct_duv, xyz_of

    def white(value: Array) -> Array:
        return np.array(_mired_duv(colour, neutral * value))

    found = white(ratio.value)
    moved = [white(_moved(ratio, c)) - found for c in range(len(neutral))]
    moved.append(white(ratio.value + ratio.black) - found)
    mired_pm, duv_pm = 2.0 * np.sqrt(np.sum(np.square(moved), axis=0))
    mired, duv = found
    if not np.isfinite((mired, duv, mired_pm, duv_pm)).all():
        text = "the ambient light is so coloured that no temperature between 1,000 and 100,000 K describes it"
        return Reason("colour_uncertain", text)
    if mired_pm > WIDEST_MIRED:
        return Reason("colour_uncertain", f"its ± is {mired_pm:.0f} mired, wider than {WIDEST_MIRED:.0f}")
    flash_kelvin, flash_duv = cct_duv(xyz_of(flash_white))
    along, across = (mired - 1e6 / flash_kelvin) * _UV_PER_MIRED, duv - flash_duv
    words = _words(along, across)
    if abs(duv) > WHITEST_DUV:
        return Hue(words, duv=float(duv), duv_pm=float(duv_pm))
    kelvin = 1e6 / mired
    # a ± that is even in mired is not so in kelvin: this is its linear part
    return Hue(words, float(kelvin), float(kelvin**2 * mired_pm / 1e6), float(mired_pm), float(duv), float(duv_pm))


def _mired_duv(colour: Colour, neutral: Array) -> tuple[float, float]:
    from qc.measure._colour import calibration_under, cct_duv

    if neutral.min() <= 0:
        return float("nan"), float("nan")
    found = calibration_under(colour.calibrations, neutral / neutral.max())
    if isinstance(found, Reason):
        return float("nan"), float("nan")
    kelvin, duv = cct_duv(found[2])
    return 1e6 / kelvin, duv


def _words(along: float, across: float) -> tuple[str, ...]:
    """Set words for a colour by its distance along the locus (+ is warmer) and across it (+ is greener)."""
    if np.hypot(along, across) < _NEUTRAL_UV:
        return ("neutral",)
    first, second = ("warm" if along > 0 else "cool"), ("green" if across > 0 else "magenta")
    if abs(across) > abs(along):
        return (second, first) if abs(along) > max(_NEUTRAL_UV, abs(across) / 4) else (second,)
    return (first, second) if abs(across) > max(_NEUTRAL_UV, abs(along) / 4) else (first,)


def _hue_without_matrix(ratio: Ratio) -> Hue:
    """Words from the ratios of the first, second and third colour, taken as red, green and blue."""
    red, green, blue = np.log2(ratio.value[:3])
    # a camera's red to blue ratio changes by about 1 stop for 65 mired: computed for sRGB primaries
    along = (red - blue) * 65.0 * _UV_PER_MIRED
    across = (green - (red + blue) / 2) * 65.0 * _UV_PER_MIRED
    return Hue(_words(along, across))
