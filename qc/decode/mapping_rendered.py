"""Every error that Pillow, OpenCV, tifffile and imagecodecs raise for a picture, and which of ours it becomes.

By class name, as in `qc.decode.mapping`. These libraries raise built-in errors for bad files, so the translation
is put around their calls only, never around code of our own. A file gets here only after its structure was found
whole, so what fails now is its content.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from qc.decode.mapping import Row, capture_error
from qc.errors import CaptureError, DamagedError, UnreadableError, UnsupportedError

_DAMAGED: Row = (DamagedError, "its picture data cannot be decoded")
_MEMORY: Row = (UnreadableError, "not enough memory to decode it")

RENDERED: Mapping[str, Row] = {
    "UnidentifiedImageError": _DAMAGED,
    "DecompressionBombError": (UnsupportedError, "larger than the decoder takes"),
    "OmeXmlError": _DAMAGED,
    "TiffFileError": (DamagedError, "its tags contradict its data"),
    "DelayedImportError": (UnsupportedError, "its compression needs the imagecodecs package"),
    "ImportError": (UnsupportedError, "its compression needs the imagecodecs package"),
    "NotImplementedError": (UnsupportedError, "its coding is not supported"),
    "MemoryError": _MEMORY,
    "OSError": _DAMAGED,
    "EOFError": _DAMAGED,
    "SyntaxError": _DAMAGED,
    "ValueError": _DAMAGED,
    "TypeError": _DAMAGED,
    "LookupError": _DAMAGED,
    "ArithmeticError": _DAMAGED,
    "AttributeError": _DAMAGED,
    "AssertionError": _DAMAGED,
    "RuntimeError": _DAMAGED,
    "error": _DAMAGED,
}
"""``error`` is the name of struct.error, zlib.error and cv2.error; imagecodecs derives from RuntimeError."""


@contextmanager
def translated(path: str) -> Iterator[None]:
    """Turn what a library raises within the block into one of our errors.

    Parameters
    ----------
    path : str
        The file.

    Raises
    ------
    CaptureError
        In place of any error of the libraries.
    """
    try:
        yield
    except CaptureError:
        raise
    except Exception as error:
        raise capture_error(error, RENDERED, path, detail=_one_line(error)) from error


def _one_line(error: BaseException) -> str:
    return " ".join(str(error).split())[:120] or type(error).__name__
