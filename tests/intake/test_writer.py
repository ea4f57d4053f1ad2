"""Whether anybody writes to a file, asked of the kernel while real writers hold it."""

from __future__ import annotations

import mmap
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from qc.intake import writer
from qc.intake.scan import stamp_of
from qc.intake.writer import peek, writer_of

linux = pytest.mark.skipif(sys.platform != "linux", reason="only Linux can say who writes to a file")


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "SB_0001.dng"
    path.write_bytes(b"x" * 8192)
    if writer_of(path) == "unknown":
        pytest.skip("the file system of the temporary folder has no leases")
    return path


@linux
def test_a_file_that_nobody_writes_to_has_no_writer(file: Path) -> None:
    assert writer_of(file) == "none"
    with file.open("rb"):
        assert writer_of(file) == "none"


@linux
@pytest.mark.parametrize("mode", ["r+b", "ab", "wb"])
def test_an_open_file_has_a_writer_until_it_is_closed(file: Path, mode: str) -> None:
    with file.open(mode):
        assert writer_of(file) == "some"
    assert writer_of(file) == "none"


@linux
def test_a_mapping_counts_as_a_writer_after_its_descriptor_was_closed(file: Path) -> None:
    with file.open("r+b") as opened:
        mapped = mmap.mmap(opened.fileno(), 0)
    assert writer_of(file) == "some"
    mapped.close()
    assert writer_of(file) == "none"


@linux
def test_a_writer_in_another_process_is_seen(file: Path) -> None:
    code = "import sys; f = open(sys.argv[1], 'ab'); print('open', flush=True); sys.stdin.read()"
    command = [sys.executable, "-c", code, str(file)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdin is not None
        assert other.stdout is not None
        other.stdout.readline()
        assert writer_of(file) == "some"
        other.stdin.close()
        other.wait()
    assert writer_of(file) == "none"


@linux
def test_the_question_leaves_no_trace(file: Path) -> None:
    os.utime(file, ns=(1_000_000_000, 2_000_000_000))
    before = file.stat()
    for _ in range(3):
        assert writer_of(file) == "none"
    after = file.stat()
    assert (after.st_atime_ns, after.st_mtime_ns, after.st_ctime_ns) == (
        *(before.st_atime_ns, before.st_mtime_ns, before.st_ctime_ns),
    )


@linux
def test_asking_while_writers_come_and_go_ends_nobody(file: Path) -> None:
    # SIGIO, the default of a broken lease, would end this process
    assert signal.getsignal(signal.SIGURG) is signal.SIG_DFL
    done = threading.Event()
    wrote = []

    def write() -> None:
        while not done.is_set():
            with file.open("ab") as opened:
                opened.write(b"y")
            wrote.append(1)

    thread = threading.Thread(target=write)
    thread.start()
    words = {writer_of(file) for _ in range(3000)}
    done.set()
    thread.join()
    assert words <= {"none", "some"}
    assert file.stat().st_size == 8192 + len(wrote)


def test_what_cannot_be_asked_is_unknown(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    assert writer_of(tmp_path / "missing.dng") == "unknown"
    assert writer_of(tmp_path) == "unknown"
    path = tmp_path / "SB_0001.dng"
    path.write_bytes(b"x")
    assert peek(path, network=True) == ("unknown", stamp_of(path))
    monkeypatch.setattr(writer, "_CAN_ASK", False)
    assert writer_of(path) == "unknown"


@linux
def test_a_refusal_is_unknown_and_not_taken_for_an_answer(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def refuse(*_: object) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("fcntl.fcntl", refuse)
    assert writer_of(file) == "unknown"


@linux
def test_names_that_are_not_utf8_can_be_asked_about(tmp_path: Path) -> None:
    path = os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.dng")
    Path(path).write_bytes(b"x")
    assert peek(path)[1] == stamp_of(path)
    with Path(path).open("ab"):
        assert writer_of(path) in ("some", "unknown")


def test_a_file_that_is_gone_has_no_stamp(tmp_path: Path) -> None:
    assert peek(tmp_path / "missing.dng") == ("unknown", None)
