"""No error of the picture libraries leaves the house as it is."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable

import cv2
import imagecodecs
import numpy as np
import PIL
import PIL.Image
import pytest
import tifffile
from PIL import Image

from qc.container import Container, FileKind, inspect
from qc.container.whole_boxes import png_chunks
from qc.decode import codes
from qc.decode.codes import read_jpeg, read_png, read_tiff
from qc.decode.mapping_rendered import RENDERED, translated
from qc.decode.rendered import read
from qc.errors import CaptureError, DamagedError, UnreadableError, UnsupportedError

RGB = np.random.default_rng(5).integers(0, 256, (48, 64, 3)).astype(np.uint8)


def exported(module: object) -> list[type[Exception]]:
    found = (getattr(module, name, None) for name in dir(module) if name.endswith(("Error", "error")))
    return [cls for cls in found if isinstance(cls, type) and issubclass(cls, Exception)]


LIBRARIES = [
    *exported(PIL),
    *exported(PIL.Image),
    *exported(tifffile),
    *exported(imagecodecs),
    *exported(cv2),
    *exported(struct),
    *exported(zlib),
]
BUILT_IN = [
    *(OSError, EOFError, SyntaxError, ValueError, TypeError, KeyError, IndexError, ZeroDivisionError),
    *(OverflowError, AttributeError, AssertionError, RuntimeError, NotImplementedError, MemoryError, ImportError),
    UnicodeDecodeError,
]


def instance(cls: type[Exception]) -> Exception:
    error = cls.__new__(cls)
    error.args = ("figure",)
    return error


@pytest.mark.parametrize("cls", sorted({*LIBRARIES, *BUILT_IN}, key=repr))
def test_every_error_class_of_the_libraries_becomes_ours(cls: type[Exception]) -> None:
    with pytest.raises(CaptureError) as caught, translated("SB_1.jpg"):
        raise instance(cls)
    assert caught.value.path == "SB_1.jpg"
    assert "\n" not in str(caught.value)
    assert caught.value.__cause__ is not None


def test_the_libraries_export_what_the_table_names() -> None:
    names = {cls.__name__ for cls in LIBRARIES}
    assert {"UnidentifiedImageError", "DecompressionBombError", "TiffFileError", "ImcdError", "error"} <= names


@pytest.mark.parametrize(
    ("error", "kind"),
    [
        (OSError("image file is truncated"), DamagedError),
        (ImportError("imagecodecs"), UnsupportedError),
        (NotImplementedError(), UnsupportedError),
        (MemoryError(), UnreadableError),
    ],
)
def test_the_class_says_what_kind_of_failure_it_was(error: Exception, kind: type[CaptureError]) -> None:
    with pytest.raises(kind), translated("SB_1.jpg"):
        raise error


def test_our_own_errors_pass_unchanged() -> None:
    with pytest.raises(UnsupportedError, match="as it was"), translated("SB_1.jpg"):
        raise UnsupportedError("SB_1.jpg", "as it was")


def test_an_interrupt_is_not_taken_for_a_bad_file() -> None:
    with pytest.raises(KeyboardInterrupt), translated("SB_1.jpg"):
        raise KeyboardInterrupt
    assert "KeyboardInterrupt" not in RENDERED


def test_an_error_that_is_not_known_is_a_defect_and_passes() -> None:
    class StrangeError(Exception):
        pass

    with pytest.raises(StrangeError), translated("SB_1.jpg"):
        raise StrangeError


def _jpeg(**how: object) -> bytes:
    out = io.BytesIO()
    Image.fromarray(RGB).save(out, "JPEG", **how)
    return out.getvalue()


def _tiff(**how: object) -> bytes:
    out = io.BytesIO()
    tifffile.imwrite(out, RGB, photometric="rgb", **how)  # type: ignore[arg-type]  # options of the writer
    return out.getvalue()


Reader = Callable[[bytes, str], codes.Stored]
CORPUS: dict[str, tuple[bytes, Reader]] = {
    "jpeg": (_jpeg(), read_jpeg),
    "progressive": (_jpeg(progressive=True), read_jpeg),
    "png": (bytes(imagecodecs.png_encode(RGB)), read_png),
    "png 16": (bytes(imagecodecs.png_encode(RGB.astype(np.uint16) * 257)), read_png),
    "tiff": (_tiff(), read_tiff),
    "tiff deflate": (_tiff(compression="zlib", rowsperstrip=8), read_tiff),
    "tiff lzw": (_tiff(compression="lzw", rowsperstrip=8), read_tiff),
    "tiff packbits": (_tiff(compression="packbits"), read_tiff),
    "tiff jpeg": (_tiff(compression="jpeg", tile=(16, 16)), read_tiff),
}
KINDS: dict[Reader, FileKind] = {read_jpeg: FileKind.JPEG, read_png: FileKind.PNG, read_tiff: FileKind.TIFF}


def summed(data: bytes) -> bytearray:
    """The same PNG with the right sum after each chunk."""
    fitted = bytearray(data)
    for _, start, end, there in png_chunks(data):
        if there:
            fitted[end : end + 4] = zlib.crc32(data[start - 4 : end]).to_bytes(4, "big")
    return fitted


@pytest.mark.parametrize("name", CORPUS)
def test_cut_and_mutated_files_give_a_picture_or_one_of_our_errors(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Taken for whole, so that the libraries see what the check of the structure would have kept from them.

    PNG keeps that check, since OpenCV takes the length of a chunk on trust; its sums are made to fit instead.
    """
    monkeypatch.setattr(codes, "MAX_PIXELS", 1 << 14)
    data, reader = CORPUS[name]
    rng = np.random.default_rng(17)
    outcomes = set()
    for turn in range(200):
        bad = bytearray(data)
        head = len(bad) if turn % 2 else min(len(bad), 400)
        for at in rng.integers(0, head, rng.integers(0, 5)):
            bad[at] = rng.integers(0, 256)
        if turn % 3 == 0:
            del bad[int(rng.integers(1, len(bad))) :]
        if KINDS[reader] is FileKind.PNG:
            bad = summed(bytes(bad))
        taken_for_whole = Container(kind=KINDS[reader], family=KINDS[reader].family, state="whole")
        described = None if reader is read_png else taken_for_whole
        try:
            decoded = read(bytes(bad), "SB_1", described)
            assert np.isfinite(decoded.data).all()
            outcomes.add("picture")
        except CaptureError as error:
            outcomes.add(error.state)
    assert {"picture", "damaged"} <= outcomes


@pytest.mark.parametrize("name", CORPUS)
def test_the_corpus_itself_is_whole(name: str) -> None:
    data, reader = CORPUS[name]
    assert inspect(data, name="SB_1").state == "whole"
    assert reader(data, "SB_1").codes.shape == RGB.shape
