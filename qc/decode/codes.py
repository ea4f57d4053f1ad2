"""Pixels of rendered files as they are stored: JPEG by Pillow, PNG by Pillow or OpenCV, TIFF by tifffile.

Pillow turns 16-bit colour into 8 bits without a word and OpenCV decodes cut files without a word, so each reads
only what it reads right: OpenCV the 16-bit PNGs, whose every chunk has been summed by then.
"""

from __future__ import annotations

import io
import logging
import math
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from qc.container.whole_boxes import png_chunks
from qc.container.whole_jpeg import frame_of_jpeg
from qc.decode.complaints import complaints
from qc.decode.mapping_rendered import translated
from qc.decode.tone import Codes
from qc.errors import DamagedError, UnreadableError, UnsupportedError

if TYPE_CHECKING:
    import tifffile

MAX_PIXELS = 1 << 30
"""Above this a picture is refused, however much memory there is."""

BYTES_PER_PIXEL = 3 * (2 + 4 + 1)
"""Codes, linear light and clipping of three colours, all held at once."""

_SOF = frozenset({0xC0, 0xC1, 0xC2, 0xC9, 0xCA})
"""Start of frame of baseline, extended and progressive JPEG, Huffman and arithmetic (ITU-T T.81 table B.1)."""
_GREY, _RGB, _INVERTED_GREY, _YCBCR, _CFA = 1, 2, 0, 6, 32803
_READ = (_GREY, _RGB, _INVERTED_GREY, _YCBCR)
_PHOTOMETRIC = {3: "indexed colours", 4: "a mask", 5: "CMYK", 8: "CIELAB", 9: "ICCLAB", 10: "ITULAB"}
_PHOTOMETRIC |= {32803: "a colour filter mosaic", 34892: "linear raw"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stored:
    """A rendered picture as stored.

    Attributes
    ----------
    codes : ndarray of uint8 or uint16, shape (rows, columns, colours)
        Device codes, one or three colours; alpha left out.
    icc : bytes
        Embedded profile; empty without one.
    srgb : bool
        Whether a PNG states sRGB.
    gamma : float or None
        Exponent of a PNG's gAMA chunk.
    alpha : bool
        Whether there was a further channel that was left out.
    lossy : bool
        Whether the compression changes values.
    images : int
        Pictures in the file.
    decoder : str
        Name and version.
    complaints : tuple of str
        What the library logged while reading.
    """

    codes: Codes
    icc: bytes = b""
    srgb: bool = False
    gamma: float | None = None
    alpha: bool = False
    lossy: bool = False
    images: int = 1
    decoder: str
    complaints: tuple[str, ...] = ()


def read_jpeg(data: bytes, path: str) -> Stored:
    """Decode the first picture of a JPEG file.

    Raises
    ------
    qc.errors.CaptureError
        Damaged data; CMYK, lossless or 12-bit coding.
    """
    import PIL
    from PIL.JpegImagePlugin import JpegImageFile

    frame = frame_of_jpeg(data)
    if frame is None:
        raise DamagedError(path, "it holds no picture")
    if frame[0] not in _SOF:
        raise UnsupportedError(path, "lossless and hierarchical JPEG are not supported")
    if frame[1] != 8:
        raise UnsupportedError(path, f"JPEG of {frame[1]} bits is not supported")
    # the class itself: opening by guess would bring further formats and a limit on honest sizes
    with translated(path), JpegImageFile(io.BytesIO(data)) as image:
        _check_size(*image.size, path)
        mode, icc = image.mode, image.info.get("icc_profile", b"")
        codes = np.asarray(image)
    if mode not in ("L", "RGB"):
        raise UnsupportedError(path, f"{mode} is a separation for print, not camera colour")
    return Stored(codes=_three_axes(codes), icc=icc, lossy=True, decoder=f"Pillow {PIL.__version__}")


def read_png(data: bytes, path: str) -> Stored:
    """Decode a PNG file of 8 or 16 bits, grey or RGB; alpha is left out.

    Raises
    ------
    qc.errors.CaptureError
        Damaged data; indexed colours or fewer than 8 bits.
    """
    import PIL
    from PIL.PngImagePlugin import PngImageFile

    chunks = {name: data[start:end] for name, start, end, there in png_chunks(data) if there and name != b"IDAT"}
    header = chunks.get(b"IHDR", b"")
    if len(header) != 13:
        raise DamagedError(path, "its header is not there")
    depth, colour = header[8], header[9]
    if depth not in (8, 16) or colour not in (0, 2, 4, 6):
        raise UnsupportedError(path, f"PNG of {depth} bits with {'indexed colours' if colour == 3 else 'grey'}")
    _check_size(int.from_bytes(header[:4], "big"), int.from_bytes(header[4:8], "big"), path)
    with translated(path), PngImageFile(io.BytesIO(data)) as image:
        icc = image.info.get("icc_profile", b"")
        codes = _png_16(data, path) if depth == 16 else np.asarray(image)
    decoder = f"Pillow {PIL.__version__}"
    if depth == 16:
        import cv2

        decoder = f"OpenCV {cv2.__version__}"
    gamma = int.from_bytes(chunks[b"gAMA"][:4], "big") / 100000 if b"gAMA" in chunks else None
    return Stored(
        codes=_three_axes(codes)[..., : 3 if colour & 2 else 1],
        icc=icc,
        srgb=b"sRGB" in chunks,
        gamma=1 / gamma if gamma else None,
        alpha=bool(colour & 4),
        decoder=decoder,
    )


def _png_16(data: bytes, path: str) -> Codes:
    import cv2

    # it prints what it finds wrong and may still return a picture
    with complaints() as said:
        read = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_UNCHANGED)
    if said or read is None or read.dtype != np.uint16:
        raise DamagedError(path, "its picture data cannot be decoded")
    codes: NDArray[np.uint16] = np.asarray(read, dtype=np.uint16)
    # OpenCV keeps blue first
    return codes if codes.ndim == 2 else codes[..., 2::-1]


def read_tiff(data: bytes, path: str, *, mosaic: bool = False) -> Stored:
    """Decode the first full-size picture of a TIFF file of 8 or 16 bits, grey or RGB; alpha is left out.

    Parameters
    ----------
    data : bytes
        The file.
    path : str
        Its name, for error texts only.
    mosaic : bool
        Whether the caller knows it to be a mosaic: a file that is marked as one is then read as well.

    Raises
    ------
    qc.errors.CaptureError
        Damaged data; CMYK, CIELAB, indexed colours, floating point, other depths, a codec that is not installed.
    """
    import tifffile

    with translated(path), _listening("tifffile") as complaints, tifffile.TiffFile(io.BytesIO(data)) as file:
        images = len(file.pages)
        page = _full_size(file)
        _check_size(page.imagewidth, page.imagelength, path)
        _check_tiff(page, path, (*_READ, _CFA) if mosaic else _READ)
        codes = page.asarray()
        if page.axes == "SYX":
            codes = np.moveaxis(codes, 0, -1)
        icc = page.iccprofile or b""
        photometric, lossy = int(page.photometric), int(page.compression) in (6, 7, 34892)
    codes = _three_axes(codes.astype(codes.dtype.newbyteorder("="), copy=False))
    colours = 1 if photometric in (_GREY, _INVERTED_GREY, _CFA) else 3
    if codes.ndim != 3 or codes.shape[-1] < colours:
        raise UnsupportedError(path, "its pictures are not of one plane or one plane a colour")
    kept: Codes = codes[..., :colours]
    return Stored(
        codes=~kept if photometric == _INVERTED_GREY else kept,
        icc=icc,
        alpha=codes.shape[-1] > colours,
        lossy=lossy,
        images=images,
        decoder=f"tifffile {tifffile.__version__}",
        complaints=tuple(complaints),
    )


def _full_size(file: tifffile.TiffFile) -> tifffile.TiffPage:
    import tifffile

    for number in range(min(len(file.pages), 64)):
        page = file.pages[number]
        if isinstance(page, tifffile.TiffPage) and not page.subfiletype & 1:
            return page
    return file.pages.first


def _check_tiff(page: tifffile.TiffPage, path: str, taken: tuple[int, ...]) -> None:
    photometric = int(page.photometric) if page.photometric is not None else -1
    if photometric not in taken or (photometric == _YCBCR and int(page.compression) != 7):
        raise UnsupportedError(path, f"TIFF with {_PHOTOMETRIC.get(photometric, 'this colour model')}")
    if page.bitspersample not in (8, 16) or page.dtype not in (np.uint8, np.uint16):
        kind = "floating point" if page.sampleformat == 3 else "whole numbers"
        raise UnsupportedError(path, f"TIFF of {page.bitspersample} bits a sample, {kind}")
    if page.axes not in ("YX", "YXS", "SYX"):
        raise UnsupportedError(path, "its pictures are not of one plane or one plane a colour")


def _check_size(width: int, height: int, path: str) -> None:
    if width * height > MAX_PIXELS:
        raise UnsupportedError(path, f"{width * height / 1e6:,.0f} megapixels are more than are taken")
    if width * height * BYTES_PER_PIXEL > _memory():
        raise UnreadableError(path, f"{width * height / 1e6:,.0f} megapixels need more memory than there is")
    if width < 1 or height < 1:
        raise DamagedError(path, "the picture has no pixels")


def _memory() -> float:
    """Return the bytes of memory of this machine; infinite where the system does not tell."""
    if "SC_PHYS_PAGES" not in getattr(os, "sysconf_names", {}):
        return math.inf
    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")


def _three_axes(codes: Codes) -> Codes:
    return codes[..., np.newaxis] if codes.ndim == 2 else codes


@contextmanager
def _listening(name: str) -> Iterator[list[str]]:
    """Collect what a library logs, which would otherwise tear a live display."""
    heard: list[str] = []

    class Ear(logging.Handler):
        def emit(self, record: logging.LogRecord) -> None:
            heard.append(" ".join(record.getMessage().split()))

    logger, ear = logging.getLogger(name), Ear(logging.WARNING)
    logger.addHandler(ear)
    try:
        yield heard
    finally:
        logger.removeHandler(ear)
