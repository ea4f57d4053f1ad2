"""Every error class of both raw decoders has one of ours."""

from __future__ import annotations

import numpy as np
import pytest

from qc.decode.mapping import FLASHRAW, RAWPY, capture_error
from qc.decode.with_flashraw import WithFlashraw, installed
from qc.decode.with_rawpy import WithRawpy
from qc.errors import CaptureError, DamagedError, TruncatedError
from qc.rehearse.dng import encode_dng


def exceptions(module: object) -> set[str]:
    found = (getattr(module, name) for name in dir(module))
    return {v.__name__ for v in found if isinstance(v, type) and issubclass(v, BaseException)}


def test_the_table_of_rawpy_is_complete() -> None:
    import rawpy._rawpy

    classes = exceptions(rawpy._rawpy)
    assert len(classes) >= 18
    assert classes <= set(RAWPY)


def test_the_table_of_flashraw_is_complete() -> None:
    flashraw = pytest.importorskip("flashraw")
    classes = exceptions(flashraw)
    assert len(classes) >= 14
    assert classes <= set(FLASHRAW)
    assert {f"{kind}Error" for kind in flashraw.ERROR_KINDS} <= set(FLASHRAW)


@pytest.mark.parametrize("table", [RAWPY, FLASHRAW])
def test_every_row_makes_an_error_that_names_the_file(table: dict[str, object]) -> None:
    for name in table:
        error = capture_error(type(name, (Exception,), {})(), table, "a.dng", detail="said so")  # type: ignore[arg-type]
        assert isinstance(error, CaptureError)
        assert str(error).startswith("a.dng: ")
        assert str(error).endswith("(said so)")


def test_an_error_that_no_table_knows_is_not_taken_for_a_bad_file() -> None:
    with pytest.raises(ZeroDivisionError):
        capture_error(ZeroDivisionError(), RAWPY, "a.dng")


def _broken() -> list[bytes]:
    rng = np.random.default_rng(2)
    mosaic = rng.integers(0, 16383, (96, 128), dtype=np.uint16)
    whole = [
        encode_dng(mosaic, white=16383),
        encode_dng(mosaic, white=16383, compression="ljpeg", tile=(48, 64)),
    ]
    cases = [b"", b"II*\0", b"not a raw at all" * 100]
    for data in whole:
        cases += [data[: int(len(data) * part)] for part in np.linspace(0.0, 0.999, 23)]
        for _ in range(40):
            spoilt = bytearray(data)
            for at in rng.integers(0, len(data), 12):
                spoilt[at] = int(rng.integers(0, 256))
            cases.append(bytes(spoilt))
        for _ in range(20):  # the tags are where decoders trip
            spoilt = bytearray(data)
            for at in rng.integers(0, 700, 4):
                spoilt[at] = int(rng.integers(0, 256))
            cases.append(bytes(spoilt))
    return cases


@pytest.mark.parametrize("decoder", [WithRawpy(), *([WithFlashraw()] if installed() else [])])
def test_cut_and_spoilt_files_raise_nothing_foreign(decoder: WithRawpy | WithFlashraw) -> None:
    refused = 0
    for data in _broken():
        try:
            decoder.read(data, "x.dng")
        except CaptureError:
            refused += 1
    assert refused > 40


def test_a_cut_file_is_truncated_and_a_spoilt_one_damaged() -> None:
    mosaic = np.random.default_rng(2).integers(0, 16383, (96, 128), dtype=np.uint16)
    with pytest.raises(TruncatedError):
        WithRawpy().read(encode_dng(mosaic, white=16383)[:-4000], "x.dng")
    data = bytearray(encode_dng(mosaic, white=16383, compression="ljpeg"))
    data[-6000:-5000] = b"\xff" * 1000
    with pytest.raises(DamagedError):
        WithRawpy().read(bytes(data), "x.dng")


def test_flashraw_names_the_same_states() -> None:
    pytest.importorskip("flashraw")
    mosaic = np.random.default_rng(2).integers(0, 16383, (96, 128), dtype=np.uint16)
    with pytest.raises(TruncatedError):
        WithFlashraw().read(encode_dng(mosaic, white=16383)[:-4000], "x.dng")
