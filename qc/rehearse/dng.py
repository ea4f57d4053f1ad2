"""Write a mosaic or linear raw as a DNG that both decoders open, bit for bit.

Published format: DNG 1.7.1.0, on TIFF 6.0; lossless JPEG: ITU-T T.81 process 14.
"""

from __future__ import annotations

import io
import os
import struct
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Literal, Required, TypedDict, Unpack

import numpy as np
import tifffile
from numpy.typing import ArrayLike, NDArray

from qc.decode import BAYER
from qc.decode.decoded import Window
from qc.errors import UsageError
from qc.frame import Camera, Cfa
from qc.rehearse._dng_tags import Matrix, Tag, area_tags, camera_tags, cfa_tags, colour_tags, level_tags
from qc.rehearse._exif import EXIF_POINTER, POINTER_PLACE, directory

Compression = Literal["none", "ljpeg"]

XTRANS = Cfa(
    pattern=(
        (1, 2, 1, 1, 0, 1),
        (0, 1, 0, 2, 1, 2),
        (1, 2, 1, 1, 0, 1),
        (1, 0, 1, 1, 2, 1),
        (2, 1, 2, 0, 1, 0),
        (1, 0, 1, 1, 2, 1),
    )
)
"""A 6×6 mosaic with 20 greens, 8 reds and 8 blues; LibRaw opens frames of at least 512 px a side."""

MONOCHROME = Cfa(pattern=((0,),), colours="L")
"""No colour filters."""

LINEAR_RAW = 34892
TILE = 256
TIFF_LIMIT = 2**32 - 2**20


class DngOptions(TypedDict, total=False):
    """What `encode_dng` takes beside the mosaic; each is described there."""

    cfa: Cfa | str
    black: ArrayLike
    white: Required[int | Sequence[int]]
    visible: Window | None
    masked: Sequence[Window]
    matrices: Sequence[tuple[int, Matrix]]
    forward: Sequence[Matrix] | None
    neutral: Sequence[float] | None
    orientation: int
    camera: Camera | None
    compression: Compression
    tile: tuple[int, int] | None
    black_rows: NDArray[np.float64] | None
    black_columns: NDArray[np.float64] | None
    linearisation: NDArray[np.uint16] | None
    linear: bool


def write_dng(path: str | os.PathLike[str], mosaic: NDArray[np.uint16], **how: Unpack[DngOptions]) -> Path:
    """Write a DNG in one step: it is built in memory, written under a hidden name and moved into place.

    Parameters
    ----------
    path : str or os.PathLike
        Where; a file of that name is replaced.
    mosaic : ndarray of uint16
        As for `encode_dng`.
    **how
        Everything else that `encode_dng` takes.

    Returns
    -------
    Path
        The file.

    Raises
    ------
    UsageError
        As `encode_dng`; nothing is written then.
    """
    target = Path(path)
    data = encode_dng(mosaic, **how)
    # The hidden file stands in the same folder because only a move inside one file system is atomic.
    handle, name = tempfile.mkstemp(prefix=f".{target.stem}.", suffix=".partial", dir=target.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(name).chmod(0o644)
        Path(name).replace(target)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    return target


def encode_dng(
    mosaic: NDArray[np.uint16],
    *,
    cfa: Cfa | str = "RGGB",
    black: ArrayLike = 0.0,
    white: int | Sequence[int],
    visible: Window | None = None,
    masked: Sequence[Window] = (),
    matrices: Sequence[tuple[int, Matrix]] = (),
    forward: Sequence[Matrix] | None = None,
    neutral: Sequence[float] | None = None,
    orientation: int = 1,
    camera: Camera | None = None,
    compression: Compression = "none",
    tile: tuple[int, int] | None = None,
    black_rows: NDArray[np.float64] | None = None,
    black_columns: NDArray[np.float64] | None = None,
    linearisation: NDArray[np.uint16] | None = None,
    linear: bool = False,
) -> bytes:
    """Return the bytes of a DNG without previews.

    Parameters
    ----------
    mosaic : ndarray of uint16, shape (rows, columns), or (rows, columns, 3) when `linear`
        DN as stored, margins included.
    cfa : Cfa or str
        Pattern from the top-left corner of the visible area, or the name of a Bayer phase.
    black : array_like
        A number, or an array of the repeat's shape, (rows, columns) or (rows, columns, samples); DN.
    white : int or sequence of int
        White level, one for all or one a sample; DN.
    visible : Window or None
        Active area; all of it when None.
    masked : sequence of Window
        Masked areas.
    matrices : sequence of (int, matrix)
        One or two: Exif LightSource code and XYZ → camera, shape (colours, 3).
    forward : sequence of matrix or None
        ForwardMatrix to each of `matrices`: balanced camera → XYZ D50, shape (3, colours).
    neutral : sequence of float or None
        AsShotNeutral.
    orientation : int
        Exif Orientation.
    camera : Camera or None
        Settings to record; what is None is not recorded.
    compression : {"none", "ljpeg"}
        Lossless JPEG needs imagecodecs.
    tile : (int, int) or None
        Rows and columns of a tile, multiples of 16. None is one strip, or at most 256 × 256 for lossless JPEG.
    black_rows, black_columns : ndarray or None
        BlackLevelDeltaV and BlackLevelDeltaH of the visible area, DN.
    linearisation : ndarray of uint16 or None
        LinearizationTable: `mosaic` then holds indices into it.
    linear : bool
        Three values per pixel (LinearRaw) in place of a mosaic.

    Returns
    -------
    bytes

    Raises
    ------
    UsageError
        When the arrays do not fit each other, or imagecodecs is missing.
    """
    layout = BAYER[cfa] if isinstance(cfa, str) else cfa
    if compression == "ljpeg" and tile is None:
        tile = (TILE, min(TILE, mosaic.shape[1] // 16 * 16))
    _check(mosaic, linear, visible, tile, compression)
    camera = camera or Camera()
    tags = camera_tags(camera, orientation)
    mono = not linear and layout.colours == "L"
    if not (linear or mono):
        tags += cfa_tags(layout)
    levels = np.atleast_2d(np.asarray(black, dtype=np.float64))
    tops = list(white) if isinstance(white, Sequence) else [white] * (3 if linear else 1)
    if linear:
        levels = np.broadcast_to(levels[..., np.newaxis] if levels.ndim == 2 else levels, (*levels.shape[:2], 3))
    tags += level_tags(levels, tops, black_rows, black_columns, linearisation)
    tags += area_tags(visible, masked) + colour_tags(matrices, forward, neutral)
    return _finish(_tiff(mosaic, tags, linear or mono, compression, tile), camera, mono=mono)


def _check(
    mosaic: NDArray[np.uint16],
    linear: bool,
    visible: Window | None,
    tile: tuple[int, int] | None,
    compression: Compression,
) -> None:
    wanted = 3 if linear else 2
    if mosaic.dtype != np.uint16 or mosaic.ndim != wanted or (linear and mosaic.shape[2] != 3):
        raise UsageError(f"a raw of shape {mosaic.shape} and type {mosaic.dtype} cannot be written as a DNG")
    if visible is not None:
        row, column, rows, columns = visible
        inside = row >= 0 <= column and row + rows <= mosaic.shape[0] and column + columns <= mosaic.shape[1]
        if not inside:
            raise UsageError(f"visible window {visible} does not lie within {mosaic.shape[:2]}")
    if tile is not None and (min(tile) < 16 or tile[0] % 16 or tile[1] % 16):
        raise UsageError(f"tile sides must be multiples of 16 (TIFF 6.0 section 15), not {tile}")
    # LibRaw 0.22 wraps the rows of a lossless tile at the picture's width, so a wider tile comes back sheared.
    if tile is not None and compression == "ljpeg" and tile[1] > mosaic.shape[1]:
        raise UsageError(f"a lossless tile must not be wider than the picture, {mosaic.shape[1]} px")
    if mosaic.nbytes > TIFF_LIMIT:
        raise UsageError("a DNG cannot be larger than 4 GB")


def _tiff(
    mosaic: NDArray[np.uint16],
    tags: list[Tag],
    plain: bool,
    compression: Compression,
    tile: tuple[int, int] | None,
) -> io.BytesIO:
    file = io.BytesIO()
    samples = mosaic.shape[2] if mosaic.ndim == 3 else 1
    lossless = tile is not None and compression == "ljpeg"
    with tifffile.TiffWriter(file, byteorder="<") as writer:
        writer.write(
            _lossless(mosaic, tile) if tile is not None and lossless else mosaic,
            shape=mosaic.shape,
            dtype=np.uint16,
            photometric="CFA" if not plain else LINEAR_RAW if samples > 1 else "MINISBLACK",
            planarconfig="CONTIG" if samples > 1 else None,
            compression=7 if lossless else None,
            tile=tile,
            rowsperstrip=None if tile else mosaic.shape[0],
            extratags=tags,
            metadata=None,
            software=False,
        )
    return file


def _lossless(mosaic: NDArray[np.uint16], tile: tuple[int, int]) -> Iterator[bytes]:
    """Encode tiles row by row; those at the right and lower edge are filled up with the last value."""
    try:
        from imagecodecs import jpeg8_encode
    except ImportError as error:
        raise UsageError("lossless JPEG needs the package imagecodecs; write it with compression none") from error
    rows, columns = mosaic.shape[:2]
    bits = max(8, int(mosaic.max(initial=0)).bit_length())
    for row in range(0, rows, tile[0]):
        for column in range(0, columns, tile[1]):
            part = mosaic[row : row + tile[0], column : column + tile[1]]
            lack = [(0, tile[0] - part.shape[0]), (0, tile[1] - part.shape[1])] + [(0, 0)] * (mosaic.ndim - 2)
            block = np.pad(part, lack, mode="edge")
            yield bytes(jpeg8_encode(block, lossless=True, predictor=1, bitspersample=bits))


def _finish(file: io.BytesIO, camera: Camera, *, mono: bool) -> bytes:
    """Append the Exif directory and put in place the two things that tifffile does not write."""
    end = file.seek(0, os.SEEK_END)
    end += end % 2
    file.seek(0)
    with tifffile.TiffFile(file) as tiff:
        tags = tiff.pages.first.tags
        pointer, photometric = tags[POINTER_PLACE].offset, tags["PhotometricInterpretation"].valueoffset
    data = bytearray(file.getvalue()).ljust(end, b"\0") + directory(camera, end)
    struct.pack_into("<HHII", data, pointer, EXIF_POINTER, 4, 1, end)
    if mono:
        struct.pack_into("<H", data, photometric, LINEAR_RAW)
    return bytes(data)
