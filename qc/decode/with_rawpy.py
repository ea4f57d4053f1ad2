"""LibRaw through rawpy: the reference decoder, which decides what is supported."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.container.dng import dng_tags
from qc.container.ifd import read_tree
from qc.decode.complaints import complaints
from qc.decode.decoded import Decoded, Window
from qc.decode.mapping import RAWPY, capture_error
from qc.decode.settings import iso, positive, taken, words
from qc.decode.tags import MONOCHROME, NO_MATRIX, neutral_of, pictures, with_dng_tags
from qc.errors import DamagedError, TruncatedError, UnsupportedError
from qc.frame import Calibration, Camera, Cfa, Colour

_ORIENTATION = {0: 1, 1: 2, 2: 4, 3: 3, 4: 5, 5: 8, 6: 6, 7: 7}
"""Exif Orientation by LibRaw's flip: bit 0 mirrors columns, bit 1 rows, bit 2 swaps them."""

_DEFLATE = (8, 32946)
"""TIFF Compression codes; LibRaw reads them for floating-point samples only, and calls others corrupt."""

_FATAL = {"data corrupted": DamagedError, "unexpected end of file": TruncatedError}
"""Complaints that LibRaw makes without raising, and what they mean."""


class WithRawpy:
    """Decoder that wraps rawpy; see `qc.decode.decoded.Decoder`."""

    name = "rawpy"

    def version(self) -> str:
        """Return name and version, as in ``"rawpy 0.28.0 (LibRaw 0.22.2)"``."""
        import rawpy

        return f"rawpy {rawpy.__version__} (LibRaw {'.'.join(map(str, rawpy.libraw_version))})"

    def read(self, data: bytes, path: str) -> Decoded:
        """Decode a whole file held in memory; see `Decoder.read`."""
        import rawpy

        lines: list[str] = []
        known = (rawpy.LibRawError, rawpy.NotSupportedError, MemoryError, NotImplementedError)
        try:
            with complaints() as lines, rawpy.RawPy() as raw:
                raw.open_buffer(io.BytesIO(data))
                raw.unpack()
                found = self._copy(raw, path)
        except rawpy.LibRawDataError as error:
            tags = dng_tags(data)
            if tags is not None and tags.compression in _DEFLATE and not tags.floating:
                raise UnsupportedError(
                    path, "its compression (deflate of whole numbers) is not supported"
                ) from error
            raise capture_error(error, RAWPY, path, detail=_said(lines)) from error
        except known as error:
            raise capture_error(error, RAWPY, path, detail=_said(lines)) from error
        for words_said, kind in _FATAL.items():
            if any(words_said in line.lower() for line in lines):
                raise kind(path, f"the decoder found broken data ({_said(lines)})")
        tree = read_tree(data)
        tags = dng_tags(data, tree)
        found = replace(found, complaints=tuple(lines), images=pictures(tree))
        return with_dng_tags(found, tags) if tags is not None else found

    def _copy(self, raw: Any, path: str) -> Decoded:
        """Copy everything out; nothing of what is returned points into the decoder."""
        import rawpy

        sizes, colours = raw.sizes, int(raw.num_colors)
        window = (int(sizes.top_margin), int(sizes.left_margin), int(sizes.height), int(sizes.width))
        stack = raw.raw_type is rawpy.RawType.Stack
        stored = raw.raw_image
        if stored is None or window[2] < 1 or window[3] < 1:
            raise UnsupportedError(path, "it holds no sensor data")
        pixels = np.ascontiguousarray(stored[..., :colours]) if stack else stored.copy()
        if stored.dtype != np.uint16:
            raise UnsupportedError(path, f"its samples are {stored.dtype}, not whole numbers")
        if stack and colours == 1:
            pixels, stack = pixels[..., 0], False
        letters, cfa, index = _layout(raw, window, stack)
        levels = np.array(raw.black_level_per_channel, dtype=np.float64)
        white = float(raw.white_level)
        return Decoded(
            kind="linear" if stack else "mosaic",
            data=pixels,
            visible=window,
            cfa=cfa,
            colours=letters,
            black=levels[np.newaxis, : len(letters)] if index is None else levels[index],
            black_tagged=bool(levels.any()),
            white=white,
            white_by_colour=_whites(raw.camera_white_level_per_channel, white, len(letters)),
            masked=margins(stored.shape[:2], window),
            bits=_bits(white),
            orientation=_ORIENTATION.get(int(sizes.flip) & 7, 1),
            pixel_aspect=round(float(sizes.pixel_aspect) or 1.0, 6),
            colour=_colour(raw, len(letters)),
            camera=_camera(raw),
            decoder=self.version(),
        )


def margins(shape: tuple[int, int], visible: Window) -> tuple[Window, ...]:
    """Return the borders of a sensor outside the visible window, widest use of each: left, right, top, bottom."""
    top, left, rows, columns = visible
    below, right = shape[0] - top - rows, shape[1] - left - columns
    areas = (
        (top, 0, rows, left),
        (top, left + columns, rows, right),
        (0, left, top, columns),
        (top + rows, left, below, columns),
    )
    return tuple(area for area in areas if min(area[2:]) > 0)


def _layout(raw: Any, window: Window, stack: bool) -> tuple[str, Cfa | None, NDArray[np.intp] | None]:
    """Return colour letters, pattern and LibRaw's channel numbers by position of the visible area."""
    names = raw.color_desc.decode("ascii", "replace")
    if stack:
        return _letters(names[: int(raw.num_colors)]), None, None
    if int(raw.num_colors) == 1:  # LibRaw then numbers the only colour 6
        return "L", Cfa(pattern=((0,),), colours="L"), np.zeros((1, 1), dtype=np.intp)
    side = len(raw.raw_pattern)
    top, left = window[:2]
    channel = np.array(
        [[raw.raw_color(top + y, left + x) for x in range(side)] for y in range(side)], dtype=np.intp
    )
    letters = _letters("".join(names[c] for c in sorted(set(channel.ravel().tolist()))))
    pattern = tuple(tuple(letters.index(names[c]) for c in row) for row in channel.tolist())
    return letters, Cfa(pattern=pattern, colours=letters), channel


def _letters(names: str) -> str:
    """Return each colour once, red, green and blue first in that order."""
    unique = list(dict.fromkeys(names))
    return "".join(sorted(unique, key=lambda c: "RGB".find(c) if set("RGB") <= set(unique) and c in "RGB" else 9))


def _whites(found: list[int] | None, white: float, colours: int) -> tuple[float, ...] | None:
    if found is None or min(found[:colours]) <= 0:
        return None
    return tuple(min(float(v), white) for v in found[:colours])


def _bits(white: float) -> int:
    return max(1, min(16, int(white).bit_length()))


def _colour(raw: Any, colours: int) -> Colour:
    neutral = neutral_of(list(raw.camera_whitebalance), colours)
    if colours == 1:
        return Colour(reason=MONOCHROME)
    matrix = np.array(raw.rgb_xyz_matrix, dtype=np.float64)[:colours]
    if not np.any(matrix, axis=1).all():
        return Colour(neutral=neutral, reason=NO_MATRIX)
    rows = tuple(tuple(float(v) for v in row) for row in matrix)
    calibration = Calibration(illuminant=21, kelvin=6504.0, xyz_to_camera=rows)
    return Colour(neutral=neutral, calibrations=(calibration,), source="decoder's table")


def _camera(raw: Any) -> Camera:
    other = raw.other
    return Camera(
        lens=words(raw.lens.model),
        iso=iso(other.iso_speed),
        shutter_s=positive(other.shutter_speed),
        aperture=positive(other.aperture),
        focal_mm=positive(other.focal_length),
        taken=taken(other.timestamp),
    )


def _said(lines: list[str]) -> str | None:
    return "; ".join(dict.fromkeys(line.removeprefix("unknown file: ") for line in lines)) or None
