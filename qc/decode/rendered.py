"""Finished pictures (JPEG, PNG, TIFF) to linear light, and mosaics in unmarked TIFF files when told so.

The codes become linear by the embedded ICC profile, by what PNG or Exif states, else by sRGB, which is then said.
Clipping is decided on the codes, before they are made linear. Sensor orientation is kept.
"""

from __future__ import annotations

import os

import numpy as np
from numpy.typing import NDArray

from qc.container import Container, FileKind, inspect
from qc.decode.codes import Stored, read_jpeg, read_png, read_tiff
from qc.decode.decoded import Decoded
from qc.decode.icc import read_profile
from qc.decode.tone import (
    ADOBE_RGB_EXPONENT,
    ADOBE_RGB_TO_XYZ_D50,
    SRGB_TO_XYZ_D50,
    Codes,
    Curve,
    at_top_code,
    power_curve,
    split,
    srgb_curve,
    to_linear,
)
from qc.errors import UnsupportedError, printable
from qc.frame import Cfa, Colour
from qc.reading import Finding, Reason

FINDINGS = {
    "assumed_srgb": "the file states no colour space, or one that is not evaluated: sRGB was assumed",
    "alpha_dropped": "a further channel (alpha) was left out",
    "flat_band": "the foot of the picture is one even tone over its whole width, as after an interrupted transfer",
    "black_clipped": "the recording cut off noise below black: dark areas read too bright",
}
"""Codes of the findings made here."""

BAND_ROWS = 16
"""Rows of one JPEG unit with halved colour: the least that a broken transfer leaves flat."""

BLACK_CLIPPED_SHARE = 0.01

_READERS = {FileKind.JPEG: read_jpeg, FileKind.PNG: read_png, FileKind.TIFF: read_tiff}
_NO_COLOUR = Reason("no_colour_matrix", "a grey picture carries no colour")
_SRGB_EXPONENT = (2.1, 2.3)
"""A PNG gamma of 1/2.2 stands for the sRGB curve (W3C PNG third edition, sRGB chunk)."""


def read(data: bytes, path: str | bytes | os.PathLike[str], container: Container | None = None) -> Decoded:
    """Decode a JPEG, PNG or TIFF picture held in memory to linear light.

    Parameters
    ----------
    data : bytes
        The file.
    path : str, bytes or os.PathLike
        Its name, for error texts only.
    container : Container or None
        What `qc.container.inspect` said of it; asked here when None.

    Returns
    -------
    Decoded
        `data` float32 (rows, columns, colours), 0 no light, 1 the top code.

    Raises
    ------
    qc.errors.CaptureError
        For a file that is not whole, and for everything the wrapped libraries can raise.
    """
    name = printable(path)
    container = container or inspect(data, name=name)
    refusal = container.refusal(path)
    if refusal is not None:
        raise refusal
    if container.kind not in _READERS:
        raise UnsupportedError(path, f"{container.kind} is not a finished picture")
    stored = _READERS[container.kind](data, name)
    curves, colour, assumed = _light(stored, container)
    rows, columns, colours = stored.codes.shape
    planes = split(stored.codes)
    return Decoded(
        kind="rendered",
        data=to_linear(planes, curves),
        visible=(0, 0, rows, columns),
        cfa=None,
        colours="RGB" if colours == 3 else "L",
        black=np.zeros((1, colours)),
        white=1.0,
        bits=8 * planes[0].dtype.itemsize,
        lossy=stored.lossy,
        top_code=at_top_code(planes),
        orientation=container.orientation,
        colour=colour,
        camera=container.camera,
        decoder=stored.decoder,
        images=stored.images,
        complaints=stored.complaints,
        findings=(*_findings(stored), *assumed),
    )


def read_mosaic_tiff(
    data: bytes,
    path: str | bytes | os.PathLike[str],
    *,
    cfa: Cfa,
    black: float | NDArray[np.float64] | None = None,
    white: float | None = None,
    container: Container | None = None,
) -> Decoded:
    """Open a plain TIFF of one sample a pixel as the linear mosaic that the caller knows it to be.

    Parameters
    ----------
    data : bytes
        The file.
    path : str, bytes or os.PathLike
        Its name, for error texts only.
    cfa : Cfa
        Colour filter array from the first pixel on.
    black : float, ndarray or None
        DN for all, or by position in the pattern; None for "not known", 0 stands in then.
    white : float or None
        White level, DN; None for the top code of the file's depth.
    container : Container or None
        What `qc.container.inspect` said of it; asked here when None.

    Returns
    -------
    Decoded
        Of kind ``"mosaic"``.

    Raises
    ------
    qc.errors.CaptureError
        For a file that is not whole, has more than one sample a pixel or another depth than 8 or 16 bits.
    """
    name = printable(path)
    container = container or inspect(data, name=name)
    refusal = container.refusal(path)
    if refusal is not None:
        raise refusal
    if container.kind not in (FileKind.TIFF, FileKind.TIFF_RAW):
        raise UnsupportedError(path, f"only a plain TIFF can be opened as a mosaic by hand, not {container.kind}")
    stored = read_tiff(data, name, mosaic=True)
    if stored.codes.shape[-1] != 1 or stored.alpha:
        raise UnsupportedError(path, "a mosaic has one sample a pixel")
    mosaic = np.ascontiguousarray(stored.codes[..., 0], dtype=np.uint16)
    levels = np.array(np.broadcast_to(np.asarray(0.0 if black is None else black, dtype=np.float64), cfa.shape))
    return Decoded(
        kind="mosaic",
        data=mosaic,
        visible=(0, 0, *mosaic.shape),
        cfa=cfa,
        colours=cfa.colours,
        black=levels,
        black_tagged=black is not None,
        white=float(np.iinfo(stored.codes.dtype).max) if white is None else white,
        bits=8 * stored.codes.dtype.itemsize,
        lossy=stored.lossy,
        orientation=container.orientation,
        colour=Colour(reason=Reason("no_colour_matrix", "an unmarked mosaic carries no camera matrix")),
        camera=container.camera,
        decoder=stored.decoder,
        images=stored.images,
        complaints=stored.complaints,
        findings=_clipped_black(mosaic),
    )


def _light(stored: Stored, container: Container) -> tuple[tuple[Curve, ...], Colour, tuple[Finding, ...]]:
    """Return a tone curve a channel, the way to XYZ, and what had to be assumed.

    Order of precedence: W3C PNG third edition, 4.3 (profile, sRGB, gamma); then Exif; then sRGB.
    """
    channels = stored.codes.shape[-1]
    if stored.icc:
        profile = read_profile(stored.icc, channels)
        curves = profile.curves or (srgb_curve,) * channels
        said = () if profile.curves else (_assumed(str(profile.reason and profile.reason.text)),)
        colour = Colour(rgb_to_xyz_d50=profile.matrix, source="ICC profile", reason=profile.reason)
        return curves, colour, said
    if stored.srgb:
        return (srgb_curve,) * channels, _colour(channels, SRGB_TO_XYZ_D50, "PNG: sRGB"), ()
    if stored.gamma is not None and not _SRGB_EXPONENT[0] < stored.gamma < _SRGB_EXPONENT[1]:
        reason = Reason("no_colour_matrix", "it states a gamma and no primaries that are evaluated")
        return (power_curve(stored.gamma),) * channels, Colour(source="PNG: gamma", reason=reason), ()
    if container.exif_space == "Adobe RGB":
        colour = _colour(channels, ADOBE_RGB_TO_XYZ_D50, "Exif: Adobe RGB")
        return (power_curve(ADOBE_RGB_EXPONENT),) * channels, colour, ()
    if container.exif_space == "sRGB":
        return (srgb_curve,) * channels, _colour(channels, SRGB_TO_XYZ_D50, "Exif: sRGB"), ()
    said = (_assumed("it carries no profile and states no colour space"),)
    return (srgb_curve,) * channels, _colour(channels, SRGB_TO_XYZ_D50, "sRGB assumed"), said


def _colour(channels: int, matrix: tuple[tuple[float, ...], ...], source: str) -> Colour:
    if channels == 1:
        return Colour(source=source, reason=_NO_COLOUR)
    return Colour(rgb_to_xyz_d50=matrix, source=source)


def _assumed(why: str) -> Finding:
    return Finding(code="assumed_srgb", text=f"sRGB is assumed: {why}")


def _findings(stored: Stored) -> tuple[Finding, ...]:
    found = []
    if stored.alpha:
        found.append(Finding(code="alpha_dropped", text="a further channel (alpha) was left out"))
    rows = flat_rows(stored.codes)
    if rows >= BAND_ROWS:
        percent = 100 * rows / len(stored.codes)
        text = f"the lowest {percent:.1f} % of the stored picture is one even tone: was the transfer interrupted?"
        found.append(Finding(code="flat_band", text=text, data={"rows": rows, "percent": round(percent, 3)}))
    return tuple(found)


def flat_rows(codes: Codes) -> int:
    """Return how many rows at the foot of a picture have one and the same tone throughout.

    Pure black and pure white are left out: a finished picture may well end in them. 0 for a picture that is even
    all over, which says nothing about its transfer.
    """
    tone = codes[-1, 0]
    if (tone == 0).all() or (tone == np.iinfo(codes.dtype).max).all():
        return 0
    for rows, row in enumerate(codes[::-1]):
        if not (row == tone).all():
            return rows
    return 0


def _clipped_black(mosaic: NDArray[np.uint16]) -> tuple[Finding, ...]:
    share = 1 - int(np.count_nonzero(mosaic)) / mosaic.size
    if share < BLACK_CLIPPED_SHARE:
        return ()
    text = f"{100 * share:.1f} % of photosites are at 0: noise below black was cut off, dark areas read too bright"
    return (Finding(code="black_clipped", text=text, data={"share": share}),)
