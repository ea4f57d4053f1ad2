"""Frames from arrays in memory: simulated ones, or those of a camera of one's own."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded, Window
from qc.decode.develop import develop
from qc.frame import Camera, Cfa, Colour, Frame

BAYER: dict[str, Cfa] = {
    "RGGB": Cfa(pattern=((0, 1), (1, 2))),
    "BGGR": Cfa(pattern=((2, 1), (1, 0))),
    "GRBG": Cfa(pattern=((1, 0), (2, 1))),
    "GBRG": Cfa(pattern=((1, 2), (0, 1))),
}
"""The four phases of a Bayer mosaic."""


def frame_from_mosaic(
    mosaic: NDArray[np.uint16],
    *,
    cfa: Cfa | str = "RGGB",
    black: float | NDArray[np.float64] = 0.0,
    white: float,
    masked: tuple[Window, ...] = (),
    visible: Window | None = None,
    orientation: int = 1,
    colour: Colour | None = None,
    camera: Camera | None = None,
) -> Frame:
    """Make a frame from a mosaic in memory.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        DN, linear.
    cfa : Cfa or str
        Colour filter array from the first visible photosite on, or the name of a Bayer phase such as ``"RGGB"``.
    black : float or ndarray
        Black for all, or by position in the pattern; DN.
    white : float
        White level, DN.
    masked : tuple of Window
        Areas that light cannot reach.
    visible : Window or None
        Visible part; all of it when None.
    orientation : int
        Exif Orientation.
    colour : Colour or None
        Way to XYZ.
    camera : Camera or None
        Settings.

    Returns
    -------
    Frame
    """
    layout = BAYER[cfa] if isinstance(cfa, str) else cfa
    levels = np.asarray(black, dtype=np.float64)
    if levels.ndim != 2:
        levels = np.array(np.broadcast_to(levels, layout.shape))
    return develop(
        Decoded(
            kind="mosaic",
            data=mosaic,
            visible=visible or (0, 0, *mosaic.shape),
            cfa=layout,
            colours=layout.colours,
            black=levels,
            black_source="given",
            white=white,
            masked=masked,
            bits=max(1, int(white).bit_length()),
            orientation=orientation,
            colour=colour or Colour(),
            camera=camera or Camera(),
            decoder="array",
        )
    )


def frame_from_linear(
    pixels: NDArray[np.uint16],
    *,
    black: float | NDArray[np.float64] = 0.0,
    white: float,
    orientation: int = 1,
    colour: Colour | None = None,
    camera: Camera | None = None,
) -> Frame:
    """Make a frame from sensor light with three values a pixel.

    Parameters
    ----------
    pixels : ndarray of uint16, shape (rows, columns, 3)
        DN, linear.
    black : float or ndarray
        Black for all, or by colour; DN.
    white, orientation, colour, camera
        As for `frame_from_mosaic`.

    Returns
    -------
    Frame
    """
    levels = np.array(np.broadcast_to(np.asarray(black, dtype=np.float64), (1, 3)))
    return develop(
        Decoded(
            kind="linear",
            data=pixels,
            visible=(0, 0, *pixels.shape[:2]),
            cfa=None,
            colours="RGB",
            black=levels,
            black_source="given",
            white=white,
            orientation=orientation,
            colour=colour or Colour(),
            camera=camera or Camera(),
            decoder="array",
        )
    )


def frame_from_rendered(
    light: NDArray[np.floating],
    *,
    top_code: NDArray[np.bool_] | None = None,
    orientation: int = 1,
    colour: Colour | None = None,
    camera: Camera | None = None,
) -> Frame:
    """Make a frame from a finished picture that was taken to linear light already.

    Parameters
    ----------
    light : ndarray, shape (rows, columns, colours)
        Linear light, 0 to 1; three colours, or one for grey.
    top_code : ndarray of bool, same shape, or None
        Which values stood at the top code; those at 1 when None.
    orientation, colour, camera
        As for `frame_from_mosaic`.

    Returns
    -------
    Frame
    """
    letters = "RGB" if light.shape[-1] == 3 else "L"
    return develop(
        Decoded(
            kind="rendered",
            data=np.asarray(light, dtype=np.float32),
            visible=(0, 0, *light.shape[:2]),
            cfa=None,
            colours=letters,
            black=np.zeros((1, len(letters))),
            black_source="none",
            white=1.0,
            top_code=top_code,
            orientation=orientation,
            colour=colour or Colour(),
            camera=camera or Camera(),
            decoder="array",
        )
    )
