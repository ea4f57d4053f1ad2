"""flashraw (extra ``fast``): used first where it is installed and knows the file.

It decodes more than LibRaw does and mends broken files unless told not to; here it is held to what LibRaw reads,
and to the strict policy, so that both decoders agree on what a capture is.
"""

from __future__ import annotations

from dataclasses import replace
from importlib.util import find_spec
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from qc.container.dng import DngTags, dng_tags
from qc.container.ifd import read_tree
from qc.decode.decoded import Decoded, Window
from qc.decode.mapping import FLASHRAW, capture_error
from qc.decode.settings import iso, positive, taken, words
from qc.decode.tags import MONOCHROME, NO_MATRIX, neutral_of, pictures, with_dng_tags
from qc.decode.with_rawpy import margins
from qc.errors import CaptureError, DamagedError, TruncatedError, UnsupportedError
from qc.frame import Calibration, Camera, Cfa, Colour

if TYPE_CHECKING:
    import flashraw

_LIBRAW_DIFFERS = frozenset({"gopro-vc5", "nikon-he", "jpeg-xl", "lossy-jpeg", "deflate", "canon-sraw"})
"""Compressions that LibRaw refuses, or turns into other numbers; also every kind that holds floats."""

_LAYOUTS = {"bayer", "x-trans", "other-cfa", "monochrome", "linear"}
_COLOUR_ORDERS = ("RGB", "RGBE", "GMCY")


def installed() -> bool:
    """Tell whether flashraw can be imported, without importing it."""
    return find_spec("flashraw") is not None


class WithFlashraw:
    """Decoder that wraps flashraw; see `qc.decode.decoded.Decoder`."""

    name = "flashraw"

    def version(self) -> str:
        """Return name and version, as in ``"flashraw 0.1.0"``."""
        import flashraw

        return f"flashraw {flashraw.__version__}"

    def knows(self, data: bytes) -> bool:
        """Tell from its first bytes whether the file is of a kind that flashraw reads."""
        import flashraw

        return flashraw.supports(data)

    def read(self, data: bytes, path: str) -> Decoded:
        """Decode a whole file held in memory; see `Decoder.read`."""
        import flashraw

        try:
            with flashraw.open(data) as raw:
                info = raw.frame_info
                _refuse_what_differs(info, path)
                frame = raw.decode("raw-u16", apply_opcodes=False, corruption_policy="strict")
                metadata = raw.metadata
        except flashraw.FlashRawError as error:
            raise _refusal(error, path) from error
        except BaseException as error:
            if type(error).__name__ != "PanicException":  # how its native part reports a defect of its own
                raise
            raise capture_error(error, FLASHRAW, path) from error
        if frame.incomplete:
            raise DamagedError(path, f"part of the data is missing ({frame.warnings[0].message})")
        tree = read_tree(data)
        tags = dng_tags(data, tree)
        found = replace(self._decoded(frame.array, info, metadata, tags, path), images=pictures(tree))
        return with_dng_tags(found, tags) if tags is not None else found

    def _decoded(
        self,
        pixels: NDArray[np.uint16],
        info: flashraw.FrameInfo,
        metadata: flashraw.Metadata,
        tags: DngTags | None,
        path: str,
    ) -> Decoded:
        area = info.active_area
        visible = (area.y, area.x, area.height, area.width)
        if tags is not None:
            visible = _even(visible)
        letters, cfa = _layout(info, visible, path)
        linear = cfa is None
        if pixels.dtype != np.uint16 or pixels.ndim != (3 if linear else 2):
            raise UnsupportedError(path, f"its samples are {pixels.dtype} in {pixels.ndim} dimensions")
        return Decoded(
            kind="linear" if linear else "mosaic",
            data=pixels[..., : len(letters)] if linear else pixels,
            visible=visible,
            cfa=cfa,
            colours=letters,
            black=_black(info.black_level, visible, len(letters) if linear else None),
            black_tagged=any(info.black_level.values),
            white=float(min(info.white_level)),
            masked=margins(pixels.shape[:2], visible),
            bits=max(1, int(max(info.white_level)).bit_length()),
            orientation=info.orientation,
            pixel_aspect=round(info.pixel_aspect or 1.0, 6),
            colour=_colour(info, len(letters)),
            camera=_camera(metadata),
            decoder=self.version(),
        )


def _refuse_what_differs(info: flashraw.FrameInfo, path: str) -> None:
    if info.sample_format != "u16":
        raise UnsupportedError(path, "its samples are floating-point numbers")
    if info.compression in _LIBRAW_DIFFERS:
        raise UnsupportedError(path, f"its compression ({info.compression}) is not supported")
    if info.layout not in _LAYOUTS:
        raise UnsupportedError(path, f"its layout ({info.layout}) is not supported")


def _refusal(error: flashraw.FlashRawError, path: str) -> CaptureError:
    if error.corrupt is not None and error.corrupt.kind == "truncated":
        return TruncatedError(path, f"the file ends before its data does ({error.corrupt.message})")
    return capture_error(error, FLASHRAW, path, detail=error.message)


def _even(visible: Window) -> Window:
    """Start a DNG's odd active area one further in, as LibRaw does, so that both decoders show the same part."""
    top, left, rows, columns = visible
    return top + top % 2, left + left % 2, rows - top % 2, columns - left % 2


def _layout(info: flashraw.FrameInfo, visible: Window, path: str) -> tuple[str, Cfa | None]:
    if info.layout == "linear":
        if info.channels != 3:
            raise UnsupportedError(path, f"it holds {info.channels} values per pixel")
        return "RGB", None
    if info.cfa is None:
        return "L", Cfa(pattern=((0,),), colours="L")
    seen = info.cfa.shifted(visible[1], visible[0])
    # Exif calls the fourth filter beside red, green and blue cyan, LibRaw emerald; LibRaw's letter is kept.
    names = seen.pattern.replace("C", "E") if set(seen.pattern) == set("RGBC") else seen.pattern
    letters = next((order for order in _COLOUR_ORDERS if set(order) == set(names)), None)
    if letters is None:
        raise UnsupportedError(path, f"its colour filters ({seen.pattern}) are not supported")
    flat = [letters.index(c) for c in names]
    rows = tuple(tuple(flat[y * seen.width : (y + 1) * seen.width]) for y in range(seen.height))
    return letters, Cfa(pattern=rows, colours=letters)


def _black(black: flashraw.BlackLevel, visible: Window, colours: int | None) -> NDArray[np.float64]:
    """Black by position of the visible area, or by colour, shape (1, colours)."""
    levels = np.array(black.values, dtype=np.float64).reshape(black.rows, black.cols, black.samples)
    if colours is not None:
        return np.broadcast_to(levels.mean(axis=(0, 1)), (1, colours)).copy()
    return np.roll(levels[..., 0], (-visible[0], -visible[1]), axis=(0, 1))


def _colour(info: flashraw.FrameInfo, colours: int) -> Colour:
    if colours == 1:
        return Colour(reason=MONOCHROME)
    neutral = neutral_of(info.white_balance, colours)
    calibrations = tuple(
        Calibration(
            illuminant=matrix.illuminant,
            kelvin=matrix.temperature,
            xyz_to_camera=tuple(tuple(matrix.values[3 * row : 3 * row + 3]) for row in range(colours)),
        )
        for matrix in info.color_matrices.color
        if len(matrix.values) == 3 * colours
    )
    if not calibrations:
        return Colour(neutral=neutral, reason=NO_MATRIX)
    return Colour(neutral=neutral, calibrations=calibrations, source="decoder's table")


def _camera(metadata: flashraw.Metadata) -> Camera:
    exposure = metadata.exposure
    return Camera(
        make=words(metadata.camera.make),
        model=words(metadata.camera.model),
        serial=words(metadata.camera.serial),
        lens=words(metadata.lens.model),
        iso=iso(exposure.iso),
        shutter_s=positive(exposure.exposure_time),
        aperture=positive(exposure.f_number),
        focal_mm=positive(exposure.focal_length),
        taken=taken(metadata.capture_time),
    )
