"""Text that C code prints to file descriptor 2 is caught, and the descriptor is given back."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

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


def test_a_process_with_a_file_of_its_own_for_errors_keeps_them_there_too(tmp_path: Path) -> None:
    script = """
import os, sys
from qc.decode.complaints import complaints, stay
stay()
os.write(2, b"before\\n")
with complaints() as outer:
    os.write(2, b"a\\n")
    with complaints() as inner:
        os.write(2, b"b\\n")
os.write(2, b"after\\n")
print(outer, inner)
"""
    with (tmp_path / "said").open("w+b") as said:
        done = subprocess.run([sys.executable, "-c", script], stdout=subprocess.PIPE, stderr=said, check=True)
        said.seek(0)
        assert said.read() == b"before\na\nb\nafter\n"
    assert done.stdout == b"['a', 'b'] ['b']\n"
