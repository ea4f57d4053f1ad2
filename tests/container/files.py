"""Small whole files of every structure, for the tests to cut and to spoil."""

from __future__ import annotations

import io
import struct
from typing import Any

import imagecodecs
import numpy as np
import tifffile
from PIL import Image

from qc.container.kinds import kind_of
from qc.container.wholeness import check
from qc.rehearse.dng import encode_dng

RNG = np.random.default_rng(7)
SCENE = RNG.integers(600, 9000, (96, 128)).astype(np.uint16)
RGB = RNG.integers(40, 220, (64, 96, 3)).astype(np.uint8)


def dng(black: float = 512, **how: Any) -> bytes:
    return encode_dng(SCENE, black=black, white=16383, **how)


def jpeg(**how: Any) -> bytes:
    out = io.BytesIO()
    Image.fromarray(RGB).save(out, "JPEG", **how)
    return out.getvalue()


def tiff(array: np.ndarray = RGB, **how: Any) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, array, **how)
    return out.getvalue()


def png() -> bytes:
    return bytes(imagecodecs.png_encode(RGB))


def base_media() -> bytes:
    def box(name: bytes, content: bytes) -> bytes:
        return struct.pack(">I4s", 8 + len(content), name) + content

    return box(b"ftyp", b"crx \0\0\0\x01") + box(b"moov", bytes(range(1, 200))) + box(b"mdat", RGB.tobytes() * 4)


def ciff() -> bytes:
    """A heap with a record of raw data, and in it a heap with one value."""
    raw = RGB.tobytes()[:4000]
    inner_value = b"stoneware"
    inner = inner_value + struct.pack("<HHIII", 1, 0x0805, len(inner_value), 0, len(inner_value))[:-4]
    inner += struct.pack("<I", len(inner_value))
    body = raw + inner
    table = struct.pack("<H", 2) + struct.pack("<HII", 0x2005, len(raw), 0)
    table += struct.pack("<HII", 0x2807, len(inner), len(raw))
    return b"II\x1a\0\0\0HEAPCCDR" + bytes(12) + body + table + struct.pack("<I", len(body))


def state(data: bytes) -> str:
    return check(data, kind_of(data))[0]
