"""From `Decoded` to `Frame`: black, noise, saturation and the shared planes, in that order."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.decode.black import black_of
from qc.decode.clipped import clipped_photosites
from qc.decode.decoded import Decoded
from qc.decode.noise import fit, sample
from qc.decode.planes import cell_side, mosaic_cells, mosaic_clip, pixel_cells, take_deltas
from qc.decode.saturation import Remembered, saturation_of_mosaic, saturation_of_pixels
from qc.frame import Black, Frame, Noise, Planes, Saturation
from qc.reading import Finding, Reason

_NO_PHOTOSITES = Reason("wrong_kind", "values of this kind of file are not single photosites")


def develop(decoded: Decoded, *, remembered: Remembered | None = None) -> Frame:
    """Make the frame that every measurement reads.

    Parameters
    ----------
    decoded : Decoded
        What a decoder handed over.
    remembered : mapping or None
        Saturation levels found earlier, by `qc.decode.saturation.key_of`; the caller keeps them.

    Returns
    -------
    Frame
    """
    if decoded.kind == "mosaic":
        return _mosaic(decoded, remembered or {})
    if decoded.kind == "linear":
        return _linear(decoded, remembered or {})
    return _rendered(decoded)


def _mosaic(decoded: Decoded, remembered: Remembered) -> Frame:
    assert decoded.cfa is not None
    mosaic = _visible(decoded)
    black, masked_spread, findings = black_of(decoded)
    levels = black.array()
    scale = decoded.white - float(levels.mean())
    blocks = sample(mosaic, levels)
    read = float(masked_spread[0]) if masked_spread.size else None
    noise = fit(blocks, cap=0.9 * float(blocks.top.max(initial=0.0)), span=scale, read=read)
    saturation, said = saturation_of_mosaic(mosaic, decoded, levels, noise, blocks, remembered)
    over = clipped_photosites(mosaic, decoded.cfa, saturation)
    cells = mosaic_cells(mosaic, decoded.cfa, levels, scale)
    take_deltas(cells, decoded.cfa, decoded, scale)
    shape = (len(decoded.colours), mosaic.shape[0] // 2, mosaic.shape[1] // 2)
    clip = np.zeros(shape, dtype=np.uint8) if over is None else mosaic_clip(over, decoded.cfa)
    return Frame(
        kind="mosaic",
        colours=decoded.colours,
        height=mosaic.shape[0],
        width=mosaic.shape[1],
        orientation=decoded.orientation,
        pixel_aspect=decoded.pixel_aspect,
        cfa=decoded.cfa,
        mosaic=mosaic,
        black=black,
        scale=scale,
        saturation=saturation,
        cell=cell_side(decoded.cfa),
        cells=cells,
        clip_cell=2,
        clip=clip,
        noise=noise,
        colour=decoded.colour,
        camera=decoded.camera,
        decoder=decoded.decoder,
        findings=_findings(decoded, findings, said, none_clipped=over is None),
    )


def _linear(decoded: Decoded, remembered: Remembered) -> Frame:
    stored = _visible(decoded)
    black, _, findings = black_of(decoded)
    levels = black.array()[0]
    scale = decoded.white - float(levels.mean())
    planes = np.moveaxis(stored, -1, 0)
    saturation, said = saturation_of_pixels(planes, decoded, levels, remembered)
    limits = [np.inf if s.level is None else s.level for s in saturation]
    clip = np.stack([plane >= limit for plane, limit in zip(planes, limits, strict=True)]).astype(np.uint8)
    pixels = np.stack(
        [
            (plane.astype(np.float32) - np.float32(b)) / np.float32(scale)
            for plane, b in zip(planes, levels, strict=True)
        ]
    )
    said_all = _findings(decoded, findings, said, none_clipped=not clip.any())
    return _of_pixels(decoded, pixels, clip, black, scale, saturation, said_all)


def _rendered(decoded: Decoded) -> Frame:
    pixels = np.ascontiguousarray(np.moveaxis(_visible(decoded), -1, 0), dtype=np.float32)
    black, _, findings = black_of(decoded)
    top = pixels >= 1.0 if decoded.top_code is None else np.moveaxis(decoded.top_code, -1, 0)
    clip = np.ascontiguousarray(top).astype(np.uint8)
    saturation = tuple(Saturation(colour=c, level=decoded.white, source="top code") for c in decoded.colours)
    said_all = _findings(decoded, findings, (), none_clipped=not clip.any())
    return _of_pixels(decoded, pixels, clip, black, decoded.white, saturation, said_all)


def _of_pixels(
    decoded: Decoded,
    pixels: Planes,
    clip: NDArray[np.uint8],
    black: Black,
    scale: float,
    saturation: tuple[Saturation, ...],
    findings: tuple[Finding, ...],
) -> Frame:
    return Frame(
        kind=decoded.kind,
        colours=decoded.colours,
        height=pixels.shape[1],
        width=pixels.shape[2],
        orientation=decoded.orientation,
        pixel_aspect=decoded.pixel_aspect,
        pixels=pixels,
        black=black,
        scale=scale,
        saturation=saturation,
        cell=2,
        cells=pixel_cells(pixels),
        clip_cell=1,
        clip=clip,
        noise=Noise(reason=_NO_PHOTOSITES),
        colour=decoded.colour,
        camera=decoded.camera,
        decoder=decoded.decoder,
        findings=findings,
    )


def _visible(decoded: Decoded) -> NDArray[np.uint16]:
    row, column, rows, columns = decoded.visible
    part = decoded.data[row : row + rows, column : column + columns]
    # The frame freezes its arrays, so a caller's own array is never handed on.
    return np.array(part, order="C") if decoded.decoder == "array" else np.ascontiguousarray(part)


def _findings(
    decoded: Decoded, black: tuple[Finding, ...], saturation: tuple[Finding, ...], *, none_clipped: bool
) -> tuple[Finding, ...]:
    found = [*decoded.findings, *black, *saturation]
    if none_clipped and not any(f.code == "saturation_unknown" for f in saturation):
        found.append(Finding(code="nothing_saturates", text="nothing in this frame reaches saturation"))
    if decoded.images > 1:
        text = f"the file holds {decoded.images} pictures; the first was measured"
        found.append(Finding(code="several_images", text=text, data={"images": decoded.images}))
    if decoded.complaints:
        text = f"the decoder complained: {'; '.join(decoded.complaints)}"
        found.append(Finding(code="decoder_complained", text=text))
    return tuple(found)
