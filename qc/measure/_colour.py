"""From camera colour to CIE XYZ, CIELAB, colour difference and colour temperature.

Pure functions on arrays. XYZ is relative: the stated white has Y = 1. Unless a function says otherwise the white
is D50 as ICC profiles and DNG define it. colour-science does the colorimetry; it takes over a second to import and
so is imported only when a colour is computed.

Sources: Adobe, Digital Negative Specification 1.7.1.0, chapter 6 "Mapping Camera Color Space to CIE XYZ Space";
ISO/CIE 11664-4 (CIELAB); ISO/CIE 11664-6 (CIEDE2000); Ohno, LEUKOS 10(1), 47-55, 2013 (CCT and Duv).
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from functools import cache
from types import ModuleType

import numpy as np
from numpy.typing import ArrayLike, NDArray

from qc.frame import Calibration, Colour
from qc.reading import Reason

D50 = (0.9642, 1.0, 0.8249)
"""XYZ of the D50 white of the profile connection space (ICC.1:2022, clause 7.2.16), the white of DNG too."""

Array = NDArray[np.float64]

_PASSES = 30
_CONVERGED = 1e-7
_WORST_CONDITION = 1e6


@cache
def science() -> ModuleType:
    """Return the module `colour`, imported on first use.

    It warns at import that it cannot plot; nothing here plots.
    """
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour
    module: ModuleType = colour
    return module


def camera_to_xyz_d50(colour: Colour, neutral: Sequence[float] | None = None) -> Array | Reason:
    """Return the matrix from linear camera light to XYZ relative to D50, balance included.

    Parameters
    ----------
    colour : Colour
        Of the frame.
    neutral : sequence of float or None
        Camera values of a neutral object, any scale; None for the frame's own as-shot neutral. Rendered files
        are balanced already and take no notice of it.

    Returns
    -------
    ndarray, shape (3, colours), or Reason
        The neutral, scaled to a largest value of 1, maps to the white: exactly with a forward matrix and up to
        the matrix inverse with a colour matrix. Reasons: ``no_colour_matrix``, ``no_white_balance``, or the
        frame's own.

    Notes
    -----
    DNG 1.7.1.0 chapter 6. Two calibrations are interpolated linearly in 1/CCT, the CCT being that of the white
    found from the neutral by the iteration of "Translating Camera Neutral Coordinates to White Balance xy
    Coordinates". With ForwardMatrix: FM · diag(1/neutral) (the camera calibration cancels where it is diagonal).
    Without: linear Bradford adaptation of inv(ColorMatrix). Four colours use the pseudo-inverse, as the chapter
    says where there is no reduction matrix.
    """
    if colour.rgb_to_xyz_d50 is not None:
        return np.array(colour.rgb_to_xyz_d50, dtype=np.float64)
    if colour.reason is not None:
        return colour.reason
    balance = balance_of(colour, neutral)
    if isinstance(balance, Reason):
        return balance
    mixed = calibration_under(colour.calibrations, balance)
    if isinstance(mixed, Reason):
        return mixed
    to_camera, forward, white = mixed
    matrix = forward / balance if forward is not None else adaptation(white, D50) @ np.linalg.pinv(to_camera)
    return np.asarray(matrix / (matrix @ balance)[1], dtype=np.float64)


def balance_of(colour: Colour, neutral: Sequence[float] | None = None) -> Array | Reason:
    """Return the neutral to balance by, largest value 1, shape (colours,)."""
    values = np.array(colour.neutral if neutral is None else neutral, dtype=np.float64)
    if values.ndim != 1 or not values.size or not np.all(np.isfinite(values)) or values.min() <= 0:
        return Reason("no_white_balance", "the file carries no usable white balance")
    return np.asarray(values / values.max(), dtype=np.float64)


def calibration_under(
    calibrations: Sequence[Calibration], neutral: Array
) -> tuple[Array, Array | None, Array] | Reason:
    """Return ColorMatrix and ForwardMatrix for a neutral, and the XYZ of the white it stands for.

    Returns
    -------
    (xyz_to_camera, camera_to_xyz_d50 or None, white) or Reason
        Shapes (colours, 3), (3, colours) and (3,); the white has Y = 1.
    """
    usable = [c for c in calibrations if _usable(c, len(neutral))]
    if not usable:
        return Reason("no_colour_matrix", "the file carries no usable camera matrix")
    white = np.array(D50)
    xy = np.zeros(2)
    for attempt in range(_PASSES):
        share = _share_of_first(usable, white)
        to_camera = _mix([c.xyz_to_camera for c in usable], share)
        found = np.linalg.pinv(to_camera) @ neutral
        if found[1] <= 0 or found.sum() <= 0:
            return Reason("no_colour_matrix", "the camera matrix makes no white of the file's balance")
        previous, xy = xy, found[:2] / found.sum()
        if attempt == _PASSES - 1:  # two matrices may make it swing between two whites: take the middle
            xy = (xy + previous) / 2
        white = xyz_of(xy)
        if np.abs(xy - previous).sum() < _CONVERGED:
            break
    forwards = [c.camera_to_xyz_d50 for c in usable if c.camera_to_xyz_d50 is not None]
    forward = _mix(forwards, share) if len(forwards) == len(usable) else None
    return to_camera, forward, white


def _usable(calibration: Calibration, colours: int) -> bool:
    matrix = np.array(calibration.xyz_to_camera, dtype=np.float64)
    return (
        matrix.shape == (colours, 3)
        and colours >= 3
        and bool(np.isfinite(matrix).all())
        and float(np.linalg.cond(matrix)) < _WORST_CONDITION
    )


def _share_of_first(calibrations: Sequence[Calibration], white: Array) -> float:
    """Weight of the first calibration, linear in 1/CCT between the two illuminants and held beyond them."""
    first, second = calibrations[0], calibrations[-1]
    if first.kelvin is None or second.kelvin is None:
        return 0.0 if first.kelvin is None and second.kelvin is not None else 1.0
    if first.kelvin == second.kelvin:
        return 1.0
    share = (1 / robertson(white) - 1 / second.kelvin) / (1 / first.kelvin - 1 / second.kelvin)
    return float(np.clip(share, 0.0, 1.0))


def _mix(matrices: Sequence[tuple[tuple[float, ...], ...]], share: float) -> Array:
    return share * np.array(matrices[0]) + (1 - share) * np.array(matrices[-1])


def robertson(xyz: ArrayLike) -> float:
    """Return the correlated colour temperature by Robertson's isotherms, K.

    Robertson, J. Opt. Soc. Am. 58, 1528-1535, 1968. Held at 1,667 K and 100,000 K, which is why the iteration over
    matrices uses it: any starting white has an answer.
    """
    return float(science().temperature.uv_to_CCT_Robertson1968(_uv(xyz))[0])


def _uv(xyz: ArrayLike) -> Array:
    """CIE 1960 UCS coordinates u, v of XYZ."""
    x, y, z = np.moveaxis(np.asarray(xyz, dtype=np.float64), -1, 0)
    total = x + 15 * y + 3 * z
    return np.stack([4 * x / total, 6 * y / total], axis=-1)


def xyz_of(xy: ArrayLike) -> Array:
    """Return XYZ with Y = 1 of chromaticity coordinates x, y; shape (..., 3)."""
    x, y = np.moveaxis(np.asarray(xy, dtype=np.float64), -1, 0)
    return np.stack([x / y, np.ones_like(x), (1 - x - y) / y], axis=-1)


def xy_of(xyz: ArrayLike) -> Array:
    """Return chromaticity coordinates x, y of XYZ; shape (..., 2)."""
    values = np.asarray(xyz, dtype=np.float64)
    return np.asarray(values[..., :2] / values.sum(axis=-1, keepdims=True), dtype=np.float64)


def adaptation(white_from: ArrayLike, white_to: ArrayLike) -> Array:
    """Return the linear Bradford matrix that takes XYZ under one white to XYZ under another, shape (3, 3).

    Lam 1985, as ICC.1:2022 Annex E and DNG chapter 6 use it. `white_from` maps to `white_to` exactly.
    """
    matrix = science().adaptation.matrix_chromatic_adaptation_VonKries(
        np.asarray(white_from, dtype=np.float64), np.asarray(white_to, dtype=np.float64), transform="Bradford"
    )
    return np.asarray(matrix, dtype=np.float64)


def lab(xyz: ArrayLike, white: ArrayLike = D50) -> Array:
    """Return CIELAB of XYZ (ISO/CIE 11664-4), L* 0 to 100 for Y 0 to 1.

    Parameters
    ----------
    xyz : array_like, shape (..., 3)
        Relative to `white`, which has Y = 1.
    white : array_like, shape (3,)
        XYZ of the white point.

    Returns
    -------
    ndarray, shape (..., 3)
    """
    ratio = np.asarray(xyz, dtype=np.float64) / np.asarray(white, dtype=np.float64)
    f = np.where(ratio > 216 / 24389, np.cbrt(ratio), (24389 / 27 * ratio + 16) / 116)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def xyz_of_lab(values: ArrayLike, white: ArrayLike = D50) -> Array:
    """Return XYZ of CIELAB, the inverse of `lab`; shape (..., 3)."""
    lightness, a, b = np.moveaxis(np.asarray(values, dtype=np.float64), -1, 0)
    fy = (lightness + 16) / 116
    f = np.stack([fy + a / 500, fy, fy - b / 200], axis=-1)
    ratio = np.where(f > 6 / 29, f**3, (116 * f - 16) * 27 / 24389)
    return np.asarray(ratio * np.asarray(white, dtype=np.float64), dtype=np.float64)


def delta_e_2000(first: ArrayLike, second: ArrayLike) -> Array:
    """Return CIEDE2000 colour differences (ISO/CIE 11664-6, kL = kC = kH = 1).

    Parameters
    ----------
    first, second : array_like, shape (..., 3)
        CIELAB under the same white.

    Returns
    -------
    ndarray, shape (...)
        0 for the same colour; about 1 is the smallest difference that most people see side by side.
    """
    difference = science().difference.delta_E_CIE2000(
        np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    )
    return np.asarray(difference, dtype=np.float64)


def cct_duv(xyz: ArrayLike) -> tuple[float, float]:
    """Return correlated colour temperature and distance from the Planckian locus (Ohno 2013).

    Parameters
    ----------
    xyz : array_like, shape (3,)
        Of a light, at any scale.

    Returns
    -------
    (kelvin, duv) : (float, float)
        Duv in CIE 1960 u, v: above 0 greener than the locus, below 0 more magenta; D65 has +0.0032. Both are NaN
        outside 1,000 to 100,000 K. Beyond a Duv of ±0.05 a temperature describes nothing (CIE 15:2018; the figure
        is from memory).
    """
    values = np.asarray(xyz, dtype=np.float64)
    # very warm lights have next to no Z, and a camera's matrix may put it under 0
    if not np.isfinite(values).all() or values[1] <= 0 or values[0] + 15 * values[1] + 3 * values[2] <= 0:
        return float("nan"), float("nan")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # the table's end is what the NaN says
        kelvin, duv = science().temperature.uv_to_CCT_Ohno2013(_uv(values))
    if not (np.isfinite(kelvin) and np.isfinite(duv) and 1001 < kelvin < 99_900):
        return float("nan"), float("nan")
    return float(kelvin), float(duv)


def mired(kelvin: float) -> float:
    """Return the reciprocal colour temperature in mired: 1,000,000 / K. Warmer light has more."""
    return 1e6 / kelvin
