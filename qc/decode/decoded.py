"""`Decoded`: what a decoder hands over, before anything is computed; the protocol both decoders keep."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from qc.frame import BlackSource, Camera, Cfa, Colour, Kind
from qc.reading import Finding

Window = tuple[int, int, int, int]
"""First row, first column, rows, columns."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Decoded:
    """Pixels and tags of one capture, copied out of the decoder.

    Attributes
    ----------
    kind : {"mosaic", "linear", "rendered"}
        Kind of file.
    data : ndarray
        uint16 (rows, columns) for a mosaic with its margins; uint16 or float32 (rows, columns, colours) for
        linear and rendered files. Rendered data are already linear light, 0–1.
    visible : Window
        Visible part of `data`.
    cfa : Cfa or None
        For mosaics, phased to the visible area.
    colours : str
        One letter a colour.
    black : ndarray of float64
        Tagged black by CFA position of the visible area (shape of the pattern, or a larger repeat), or
        (1, colours) for linear files; DN.
    black_tagged : bool
        False when the file states no black and 0 stands in.
    black_source : str
        Who states it: the file's tag, the decoder's table, or the caller.
    black_rows, black_columns : ndarray of float64 or None
        Per-row and per-column additions of the visible area (DNG BlackLevelDeltaV and H), or None.
    white : float
        Tagged white level, DN; the smallest where colours differ.
    white_by_colour : tuple of float or None
        The converter's own maximum per colour where it is believable.
    masked : tuple of Window
        Areas of `data` that light cannot reach, edges that leak already left out.
    bits : int
        Bits a sample was stored with.
    lossy : bool
        Whether the file's compression changes values.
    top_code : tuple of bool arrays or None
        For rendered files: (rows, columns, colours) at the top code, decided before linearisation.
    orientation, pixel_aspect, colour, camera
        As in `qc.frame.Frame`.
    decoder : str
        Name and version.
    images : int
        Pictures in the file; the first was decoded.
    complaints : tuple of str
        What the decoder said while reading.
    findings : tuple of Finding
        Assumptions made and anything worth telling.
    """

    kind: Kind
    data: NDArray[np.uint16] | NDArray[np.float32]
    visible: Window
    cfa: Cfa | None
    colours: str
    black: NDArray[np.float64]
    black_tagged: bool = True
    black_source: BlackSource = "decoder"
    black_rows: NDArray[np.float64] | None = None
    black_columns: NDArray[np.float64] | None = None
    white: float
    white_by_colour: tuple[float, ...] | None = None
    masked: tuple[Window, ...] = ()
    bits: int = 16
    lossy: bool = False
    top_code: NDArray[np.bool_] | None = None
    orientation: int = 1
    pixel_aspect: float = 1.0
    colour: Colour = field(default_factory=Colour)
    camera: Camera = field(default_factory=Camera)
    decoder: str = "none"
    images: int = 1
    complaints: tuple[str, ...] = ()
    findings: tuple[Finding, ...] = ()


class Decoder(Protocol):
    """What a decoder must offer; one file each, chosen in `qc.decode.open_frame`."""

    name: str

    def version(self) -> str:
        """Return name and version as results record it."""
        ...

    def read(self, data: bytes, path: str) -> Decoded:
        """Decode a whole file held in memory.

        Parameters
        ----------
        data : bytes
            The file.
        path : str
            Its name, for error texts only.

        Raises
        ------
        qc.errors.CaptureError
            For everything the wrapped library can raise.
        """
        ...
