"""`Shot`: one rehearsed frame with its settings and its truth; a frame in memory, or a file."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from qc.decode import frame_from_mosaic
from qc.frame import Camera, Cfa, Frame
from qc.rehearse import camera
from qc.rehearse.dng import Compression, DngOptions, encode_dng, write_dng
from qc.rehearse.sensor import Readout, Sensor
from qc.rehearse.truth import Truth


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
        return write_dng(path, self.readout.mosaic, **self._recorded(compression))

    def encode(self, *, compression: Compression = "none") -> bytes:
        """Return the bytes of that DNG."""
        return encode_dng(self.readout.mosaic, **self._recorded(compression))

    def _recorded(self, compression: Compression) -> DngOptions:
        return DngOptions(
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
