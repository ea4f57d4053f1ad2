"""Words on pictures, in the one scalable font that comes with Pillow."""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from qc.show.palette import RGB

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

SMALL = 24
"""Pixels; readable when a picture is shown at half size."""

LARGE = 32

_SPELLED = {"Δ": "delta ", "−": "-", "–": "-", "—": "-", "×": "x", "≤": "<=", "≥": ">=", "µ": "u", "σ": "sigma"}


def plain(text: str) -> str:
    """Return text as the font can draw it: missing signs spelled out, accents dropped, else ``?``."""
    drawn = []
    for sign in text:
        known = sign if _has(sign) else _SPELLED.get(sign, "")
        if not known:
            bare = unicodedata.normalize("NFKD", sign)[:1]
            known = bare if _has(bare) else "?"
        drawn.append(known)
    return "".join(drawn)


def width(text: str, size: int) -> int:
    """Return how wide a line of text is drawn, pixels."""
    return int(np.ceil(_font(size).getlength(plain(text))))


def height(size: int) -> int:
    """Return the height of a line, from the top of its capitals to under its descenders, pixels."""
    return sum(_font(size).getmetrics())


def cut_middle(text: str, size: int, room: int) -> str:
    """Shorten a line to `room` pixels by leaving out its middle: both ends of a file name tell it apart."""
    if width(text, size) <= room:
        return text
    for kept in range(len(text) - 1, 1, -1):
        tail = kept // 2
        shorter = f"{text[: kept - tail]}…{text[len(text) - tail :]}"
        if width(shorter, size) <= room:
            return shorter
    return "…"


def wrap(text: str, size: int, room: int, *, most: int = 2) -> tuple[str, ...]:
    """Break text at spaces into lines of at most `room` pixels; what does not fit `most` lines ends in …."""
    lines: list[str] = []
    words = text.split()
    while words and len(lines) < most:
        last = len(lines) == most - 1
        count = len(words)
        while count > 1 and width(" ".join(words[:count]) + ("…" if count < len(words) else ""), size) > room:
            count -= 1
        line = " ".join(words[:count])
        words = words[count:]
        lines.append(cut_middle(f"{line}…" if last and words else line, size, room))
    return tuple(lines)


def write(image: NDArray[np.uint8], text: str, at: tuple[int, int], size: int, colour: RGB) -> None:
    """Draw one line of text into an image, its top-left corner at column and row `at`."""
    from PIL import Image, ImageDraw

    line = plain(text)
    box = Image.new("L", (width(line, size) + 2, height(size)))
    ImageDraw.Draw(box).text((0, 0), line, fill=255, font=_font(size))
    column, row = at
    top, left = max(0, -row), max(0, -column)
    place = image[max(0, row) : row + box.height, max(0, column) : column + box.width]
    cover = np.asarray(box, dtype=np.float32)[top : top + place.shape[0], left : left + place.shape[1], np.newaxis]
    place[:] = np.rint(place + (np.array(colour, dtype=np.float32) - place) * (cover / 255)).astype(np.uint8)


@cache
def _font(size: int) -> FreeTypeFont:
    from PIL import ImageFont

    font = ImageFont.load_default(size)
    assert isinstance(font, ImageFont.FreeTypeFont), "Pillow was built without FreeType"
    return font


@cache
def _has(sign: str) -> bool:
    """Tell whether the font has a sign of its own for a character, rather than its box for unknown ones."""
    font = _font(SMALL)
    return sign == " " or bytes(font.getmask(sign)) != bytes(font.getmask("\uffff"))
