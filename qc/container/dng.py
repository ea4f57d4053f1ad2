"""The tags of a DNG that measuring needs and that the decoders do not hand over, or hand over rounded.

Source: DNG specification 1.7.1.0, chapter 4 (tags), chapter 5 (mapping raw values to linear reference values)
and chapter 6 (mapping camera colour space to CIE XYZ).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from qc.container.dng_colour import calibrations, positive
from qc.container.ifd import Directory, Tree, read_tree
from qc.frame import Calibration

Window = tuple[int, int, int, int]
"""First row, first column, rows, columns."""

CFA, LINEAR_RAW = 32803, 34892

CODINGS = {
    1: "uncompressed",
    7: "JPEG",
    8: "deflate",
    9: "wavelet",
    34892: "lossy JPEG",
    52546: "JPEG XL",
}
"""Words for a DNG's Compression; 9 is no DNG code, but some cameras write it for a wavelet codec."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DngTags:
    """Tags of the full-size raw picture of a DNG; positions count from the top-left of the stored picture.

    Attributes
    ----------
    version : tuple of int
        DNGVersion.
    width, height : int
        Stored size, margins included.
    linear : bool
        Whether the picture is LinearRaw (a value per colour and pixel) rather than a mosaic.
    samples, bits : int
        Samples per pixel; bits per sample as stored.
    floating : bool
        Whether samples are floating point; the default of `white` is then 1.
    compression : int
        TIFF Compression: 1 none, 7 JPEG (lossless, or lossy at 8 bit), 8 deflate, 34892 lossy JPEG, 52546
        JPEG XL, 9 a wavelet codec.
    active_area : tuple of int
        First row, first column, rows, columns of ActiveArea; the whole picture by default.
    masked_areas : tuple of tuple of int
        MaskedAreas in the same form.
    cfa_pattern : tuple of tuple of int or None
        CFAPattern by row and column from the top-left of `active_area`: 0 red, 1 green, 2 blue, 3 cyan,
        4 magenta, 5 yellow, 6 white (Exif 2.32, tag CFAPattern).
    black_repeat : tuple of int
        Rows and columns of BlackLevelRepeatDim, from the top-left of `active_area`.
    black : tuple of float
        BlackLevel in row-column-sample order, DN after linearisation; see `black_array`.
    black_tagged : bool
        Whether there is a BlackLevel tag; 0 by default.
    black_columns, black_rows : tuple of float
        BlackLevelDeltaH by column and BlackLevelDeltaV by row of `active_area`; empty when absent.
    white : tuple of float
        WhiteLevel per sample; 2**bits - 1 by default.
    white_tagged : bool
        Whether there is a WhiteLevel tag.
    linearised : bool
        Whether there is a LinearizationTable.
    linear_limit : float
        LinearResponseLimit: fraction of the range above which the response may be non-linear; 1 by default.
    neutral : tuple of float or None
        AsShotNeutral scaled to a largest value of 1.
    white_xy : tuple of float or None
        AsShotWhiteXY.
    calibrations : tuple of Calibration
        None, one or two; camera calibration and analog balance folded in.
    baseline_exposure : float
        BaselineExposure in stops: for rendering only, never for clipping or light (REFERENCE A8).
    default_scale : tuple of float
        DefaultScale, horizontal and vertical: above 1 where pixels are not square.
    serial : str or None
        CameraSerialNumber.
    """

    version: tuple[int, ...]
    width: int
    height: int
    linear: bool
    samples: int
    bits: int
    floating: bool
    compression: int
    active_area: Window
    masked_areas: tuple[Window, ...] = ()
    cfa_pattern: tuple[tuple[int, ...], ...] | None = None
    black_repeat: tuple[int, int] = (1, 1)
    black: tuple[float, ...] = (0.0,)
    black_tagged: bool = False
    black_columns: tuple[float, ...] = field(default=(), repr=False)
    black_rows: tuple[float, ...] = field(default=(), repr=False)
    white: tuple[float, ...] = (65535.0,)
    white_tagged: bool = False
    linearised: bool = False
    linear_limit: float = 1.0
    neutral: tuple[float, ...] | None = None
    white_xy: tuple[float, float] | None = None
    calibrations: tuple[Calibration, ...] = ()
    baseline_exposure: float = 0.0
    default_scale: tuple[float, float] = (1.0, 1.0)
    serial: str | None = None

    @property
    def coding(self) -> str:
        """The compression in words, for messages; a code without a word is given as a number."""
        return CODINGS.get(self.compression, f"compression {self.compression}")

    def black_array(self) -> NDArray[np.float64]:
        """Return BlackLevel as an array, shape (repeat rows, repeat columns, samples), DN."""
        return np.array(self.black, dtype=np.float64).reshape(*self.black_repeat, self.samples)


def dng_tags(data: bytes, tree: Tree | None = None) -> DngTags | None:
    """Read the tags of a DNG's full-size raw picture.

    Parameters
    ----------
    data : bytes
        The file.
    tree : Tree or None
        Its directories, when they were read already.

    Returns
    -------
    DngTags or None
        None when it is not a DNG or has no raw picture. Tags that are absent, cut off or senseless take the
        default of the specification.
    """
    tree = tree or read_tree(data)
    first = tree.directories[0] if tree.directories else None
    if first is None or len(version := first.integers(50706)) != 4:
        return None
    raw = raw_directory(tree)
    if raw is None:
        return None
    samples = raw.integer(277, 1)
    bits = raw.integer(258, 16)
    width, height = raw.integer(256), raw.integer(257)
    if min(samples, width, height) < 1 or not 1 <= bits <= 32 or samples > 16:
        return None
    repeat, black, tagged = _black(raw, samples)
    active = _area(raw.integers(50829), width, height) or (0, 0, height, width)
    columns, rows = raw.numbers(50715), raw.numbers(50716)
    white = raw.numbers(50717)
    floating = raw.integer(339, 1) == 3
    top = 1.0 if floating else float(2**bits - 1)
    neutral = positive(first.numbers(50728) or raw.numbers(50728))
    limit, scale = raw.numbers(50734) or first.numbers(50734), raw.numbers(50718)
    chromaticity = first.numbers(50729)
    exposure = first.numbers(50730) or raw.numbers(50730)
    return DngTags(
        version=version,
        width=width,
        height=height,
        linear=raw.integer(262) == LINEAR_RAW,
        samples=samples,
        bits=bits,
        floating=floating,
        compression=raw.integer(259, 1),
        active_area=active,
        masked_areas=_masked(raw.integers(50830), width, height),
        cfa_pattern=_cfa(raw) if raw.integer(262) == CFA else None,
        black_repeat=repeat,
        black=black,
        black_tagged=tagged,
        black_columns=columns if len(columns) == active[3] else (),
        black_rows=rows if len(rows) == active[2] else (),
        white=_per_sample(white, samples) or (top,) * samples,
        white_tagged=bool(white),
        linearised=50712 in raw,
        linear_limit=limit[0] if limit and 0 < limit[0] <= 1 else 1.0,
        neutral=tuple(v / max(neutral) for v in neutral) if neutral else None,
        white_xy=(chromaticity[0], chromaticity[1]) if _is_chromaticity(chromaticity) else None,
        calibrations=calibrations(first),
        baseline_exposure=exposure[0] if exposure else 0.0,
        default_scale=(scale[0], scale[1]) if len(scale) == 2 and min(scale) > 0 else (1.0, 1.0),
        serial=first.text(50735),
    )


def raw_directory(tree: Tree) -> Directory | None:
    """Return the directory of the full-size raw picture: NewSubfileType 0, else the largest; None without one."""
    raws = [d for d in tree.of_role("main", "sub") if d.integer(262, -1) in (CFA, LINEAR_RAW)]
    full = [d for d in raws if d.integer(254) == 0] or raws
    return max(full, key=lambda d: d.integer(256) * d.integer(257), default=None)


def _black(raw: Directory, samples: int) -> tuple[tuple[int, int], tuple[float, ...], bool]:
    """Return BlackLevelRepeatDim, BlackLevel and whether it is there (chapter 5, black subtraction)."""
    stated = raw.integers(50713)
    repeat = (stated[0], stated[1]) if len(stated) == 2 and min(stated) > 0 else (1, 1)
    levels = raw.numbers(50714)
    needed = repeat[0] * repeat[1] * samples
    if len(levels) == needed:
        return repeat, tuple(map(float, levels)), True
    if len(levels) == 1:  # one level for all is written without its repeats by some cameras
        return repeat, (float(levels[0]),) * needed, True
    return (1, 1), (0.0,) * samples, False


def _area(corners: tuple[int, ...], width: int, height: int) -> Window | None:
    """Return top, left, bottom, right as a window within the picture."""
    if len(corners) != 4:
        return None
    top, left, bottom, right = corners
    bottom, right = min(bottom, height), min(right, width)
    if top < 0 or left < 0 or top >= bottom or left >= right:
        return None
    return top, left, bottom - top, right - left


def _masked(corners: tuple[int, ...], width: int, height: int) -> tuple[Window, ...]:
    areas = (_area(corners[i : i + 4], width, height) for i in range(0, len(corners), 4))
    return tuple(area for area in areas if area is not None)


def _cfa(raw: Directory) -> tuple[tuple[int, ...], ...] | None:
    dims, flat = raw.integers(33421), raw.integers(33422)
    if len(dims) != 2 or min(dims) < 1 or dims[0] * dims[1] != len(flat):
        return None
    return tuple(tuple(flat[row * dims[1] : (row + 1) * dims[1]]) for row in range(dims[0]))


def _per_sample(values: tuple[float, ...], samples: int) -> tuple[float, ...]:
    if not values or min(values) <= 0:
        return ()
    return tuple(map(float, values[:samples])) if len(values) >= samples else (float(values[0]),) * samples


def _is_chromaticity(values: tuple[float, ...]) -> bool:
    return len(values) == 2 and min(values) > 0 and sum(values) <= 1
