"""Whether decoded pixels can be what the camera wrote: what no look at the container can show.

Decoders stop silently in the middle of a file, leave zeros, or leave the pixels of the file before (TRAPS A2, A3).
The hashes of the last mosaic are kept here for that last case: the only state in the house.
"""

from __future__ import annotations

import threading
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.decode.decoded import Decoded
from qc.errors import DamagedError
from qc.reading import Finding

SIDE = 64
"""Photosites along the side of a block."""

_LINES = (5, 21, 37, 53)
"""Rows of each block that are looked at."""

FEW_ABOVE = 4
"""Photosites above what their bits can hold that make a file damaged; a tag that is wrong has far more."""

MOST_ABOVE = 0.01
"""Above this share it is the tag that is wrong, not the data."""

ZERO_BLOCKS = 3
"""Blocks of nothing but 0, where black is not 0, that make a file damaged."""

STALE_BLOCKS = 3
"""Blocks equal to the capture before, bit for bit, that make a file damaged: real noise never repeats."""


@dataclass(slots=True)
class _Last:
    """Block hashes of the last mosaic that this process decoded."""

    content: str | None = None
    hashes: NDArray[np.uint64] | None = None
    lock: threading.Lock = field(default_factory=threading.Lock)


_LAST = _Last()


def check(decoded: Decoded, path: str, content: str, *, compressed: bool) -> tuple[Finding, ...]:
    """Refuse pixels that no camera writes.

    Parameters
    ----------
    decoded : Decoded
        A mosaic or a linear file.
    path : str
        The file.
    content : str
        Its digest, so that the same file opened twice is not taken for a leftover.
    compressed : bool
        Whether the data were compressed: only then can a decoder leave old pixels in place.

    Returns
    -------
    tuple of Finding
        ``above_white`` when the tagged white level cannot be right.

    Raises
    ------
    DamagedError
        For values above what their bits hold, blocks of zeros, a constant frame, and blocks of the capture before.
    """
    row, column, rows, columns = decoded.visible
    seen = decoded.data[row : row + rows, column : column + columns]
    if seen.size == 0:
        raise DamagedError(path, "its picture has no photosites")
    if seen.min() == (most := seen.max()) and most < decoded.white:
        raise DamagedError(path, f"every photosite reads {most}: no light, no noise, no picture")
    blocks = _blocks(seen)
    dark = float(decoded.black.mean()) if decoded.black_tagged else 0.0
    if blocks is not None:
        _refuse_zeros(blocks, dark, path)
        _refuse_leftovers(blocks, path, content, compressed=compressed)
    return _above(decoded, seen, path)


def forget() -> None:
    """Forget the last mosaic."""
    with _LAST.lock:
        _LAST.content = _LAST.hashes = None


def _blocks(seen: NDArray[Any]) -> NDArray[np.uint64] | None:
    """Return a few lines of every block as 64-bit words, shape (rows, columns, words); None for a tiny frame."""
    if seen.dtype != np.uint16:
        return None
    flat = seen.reshape(seen.shape[0], -1)
    count = (flat.shape[0] // SIDE, flat.shape[1] // SIDE)
    if min(count) == 0:
        return None
    whole = flat[: count[0] * SIDE, : count[1] * SIDE].reshape(count[0], SIDE, count[1], SIDE)
    lines = np.ascontiguousarray(whole[:, _LINES].transpose(0, 2, 1, 3))
    return lines.reshape(*count, -1).view(np.uint64)


def _refuse_zeros(blocks: NDArray[np.uint64], dark: float, path: str) -> None:
    empty: NDArray[np.bool_] = np.asarray(~blocks.any(axis=-1))
    number = int(np.count_nonzero(empty))
    # Where black is 0 a dark place may honestly read 0; a part of the frame that is cut off has no light at all
    # beside a part that is nowhere so dark.
    whole_rows = int(np.count_nonzero(empty.all(axis=1)))
    honest = dark < 8 and (whole_rows == 0 or number > whole_rows * empty.shape[1])
    if number >= ZERO_BLOCKS and not honest:
        share = 100 * number / empty.size
        raise DamagedError(path, f"{share:.0f} % of the picture holds nothing but zeros: data are missing")


def _refuse_leftovers(blocks: NDArray[np.uint64], path: str, content: str, *, compressed: bool) -> None:
    weights = np.random.default_rng(1).integers(1, 2**63, blocks.shape[-1], dtype=np.uint64) | np.uint64(1)
    hashes = (blocks * weights).sum(axis=-1, dtype=np.uint64)
    flat = np.max(blocks, axis=-1) == np.min(blocks, axis=-1)  # evenly clipped or empty: says nothing
    hashes[flat] = 0
    with _LAST.lock:
        before, known = _LAST.hashes, _LAST.content
        _LAST.hashes, _LAST.content = hashes, content
    if not compressed or before is None or known == content or before.shape != hashes.shape:
        return
    same = (hashes == before) & (hashes != 0)
    number, all_of_it = int(np.count_nonzero(same)), int(np.count_nonzero(hashes))
    if STALE_BLOCKS <= number < 0.99 * all_of_it:  # all of it is a copy with other tags, not a leftover
        share = 100 * number / hashes.size
        raise DamagedError(path, f"{share:.0f} % of the picture is the capture before it: data are missing")


def _above(decoded: Decoded, seen: NDArray[Any], path: str) -> tuple[Finding, ...]:
    top = 2 ** int(decoded.white).bit_length() - 1
    if decoded.data.dtype != np.uint16 or seen.max() <= top:
        return ()
    number = int(np.count_nonzero(seen > top))
    if FEW_ABOVE <= number <= MOST_ABOVE * seen.size:
        raise DamagedError(path, f"{number} values lie above {top}, the most that its bits can hold")
    text = f"{number} values lie above {top}: the tagged white level {decoded.white:g} cannot be right"
    return (Finding(code="above_white", text=text, data={"photosites": number, "white": decoded.white}),)
