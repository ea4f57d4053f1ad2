"""Text that C code prints to file descriptor 2 is caught, and the descriptor is given back."""

from __future__ import annotations

import os
import sys

import pytest

from qc.decode.complaints import complaints


def test_what_is_written_past_sys_stderr_is_collected() -> None:
    with complaints() as lines:
        os.write(2, b"first\n\nsecond \xff\n")
    assert lines == ["first", "second \\xff"]


def test_lines_survive_an_exception_in_the_block() -> None:
    kept: list[list[str]] = []

    def fail() -> None:
        with complaints() as lines:
            kept.append(lines)
            os.write(2, b"said before failing\n")
            raise KeyError

    with pytest.raises(KeyError):
        fail()
    assert kept == [["said before failing"]]


def test_standard_error_works_again_afterwards(capfd: pytest.CaptureFixture[str]) -> None:
    with complaints():
        os.write(2, b"hidden\n")
    os.write(2, b"shown\n")
    sys.stderr.flush()
    assert capfd.readouterr().err == "shown\n"


def test_blocks_may_nest() -> None:
    with complaints() as outer:
        os.write(2, b"a\n")
        with complaints() as inner:
            os.write(2, b"b\n")
        os.write(2, b"c\n")
    assert (outer, inner) == (["a", "c"], ["b"])
