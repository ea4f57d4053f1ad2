"""The only room that touches the decoders: bytes to `Frame`."""

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
    """Make a frame from a mosaic in memory: a simulated one, or one from a camera of one's own.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns)
        DN, linear.
    cfa : Cfa or str
        Colour filter array, or the name of a Bayer phase such as ``"RGGB"``.
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
    levels = np.array(np.broadcast_to(np.asarray(black, dtype=np.float64), layout.shape))
    return develop(
        Decoded(
            kind="mosaic",
            data=mosaic,
            visible=visible or (0, 0, *mosaic.shape),
            cfa=layout,
            colours=layout.colours,
            black=levels,
            white=white,
            masked=masked,
            orientation=orientation,
            colour=colour or Colour(),
            camera=camera or Camera(),
            decoder="array",
        )
    )
