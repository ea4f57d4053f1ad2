"""The JPEG that a camera leaves beside its raw."""

from __future__ import annotations

import io

import numpy as np
from PIL import ExifTags, Image

from qc.rehearse import camera
from qc.rehearse.shot import Shot


def jpeg_of(shot: Shot) -> bytes:
    """Return a finished picture of a frame, as cameras leave one beside a raw: half size, no true colour."""
    cells = shot.truth.cells(shot.truth.light) / np.array(camera.neutral())[:, np.newaxis, np.newaxis]
    codes = np.rint(255 * np.clip(cells, 0, 1) ** (1 / 2.2)).astype(np.uint8)
    exif = Image.Exif()
    if shot.camera.taken is not None:  # Exif 2.32, tags 0x9003 and 0x9011
        date, _, rest = shot.camera.taken.partition("T")
        exif.get_ifd(ExifTags.IFD.Exif).update({0x9003: f"{date.replace('-', ':')} {rest[:8]}", 0x9011: rest[-6:]})
    file = io.BytesIO()
    Image.fromarray(np.moveaxis(codes, 0, -1)).save(file, "JPEG", quality=90, exif=exif)
    return file.getvalue()
