"""The only room that touches the decoders: bytes to `Frame`."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Literal

from qc.container import Container, Loaded, inspect, load
from qc.container.kinds import Family
from qc.decode import intact
from qc.decode.arrays import BAYER, frame_from_linear, frame_from_mosaic, frame_from_rendered
from qc.decode.decoded import Decoded, Decoder
from qc.decode.develop import develop
from qc.decode.saturation import Remembered
from qc.decode.settings import filled
from qc.errors import UnsupportedError, UsageError, printable
from qc.frame import Cfa, Frame

__all__ = [
    "BAYER",
    "DECODERS",
    "FINDINGS",
    "DecoderName",
    "MosaicHint",
    "decode",
    "frame_from_linear",
    "frame_from_mosaic",
    "frame_from_rendered",
    "open_frame",
    "raw_decoder",
]

DecoderName = Literal["auto", "rawpy", "flashraw"]
DECODERS: tuple[str, ...] = ("auto", "rawpy", "flashraw")
"""Values of ``decoder=``."""

FINDINGS: Mapping[str, str] = {
    "saturation": "the level at which each colour saturates, and where it comes from",
    "nothing_saturates": "nothing in the frame reaches saturation",
    "saturation_unknown": "the level at which the sensor saturates cannot be told from this frame",
    "black_differs": "masked photosites read another black than the file states",
    "black_clipped": "many photosites are exactly 0: darkness was cut off",
    "black_unknown": "the file states no black and has no masked photosites",
    "above_white": "values lie above the tagged white level's range: the tag cannot be right",
    "several_images": "the file holds several pictures; the first was measured",
    "decoder_complained": "what the decoder said while reading",
    "assumed_srgb": "a finished picture states no colour space; sRGB is assumed",
    "alpha_dropped": "a further channel of a finished picture was left out",
    "flat_band": "the lowest part of a finished picture is one even tone",
}
"""Codes of what decoding has to say, and what each means."""


@dataclass(frozen=True, slots=True, kw_only=True)
class MosaicHint:
    """What a caller knows of a mosaic in an unmarked TIFF.

    Attributes
    ----------
    cfa : Cfa or str
        Colour filter array from the first pixel on, or the name of a Bayer phase such as ``"RGGB"``.
    black : float or None
        Level of no light, DN; None for "not known".
    white : float or None
        Level of full range, DN; None for the top code of the file's depth.
    """

    cfa: Cfa | str
    black: float | None = None
    white: float | None = None


def open_frame(
    path: str | bytes | os.PathLike[str],
    *,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
    remembered: Remembered | None = None,
) -> Frame:
    """Open a capture from disk.

    Parameters
    ----------
    path : str, bytes or os.PathLike
        The capture; it is read once and never touched.
    decoder : {"auto", "rawpy", "flashraw"}
        Which library reads raws. Auto is flashraw where it is installed and knows the file, else rawpy.
    mosaic : MosaicHint or None
        Opens an unmarked TIFF as a mosaic.
    remembered : mapping or None
        Saturation levels found earlier (`qc.decode.saturation.key_of`).

    Returns
    -------
    Frame

    Raises
    ------
    qc.errors.CaptureError
        When it cannot be measured; `state` and `cause` say why.
    """
    loaded = load(path)
    container = inspect(loaded.data, name=loaded.name)
    return decode(loaded, container, decoder=decoder, mosaic=mosaic, remembered=remembered)


def decode(
    loaded: Loaded,
    container: Container,
    *,
    decoder: str = "auto",
    mosaic: MosaicHint | None = None,
    remembered: Remembered | None = None,
) -> Frame:
    """Decode a capture that was loaded and inspected; see `open_frame`."""
    if decoder not in DECODERS:
        raise UsageError(f"there is no decoder {decoder!r}; there are {', '.join(DECODERS)}")
    refusal = container.refusal(loaded.path)
    if refusal is not None:
        raise refusal
    decoded = _read(loaded, container, decoder, mosaic)
    if decoded.kind != "rendered" and mosaic is None:
        compressed = len(loaded.data) < decoded.data.size * decoded.bits // 8
        said = intact.check(decoded, printable(loaded.path), loaded.content, compressed=compressed)
        decoded = replace(decoded, findings=(*decoded.findings, *said))
    return develop(decoded, remembered=remembered)


def _read(loaded: Loaded, container: Container, decoder: str, mosaic: MosaicHint | None) -> Decoded:
    if mosaic is not None:
        from qc.decode.rendered import read_mosaic_tiff

        cfa = BAYER[mosaic.cfa] if isinstance(mosaic.cfa, str) else mosaic.cfa
        told = read_mosaic_tiff(
            loaded.data, loaded.path, cfa=cfa, black=mosaic.black, white=mosaic.white, container=container
        )
        return replace(told, black_source="given")
    if container.family is Family.RENDERED:
        from qc.decode.rendered import read

        return read(loaded.data, loaded.path, container)
    found = _read_raw(loaded.data, printable(loaded.path), decoder)
    # What the container could not read of the settings, the decoder may know; orientation as the file states it.
    orientation = container.orientation if container.orientation != 1 else found.orientation
    return replace(found, camera=filled(container.camera, found.camera), orientation=orientation)


def _read_raw(data: bytes, path: str, decoder: str) -> Decoded:
    from qc.decode.with_rawpy import WithRawpy

    chosen = raw_decoder(decoder, data)
    if decoder != "auto" or isinstance(chosen, WithRawpy):
        return chosen.read(data, path)
    try:
        return chosen.read(data, path)
    except UnsupportedError:  # rawpy decides what is supported
        return WithRawpy().read(data, path)


def raw_decoder(decoder: str = "auto", data: bytes | None = None) -> Decoder:
    """Return the decoder that will read a raw file first.

    Parameters
    ----------
    decoder : {"auto", "rawpy", "flashraw"}
        The wish.
    data : bytes or None
        The file, for "auto"; without it, flashraw wherever it is installed.

    Raises
    ------
    UsageError
        When flashraw is wished for and not installed, or the name is unknown.
    """
    from qc.decode.with_flashraw import WithFlashraw, installed
    from qc.decode.with_rawpy import WithRawpy

    if decoder not in DECODERS:
        raise UsageError(f"there is no decoder {decoder!r}; there are {', '.join(DECODERS)}")
    if decoder == "rawpy":
        return WithRawpy()
    if decoder == "flashraw" and not installed():
        raise UsageError("flashraw is not installed: install the extra 'fast', or use rawpy")
    if decoder == "flashraw":
        return WithFlashraw()
    fast = WithFlashraw() if installed() else None
    return fast if fast is not None and (data is None or fast.knows(data)) else WithRawpy()
