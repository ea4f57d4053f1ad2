"""Every error of the two raw decoders, and which of ours it becomes.

By class name, so that neither library is imported to read the table; a test enumerates the classes of both.
The file is handed over as bytes, so an input error can only mean that the bytes end too early.
"""

from __future__ import annotations

from collections.abc import Mapping

from qc.errors import CaptureError, DamagedError, TruncatedError, UnreadableError, UnsupportedError

Row = tuple[type[CaptureError], str]

_FAILED: Row = (UnreadableError, "the decoder failed")
_MEMORY: Row = (UnreadableError, "not enough memory to decode it")
_TOO_BIG: Row = (UnsupportedError, "larger than the decoder takes")
_KIND: Row = (UnsupportedError, "this kind of raw file is not supported")

RAWPY: Mapping[str, Row] = {
    "LibRawError": _FAILED,
    "LibRawFatalError": _FAILED,
    "LibRawNonFatalError": _FAILED,
    "LibRawUnspecifiedError": _FAILED,
    "LibRawFileUnsupportedError": _KIND,
    "LibRawRequestForNonexistentImageError": (DamagedError, "the picture it announces is not in the file"),
    "LibRawOutOfOrderCallError": _FAILED,
    "LibRawNoThumbnailError": _FAILED,
    "LibRawUnsupportedThumbnailError": _FAILED,
    "LibRawInputClosedError": _FAILED,
    "LibRawNotImplementedError": _KIND,
    "LibRawUnsufficientMemoryError": _MEMORY,
    "LibRawDataError": (DamagedError, "the compressed data are corrupt"),
    "LibRawIOError": (TruncatedError, "the file ends before its data does"),
    "LibRawCancelledByCallbackError": _FAILED,
    "LibRawBadCropError": (DamagedError, "its picture area is impossible"),
    "LibRawTooBigError": _TOO_BIG,
    "LibRawMemPoolOverflowError": _MEMORY,
    "NotSupportedError": _KIND,
    "MemoryError": _MEMORY,
    "NotImplementedError": (UnsupportedError, "its colour filter pattern is not supported"),
}
"""Errors of rawpy, and the two built-in ones that it raises for a file."""

FLASHRAW: Mapping[str, Row] = {
    "FlashRawError": _FAILED,
    "UnsupportedFormatError": _KIND,
    "UnsupportedCompressionError": (UnsupportedError, "its compression is not supported"),
    "CorruptFileError": (DamagedError, "the data are corrupt"),
    "InvalidMetadataError": (DamagedError, "its tags contradict its data"),
    "CameraUnsupportedError": (UnsupportedError, "this camera is not supported"),
    "GpuUnavailableError": _FAILED,
    "OutOfMemoryError": _MEMORY,
    "LimitExceededError": _TOO_BIG,
    "NotAvailableError": (UnsupportedError, "it holds no sensor data"),
    "InvalidArgumentError": _FAILED,
    "IoError": (TruncatedError, "the file ends before its data does"),
    "ClosedError": _FAILED,
    "InternalError": _FAILED,
    "PanicException": _FAILED,
}
"""Errors of flashraw, and the one with which its native part reports a defect of its own."""


def capture_error(
    error: BaseException, table: Mapping[str, Row], path: str, *, detail: str | None = None
) -> CaptureError:
    """Return our error for one that a decoder raised.

    Parameters
    ----------
    error : BaseException
        As raised.
    table : mapping
        `RAWPY` or `FLASHRAW`.
    path : str
        The file.
    detail : str or None
        What the decoder said, when it helps.

    Returns
    -------
    CaptureError
        The nearest class of the table by the error's own class order.

    Raises
    ------
    BaseException
        The error itself when the table does not know it: a defect must not be taken for a bad file.
    """
    for cls in type(error).__mro__:
        if cls.__name__ in table:
            ours, cause = table[cls.__name__]
            return ours(path, f"{cause} ({detail})" if detail else cause)
    raise error
