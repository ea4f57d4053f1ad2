"""The file's own DNG tags put over what a decoder makes of them (DNG 1.7.1.0 chapters 4 to 6).

The decoders round black levels, reduce repeat patterns to one value and do not hand matrices over (TRAPS: rawpy
gives the smallest level of a pattern and no matrix for a model it does not know).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from qc.container.dng import CFA, LINEAR_RAW, DngTags
from qc.container.ifd import Tree
from qc.decode.decoded import Decoded
from qc.frame import Cfa, Colour
from qc.reading import Reason

LOSSY_JPEG, JPEG = 34892, 7
FOUR_COLOURS = ("RGBC", "GMCY", "RGBW")
_EXIF = "RGBCMYW"
"""Letters by the codes of Exif 2.32, tag CFAPattern."""

NO_MATRIX = Reason("no_colour_matrix", "neither the file nor the decoder's table has a matrix for this camera")
MONOCHROME = Reason("no_colour_matrix", "a monochrome sensor sees no colour")


def with_dng_tags(decoded: Decoded, tags: DngTags) -> Decoded:
    """Return what a decoder read with black, colour, masked areas and bits as the file's tags state them.

    Parameters
    ----------
    decoded : Decoded
        From either decoder; its visible window may lie inside the tagged active area.
    tags : DngTags
        Of the same file.

    Returns
    -------
    Decoded
    """
    decoded = _with_filters(decoded, tags)
    lossy = tags.compression == LOSSY_JPEG or (tags.compression == JPEG and tags.bits == 8)
    result = replace(
        decoded,
        lossy=lossy,
        bits=16 if tags.linearised or lossy else tags.bits,
        colour=_colour(decoded.colour, tags, len(decoded.colours)),
        masked=tags.masked_areas or decoded.masked,
        pixel_aspect=tags.default_scale[0] / tags.default_scale[1],
    )
    if tags.floating:  # decoders rescale such samples, so the tagged levels no longer apply
        return replace(result, bits=16)
    return _with_black(result, tags)


def _with_filters(decoded: Decoded, tags: DngTags) -> Decoded:
    """Name the filters of a four-colour mosaic as the file does: LibRaw has one set of names for all of them."""
    if len(decoded.colours) != 4 or decoded.cfa is None or tags.cfa_pattern is None:
        return decoded
    top, left = decoded.visible[0] - tags.active_area[0], decoded.visible[1] - tags.active_area[1]
    codes = np.roll(np.array(tags.cfa_pattern), (-top, -left), axis=(0, 1))
    letters = next(
        (names for names in FOUR_COLOURS if {_EXIF[c] for c in codes.ravel().tolist()} == set(names)), None
    )
    if letters is None:
        return decoded
    pattern = tuple(tuple(letters.index(_EXIF[code]) for code in row) for row in codes.tolist())
    # Exif has no emerald: beside red, green and blue its cyan is that filter.
    colours = letters.replace("RGBC", "RGBE")
    return replace(decoded, cfa=Cfa(pattern=pattern, colours=colours), colours=colours)


def _with_black(decoded: Decoded, tags: DngTags) -> Decoded:
    top, left = (decoded.visible[0] - tags.active_area[0], decoded.visible[1] - tags.active_area[1])
    if not tags.black_tagged:
        return replace(decoded, black_tagged=False, black=np.zeros_like(decoded.black))
    levels = tags.black_array()
    if decoded.kind == "linear":
        colours = levels.mean(axis=(0, 1))[: len(decoded.colours)]
        black = np.broadcast_to(colours, (1, len(decoded.colours))).copy()
    else:
        black = np.roll(levels[..., 0], (-top, -left), axis=(0, 1))
    return replace(
        decoded,
        black=black,
        black_tagged=True,
        black_source="tag",
        black_rows=_part(tags.black_rows, top, decoded.visible[2]),
        black_columns=_part(tags.black_columns, left, decoded.visible[3]),
    )


def _part(deltas: tuple[float, ...], start: int, count: int) -> NDArray[np.float64] | None:
    if not any(deltas) or start < 0 or start + count > len(deltas):
        return None
    return np.array(deltas[start : start + count], dtype=np.float64)


def _colour(found: Colour, tags: DngTags, colours: int) -> Colour:
    calibrations = tuple(c for c in tags.calibrations if len(c.xyz_to_camera) == colours)
    neutral = tags.neutral if tags.neutral is not None and len(tags.neutral) == colours else found.neutral
    if calibrations:
        return Colour(neutral=neutral, calibrations=calibrations, source="DNG tags")
    return replace(found, neutral=neutral)


def pictures(tree: Tree) -> int:
    """Return how many raw pictures of the full size a TIFF-based file holds; 1 for every other kind."""
    sizes = [
        (directory.integer(256), directory.integer(257))
        for directory in tree.directories
        if directory.integer(262) in (CFA, LINEAR_RAW)
    ]
    return max(1, sizes.count(max(sizes, default=(0, 0), key=lambda size: size[0] * size[1])))


def neutral_of(balance: tuple[float, ...] | list[float] | None, colours: int) -> tuple[float, ...] | None:
    """Return the as-shot neutral for a decoder's balance gains, largest value 1; None when they say nothing.

    Gains that are missing, not positive or all alike are what decoders give when the file has none; a sensor
    that answers alike to every colour does not exist.
    """
    gains = np.array(balance[:colours] if balance is not None else [], dtype=np.float64)
    if colours < 2 or len(gains) < colours or not np.isfinite(gains).all() or gains.min() <= 0:
        return None
    if np.ptp(gains) == 0:
        return None
    inverse = 1.0 / gains
    return tuple(float(v) for v in inverse / inverse.max())
