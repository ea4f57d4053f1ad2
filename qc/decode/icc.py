"""ICC profiles made of a matrix and tone curves: device code to linear light, linear light to XYZ.

Source: ICC.1:2022 (ISO 15076-1), profile header, tag table, curveType, parametricCurveType, XYZType and the
three-component matrix-based model of annex F: linear = TRC(device), XYZ (D50) = matrix · linear. Colorants are
stored relative to D50, so no adaptation is left to do.
"""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from qc.decode.tone import Curve, Matrix
from qc.reading import Reason

_D50 = (0.9642, 1.0, 0.8249)
"""White of the profile connection space (ICC.1:2022, header, PCS illuminant)."""

_WHITE_TOLERANCE = 0.02
_CURVES = {b"RGB ": (b"rTRC", b"gTRC", b"bTRC"), b"GRAY": (b"kTRC",)}
_COLORANTS = (b"rXYZ", b"gXYZ", b"bXYZ")
_LOOK_UP = (b"A2B0", b"D2B0")
_PARAMETERS = (1, 3, 4, 5, 7)


@dataclass(frozen=True, slots=True)
class Profile:
    """What a profile says of a file's colours.

    Attributes
    ----------
    curves : tuple of callable or None
        One a channel, device code 0–1 to linear light 0–1; None when there are none.
    matrix : tuple of tuple of float or None
        Linear RGB to XYZ relative to D50, shape (3, 3).
    reason : Reason or None
        Why colour cannot be computed; None when it can.
    """

    curves: tuple[Curve, ...] | None = None
    matrix: Matrix | None = None
    reason: Reason | None = None


def read_profile(data: bytes, channels: int) -> Profile:
    """Read a profile for a picture of one (grey) or three channels.

    Parameters
    ----------
    data : bytes
        The profile.
    channels : int
        Channels of the picture.

    Returns
    -------
    Profile
        Always; what cannot be used is a reason.
    """
    space = data[16:20]
    if data[36:40] != b"acsp" or len(data) < 132:
        return _refused("its ICC profile cannot be read")
    if len(_CURVES.get(space, ())) != channels:
        return _refused("its ICC profile is for another kind of colour than the picture's")
    tags = _tags(data)
    curves = tuple(c for name in _CURVES[space] if (c := _curve(tags.get(name, b""))) is not None)
    usable = curves if len(curves) == channels else None
    if any(name in tags for name in _LOOK_UP):
        return _refused("its ICC profile is a look-up table, which is not evaluated", usable)
    if usable is None:
        return _refused("its ICC profile has no tone curves")
    if channels == 1:
        return Profile(curves, None, Reason("no_colour_matrix", "a grey picture carries no colour"))
    matrix = _matrix(tags)
    if matrix is None:
        return _refused("its ICC profile has no usable matrix", usable)
    return Profile(curves, matrix)


def _refused(text: str, curves: tuple[Curve, ...] | None = None) -> Profile:
    return Profile(curves, None, Reason("no_colour_matrix", text))


def _tags(data: bytes) -> dict[bytes, bytes]:
    (count,) = struct.unpack_from(">I", data, 128)
    found = {}
    for at in range(132, min(132 + 12 * min(count, 256), len(data) - 11), 12):
        name, offset, size = struct.unpack_from(">4sII", data, at)
        found[name] = data[offset : offset + size]
    return found


def _matrix(tags: dict[bytes, bytes]) -> Matrix | None:
    """Return the colorants as columns; None when one is missing or they do not add up to the D50 white."""
    columns = []
    for name in _COLORANTS:
        tag = tags.get(name, b"")
        if tag[:4] != b"XYZ " or len(tag) < 20:
            return None
        columns.append([v / 65536 for v in struct.unpack_from(">3i", tag, 8)])
    matrix = np.array(columns).T
    if not np.allclose(matrix.sum(axis=1), _D50, atol=_WHITE_TOLERANCE):
        return None
    return tuple(tuple(map(float, row)) for row in matrix)


def _curve(tag: bytes) -> Curve | None:
    if tag[:4] == b"curv" and len(tag) >= 12:
        return _table(tag)
    if tag[:4] == b"para" and len(tag) >= 12:
        return _parametric(tag)
    return None


def _table(tag: bytes) -> Curve | None:
    """Read a curveType: identity, one u8Fixed8 exponent, or samples to interpolate between."""
    (count,) = struct.unpack_from(">I", tag, 8)
    if len(tag) < 12 + 2 * count:
        return None
    values = np.frombuffer(tag, ">u2", count, 12).astype(np.float64)
    if count == 0:
        return lambda x: x
    if count == 1:
        exponent = float(values[0]) / 256
        if exponent == 0:
            return None
        return lambda x: x**exponent
    knots = np.linspace(0.0, 1.0, count)
    return lambda x: np.interp(x, knots, values / 65535)


def _parametric(tag: bytes) -> Curve | None:
    """Read a parametricCurveType of function 0 to 4."""
    (function,) = struct.unpack_from(">H", tag, 8)
    if function >= len(_PARAMETERS) or len(tag) < 12 + 4 * _PARAMETERS[function]:
        return None
    stored = [v / 65536 for v in struct.unpack_from(f">{_PARAMETERS[function]}i", tag, 12)]
    g, a, b, c, d, e, f = _full_form(function, stored)
    if not 0 < g < 20:
        return None

    def curve(x: NDArray[np.float64]) -> NDArray[np.float64]:
        power = np.maximum(a * x + b, 0.0) ** g + e
        return np.clip(np.where(x >= d, power, c * x + f), 0.0, 1.0)

    return curve


def _full_form(function: int, stored: list[float]) -> list[float]:
    """Return the parameters of functions 0 to 3 in the form of function 4: (ax+b)^g + e from d on, else cx + f."""
    if function == 4:
        return stored
    if function == 3:
        return [*stored, 0.0, 0.0]
    if function == 0:
        return [stored[0], 1.0, 0.0, 0.0, 0.0, 0.0, 0.0]
    g, a, b = stored[:3]
    start = -b / a if a else 0.0
    floor = stored[3] if function == 2 else 0.0
    return [g, a, b, 0.0, start, floor, floor]
