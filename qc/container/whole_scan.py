"""Holes in entropy-coded JPEG data: runs of zeros that no coded picture holds, as a sparse copy leaves them.

Zero bits are code words too. The code word of zeros alone belongs to the first symbol of a Huffman table (ITU-T
T.81 annex C). In a baseline scan that symbol would have to be "end of block" in the table of every component, in a
lossless scan "difference 0", for an even area to be coded as zeros; else the zeros were never written by a coder.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from qc.container.whole_jpeg import FRAMES, BrokenError, CutError, segments

RUN = 512
"""Zeros in a row that count as a hole: one sector."""

_BASELINE, _EXTENDED, _LOSSLESS = 0xC0, 0xC1, 0xC3
_DHT, _SOS, _EOI = 0xC4, 0xDA, 0xD9
_ZEROS = bytes(RUN)


@dataclass(slots=True)
class _Coding:
    """How the first scan of a stream is coded, and where coded data lie."""

    frame: int = 0
    components: int = 0
    first_symbols: dict[tuple[int, int], int] = field(default_factory=dict)
    tables: list[tuple[int, int]] = field(default_factory=list)
    start: int = 0
    end: int = 0

    def zeros_may_be_an_even_area(self) -> bool:
        """Tell whether zero bits can be the picture of an even area, or that cannot be told."""
        if len(self.tables) != self.components:  # further scans with tables of their own
            return True
        if self.frame == _LOSSLESS:
            symbols = [self.first_symbols.get((0, dc), 0) for dc, _ in self.tables]
        elif self.frame in (_BASELINE, _EXTENDED):
            symbols = [self.first_symbols.get((1, ac), 0) for _, ac in self.tables]
        else:
            return True
        return not any(symbols)


def hole(data: bytes, start: int, end: int) -> int | None:
    """Return where a JPEG stream holds a run of zeros that cannot be coded data.

    Parameters
    ----------
    data : bytes
        The file.
    start, end : int
        Where the stream starts and ends; what follows its end of image is left alone.

    Returns
    -------
    int or None
        Position in the file; None where there is no such run, or where zeros may be an even area.
    """
    if data.find(_ZEROS, start, end) < 0:
        return None
    coding = _coding(data[start:end])
    at = data.find(_ZEROS, start + coding.start, start + coding.end)
    return None if at < 0 or coding.zeros_may_be_an_even_area() else at


def _coding(stream: bytes) -> _Coding:
    coding = _Coding(end=len(stream))
    try:
        for marker, start, end in segments(stream):
            content = stream[start:end]
            if marker == _DHT and not coding.start:
                coding.first_symbols |= _first_symbols(content)
            elif marker in FRAMES and len(content) > 5:
                coding.frame, coding.components = marker, content[5]
            elif marker == _SOS and not coding.start and content:
                coding.tables = [(s >> 4, s & 15) for s in content[2 : 1 + 2 * content[0] : 2]]
                coding.start = end
            elif marker == _EOI:
                coding.end = start
    except (CutError, BrokenError):
        pass  # a tile may end without its marker; a file that does is found cut before this is asked
    return coding


def _first_symbols(content: bytes) -> dict[tuple[int, int], int]:
    """Return the first symbol of each Huffman table of a DHT segment, by class and destination (B.2.4.2)."""
    found = {}
    at = 0
    while at + 17 < len(content):
        values = sum(content[at + 1 : at + 17])
        if values:
            found[content[at] >> 4, content[at] & 15] = content[at + 17]
        at += 17 + values
    return found
