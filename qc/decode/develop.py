"""From `Decoded` to `Frame`: black, saturation, noise and the shared planes, in that order."""

from __future__ import annotations

import numpy as np

from qc.decode.decoded import Decoded
from qc.decode.planes import bayer_planes
from qc.frame import Black, Frame, Noise, Saturation


def develop(decoded: Decoded) -> Frame:
    """Make the frame that every measurement reads.

    Parameters
    ----------
    decoded : Decoded
        What a decoder handed over.

    Returns
    -------
    Frame
    """
    assert decoded.cfa is not None
    row, column, rows, columns = decoded.visible
    mosaic = np.ascontiguousarray(decoded.data[row : row + rows, column : column + columns], dtype=np.uint16)
    scale = decoded.white - float(decoded.black.mean())
    levels = np.full(len(decoded.colours), decoded.white)
    cells, clip = bayer_planes(mosaic, decoded.cfa, decoded.black, scale, levels)
    return Frame(
        kind="mosaic",
        colours=decoded.colours,
        height=rows,
        width=columns,
        orientation=decoded.orientation,
        pixel_aspect=decoded.pixel_aspect,
        cfa=decoded.cfa,
        mosaic=mosaic,
        black=Black(levels=tuple(map(tuple, decoded.black.tolist())), source="tag", uncertainty=0.5),
        scale=scale,
        saturation=tuple(Saturation(colour=c, level=decoded.white, source="tag") for c in decoded.colours),
        cell=2,
        cells=cells,
        clip_cell=2,
        clip=clip,
        noise=Noise(),
        colour=decoded.colour,
        camera=decoded.camera,
        decoder=decoded.decoder,
        findings=decoded.findings,
    )
