"""The tags of a DNG, as tifffile takes them. Names, types and counts: DNG 1.7.1.0, "DNG tags"."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Window
from qc.errors import UsageError
from qc.frame import Camera, Cfa
from qc.rehearse._exif import POINTER_PLACE, as_ratio, ascii_text

BYTE, SHORT, LONG, RATIONAL, SRATIONAL, TEXT = 1, 3, 4, 5, 10, 2
COLOUR_CODES = {"R": 0, "G": 1, "B": 2, "C": 3, "M": 4, "Y": 5, "W": 6, "E": 3}
"""CFAPattern values (TIFF/EP, ISO 12234-2); emerald has none of its own and stands in as cyan."""

Tag = tuple[int, int, int, object, bool]
"""Code, type, count, value, write once: tifffile's `extratags`."""

Matrix = Sequence[Sequence[float]] | NDArray[np.float64]


def ratios(code: int, numbers: Iterable[float], *, signed: bool = False) -> Tag:
    """Return a tag of fractions."""
    pairs = [as_ratio(float(number)) for number in numbers]
    if not signed and any(top < 0 for top, _ in pairs):
        raise UsageError(f"tag {code} cannot hold a negative number")
    flat = tuple(part for pair in pairs for part in pair)
    return (code, SRATIONAL if signed else RATIONAL, len(pairs), flat, True)


def whole(code: int, kind: int, numbers: Iterable[int]) -> Tag:
    """Return a tag of whole numbers."""
    values = tuple(int(number) for number in numbers)
    return (code, kind, len(values), values[0] if len(values) == 1 else values, True)


def text(code: int, value: str) -> Tag:
    """Return a tag of text."""
    return (code, TEXT, len(ascii_text(value, "name")), value, True)


def camera_tags(camera: Camera, orientation: int) -> list[Tag]:
    """Return version, names, orientation and a place for the pointer to the Exif directory."""
    name = " ".join(filter(None, (camera.make, camera.model))) or "rehearsed"
    tags = [
        whole(50706, BYTE, (1, 4, 0, 0)),
        whole(50707, BYTE, (1, 1, 0, 0)),
        text(50708, name),
        whole(274, SHORT, (orientation,)),
        whole(POINTER_PLACE, LONG, (0,)),
    ]
    tags += [text(code, value) for code, value in ((271, camera.make), (272, camera.model)) if value]
    if camera.serial:
        tags.append(text(50735, camera.serial))
    return tags


def cfa_tags(cfa: Cfa) -> list[Tag]:
    """Return the pattern; its origin is the top-left corner of the active area, as `Cfa` has it."""
    codes = [COLOUR_CODES[colour] for colour in cfa.colours]
    tags = [
        whole(33421, SHORT, cfa.shape),
        whole(33422, BYTE, (codes[index] for index in cfa.array().ravel())),
        whole(50711, SHORT, (1,)),
    ]
    if cfa.colours != "RGB":
        tags.append(whole(50710, BYTE, codes))
    return tags


def level_tags(
    black: NDArray[np.float64],
    white: Sequence[int],
    black_rows: NDArray[np.float64] | None,
    black_columns: NDArray[np.float64] | None,
    linearisation: NDArray[np.uint16] | None,
) -> list[Tag]:
    """Return black by (row, column, sample) of its repeat, its additions, white and the look-up table."""
    tags = [
        whole(50713, SHORT, black.shape[:2]),
        ratios(50714, black.ravel()),
        whole(50717, LONG, white),
    ]
    if black_columns is not None:
        tags.append(ratios(50715, black_columns, signed=True))
    if black_rows is not None:
        tags.append(ratios(50716, black_rows, signed=True))
    if linearisation is not None:
        tags.append(whole(50712, SHORT, linearisation))
    return tags


def area_tags(visible: Window | None, masked: Sequence[Window]) -> list[Tag]:
    """Return the active area and the masked areas: top, left, bottom, right."""
    tags = []
    if visible is not None:
        tags.append(whole(50829, LONG, _edges(visible)))
    if masked:
        tags.append(whole(50830, LONG, (edge for window in masked for edge in _edges(window))))
    return tags


def colour_tags(
    matrices: Sequence[tuple[int, Matrix]],
    forward: Sequence[Matrix] | None,
    neutral: Sequence[float] | None,
) -> list[Tag]:
    """Return calibration illuminants, colour and forward matrices and the as-shot neutral."""
    if len(matrices) > 2:
        raise UsageError(f"a DNG holds one or two colour matrices here, not {len(matrices)}")
    tags = []
    for index, (illuminant, matrix) in enumerate(matrices):
        tags.append(whole(50778 + index, SHORT, (illuminant,)))
        tags.append(ratios(50721 + index, np.ravel(matrix), signed=True))
    for index, matrix in enumerate(forward or ()):
        tags.append(ratios(50964 + index, np.ravel(matrix), signed=True))
    if neutral is not None:
        tags.append(ratios(50728, neutral))
    return tags


def _edges(window: Window) -> tuple[int, int, int, int]:
    row, column, rows, columns = window
    return row, column, row + rows, column + columns
