"""Where in the picture something is, in words: never coordinates."""

from __future__ import annotations

from qc.reading import Box

_WIDE = 0.6
"""Part of a side from which on a place is said to run along it."""

_ACROSS, _DOWN = ("left", "", "right"), ("upper", "", "lower")


def spoken_place(box: Box) -> str:
    """Return where a box lies in the upright picture: "upper left", "along the top", "over the whole picture".

    Parameters
    ----------
    box : tuple of float
        Left, top, width, height as fractions of the upright picture.
    """
    left, top, width, height = box
    across, down = _third(left + width / 2, _ACROSS), _third(top + height / 2, _DOWN)
    if width >= _WIDE and height >= _WIDE:
        return "over the whole picture"
    if width >= _WIDE:
        return f"along the {'top' if down == 'upper' else 'bottom'}" if down else "across the middle"
    if height >= _WIDE:
        return f"along the {across} side" if across else "down the middle"
    if down and across:
        return f"{down} {across}"
    if down:
        return "top" if down == "upper" else "bottom"
    return across or "middle"


def _third(at: float, words: tuple[str, str, str]) -> str:
    return words[min(max(int(3 * at), 0), 2)]
