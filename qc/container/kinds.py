"""Which kind of file it is, by what is in it; a name or suffix never decides.

Signatures: TIFF 6.0 section 2, BigTIFF, DNG 1.7.1.0 (tag DNGVersion), JPEG (ITU-T T.81 B.1.1.3), PNG (W3C PNG
third edition 5.2), ISO base media (ISO/IEC 14496-12 4.3), JPEG XL (ISO/IEC 18181-2 9.1), AppleDouble (RFC 1740).
Camera makers publish no signatures for their raws: common practice, no published source.
"""

from __future__ import annotations

from enum import StrEnum

from qc.container.dng import CFA, LINEAR_RAW
from qc.container.ifd import Tree, read_tree


class Family(StrEnum):
    """What a kind of file is good for here."""

    RAW = "raw"
    RENDERED = "rendered"
    NONE = "not a picture"


class FileKind(StrEnum):
    """Kinds of file that are told apart."""

    DNG = "DNG"
    NEF = "NEF"
    CR2 = "CR2"
    CR3 = "CR3"
    CRW = "CRW"
    ARW = "ARW"
    KDC = "KDC"
    PEF = "PEF"
    ORF = "ORF"
    RW2 = "RW2"
    RAF = "RAF"
    MRW = "MRW"
    X3F = "X3F"
    TIFF_RAW = "TIFF with a colour filter mosaic"
    TIFF = "TIFF"
    JPEG = "JPEG"
    PNG = "PNG"
    HEIC = "HEIC"
    AVIF = "AVIF"
    JPEG_XL = "JPEG XL"
    OTHER_PICTURE = "picture of another kind"
    APPLE_DOUBLE = "AppleDouble companion"
    BLANK = "blank"
    UNKNOWN = "unknown"

    @property
    def family(self) -> Family:
        """Raw, rendered, or not a picture."""
        if self in (FileKind.APPLE_DOUBLE, FileKind.BLANK, FileKind.UNKNOWN):
            return Family.NONE
        return Family.RENDERED if self in _RENDERED else Family.RAW

    @property
    def is_tiff(self) -> bool:
        """Whether its structure is that of a TIFF file."""
        return self in _TIFF_BASED


_RENDERED = frozenset(
    {
        FileKind.TIFF,
        FileKind.JPEG,
        FileKind.PNG,
        FileKind.HEIC,
        FileKind.AVIF,
        FileKind.JPEG_XL,
        FileKind.OTHER_PICTURE,
    }
)
_TIFF_BASED = frozenset(
    {
        FileKind.DNG,
        FileKind.NEF,
        FileKind.CR2,
        FileKind.ARW,
        FileKind.KDC,
        FileKind.PEF,
        FileKind.ORF,
        FileKind.RW2,
        FileKind.TIFF_RAW,
        FileKind.TIFF,
    }
)

UNREAD = frozenset({FileKind.HEIC, FileKind.AVIF, FileKind.JPEG_XL, FileKind.OTHER_PICTURE})
"""Pictures that are recognised and that no decoder here reads at full depth."""

_SIGNATURES: tuple[tuple[int, bytes, FileKind], ...] = (
    (0, b"\xff\xd8\xff", FileKind.JPEG),
    (0, b"\x89PNG\r\n\x1a\n", FileKind.PNG),
    (0, b"FUJIFILMCCD-RAW", FileKind.RAF),
    (6, b"HEAPCCDR", FileKind.CRW),
    (0, b"\0MRM", FileKind.MRW),
    (0, b"FOVb", FileKind.X3F),
    (0, b"\xff\x0a", FileKind.JPEG_XL),
    (0, b"\0\0\0\x0cJXL \r\n\x87\n", FileKind.JPEG_XL),
    (0, b"\0\x05\x16\x07", FileKind.APPLE_DOUBLE),
    (0, b"\0\x05\x16\x00", FileKind.APPLE_DOUBLE),
    (0, b"GIF8", FileKind.OTHER_PICTURE),
    (8, b"WEBP", FileKind.OTHER_PICTURE),
    (0, b"v/1\x01", FileKind.OTHER_PICTURE),
    (0, b"\0\0\0\x0cjP  \r\n\x87\n", FileKind.OTHER_PICTURE),
)

_BRANDS = {b"crx ": FileKind.CR3, b"avif": FileKind.AVIF, b"avis": FileKind.AVIF}
_BRANDS |= dict.fromkeys((b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"), FileKind.HEIC)

_TIFF_HEADERS = {
    b"II*\0": FileKind.TIFF,
    b"MM\0*": FileKind.TIFF,
    b"II+\0": FileKind.TIFF,
    b"MM\0+": FileKind.TIFF,
    b"IIRO": FileKind.ORF,
    b"IIRS": FileKind.ORF,
    b"MMOR": FileKind.ORF,
    b"IIU\0": FileKind.RW2,
}

_MAKERS = {
    "NIKON": FileKind.NEF,
    "SONY": FileKind.ARW,
    "PENTAX": FileKind.PEF,
    "RICOH": FileKind.PEF,
    "KODAK": FileKind.KDC,
    "EASTMAN KODAK": FileKind.KDC,
}


def kind_of(data: bytes, tree: Tree | None = None) -> FileKind:
    """Tell the kind of a file from its first bytes and, for the TIFF family, from its tags.

    Parameters
    ----------
    data : bytes
        The file, or as much of it as there is.
    tree : Tree or None
        Its TIFF directories, when they were read already.

    Returns
    -------
    FileKind
        `UNKNOWN` for anything that is not recognised; never raises.
    """
    for at, signature, kind in _SIGNATURES:
        if data[at : at + len(signature)] == signature:
            return kind
    if data[4:8] == b"ftyp":
        return _BRANDS.get(data[8:12], FileKind.UNKNOWN)
    kind = _TIFF_HEADERS.get(data[:4], FileKind.UNKNOWN)
    if kind is FileKind.TIFF:
        return _tiff_kind(data, tree or read_tree(data))
    if kind is FileKind.UNKNOWN and is_blank(data):
        return FileKind.BLANK
    return kind


def is_blank(data: bytes) -> bool:
    """Tell whether there is nothing but zeros: space reserved for a file that was never written."""
    # the first bytes decide almost always, without a pass over the file
    return bool(data) and data[0] == 0 and data[:4096].count(0) == len(data[:4096]) and data.count(0) == len(data)


def has_tiff_header(data: bytes) -> bool:
    """Tell whether a file starts as one of the TIFF family does."""
    return data[:4] in _TIFF_HEADERS


def _tiff_kind(data: bytes, tree: Tree) -> FileKind:
    if data[8:11] == b"CR\x02":
        return FileKind.CR2
    if data[8:12] in (b"IIII", b"MMMM") and (b"waR" in data[12:16] or b"Raw" in data[12:16]):
        return FileKind.TIFF_RAW  # medium-format backs; the sensor data lie outside the TIFF directories
    if not tree.directories:
        return FileKind.TIFF
    first = tree.directories[0]
    if len(first.integers(50706)) == 4:
        return FileKind.DNG
    pictures = list(tree.of_role("main", "sub"))
    raw = any(d.integer(262, -1) in (CFA, LINEAR_RAW) for d in pictures)
    # a file whose every picture is a reduced one keeps its real picture where only its maker knows
    if not raw and not all(d.integer(254) & 1 for d in pictures):
        return FileKind.TIFF
    make = (first.text(271) or "").upper()
    for start, kind in _MAKERS.items():
        if make.startswith(start):
            return kind
    return FileKind.TIFF_RAW
