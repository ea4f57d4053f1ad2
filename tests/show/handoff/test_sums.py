"""The list of checksums is what the ordinary tool writes and checks (GNU coreutils manual, "sha2 utilities")."""

from __future__ import annotations

import hashlib
import os
import subprocess
from dataclasses import replace
from pathlib import Path
from shutil import which

import pytest

from qc.show.handoff.sums import line, sums
from tests.show.handoff.days import day, frame

TOOL = which("sha256sum")

tool = pytest.mark.skipif(TOOL is None, reason="GNU coreutils' sha256sum is not installed")

NAMES = [
    b"SB_0001.dng",
    b"a b.dng",
    b"back\\slash.dng",
    b"line\nfeed.dng",
    b"*star.dng",
    b" space.dng",
    b"\xff.dng",
]


@tool
@pytest.mark.parametrize("name", NAMES)
def test_a_line_is_the_one_that_the_tool_writes(name: bytes, tmp_path: Path) -> None:
    (tmp_path / os.fsdecode(name)).write_bytes(b"stoneware")
    done = subprocess.run([b"sha256sum", b"--", name], cwd=tmp_path, capture_output=True, check=True)
    assert line(hashlib.sha256(b"stoneware").hexdigest(), os.fsdecode(name)) == done.stdout


def test_backslash_line_feed_and_carriage_return_are_escaped_and_the_line_says_so() -> None:
    # GNU coreutils manual, "md5sum invocation": a backslash begins the line; \n, \r and \\ stand for the signs
    assert line("ab", "a\\b\nc\rd.dng") == b"\\ab  a\\\\b\\nc\\rd.dng\n"


@tool
def test_a_flipped_bit_and_a_missing_file_are_found_by_the_tool(tmp_path: Path) -> None:
    captures = []
    for number, path in enumerate(("SB_0001.dng", "sub/SB_0002.dng", "SB_0003.dng"), 1):
        place = tmp_path / path
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(bytes([number]) * 100)
        one = frame(number, place.name, folder=path.removesuffix(place.name))
        sha256 = hashlib.sha256(place.read_bytes()).hexdigest()
        captures.append(replace(one, result=replace(one.result, file=replace(one.result.file, sha256=sha256))))
    listed = tmp_path / "sums"
    listed.write_bytes(b"".join(sums(day(*captures))))

    def failed() -> list[str]:
        command = ["sha256sum", "-c", "--strict", "--quiet", "sums"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
        return done.stdout.splitlines()

    assert failed() == []
    data = bytearray((tmp_path / "sub" / "SB_0002.dng").read_bytes())
    data[50] ^= 1
    (tmp_path / "sub" / "SB_0002.dng").write_bytes(data)
    (tmp_path / "SB_0003.dng").unlink()
    assert failed() == ["sub/SB_0002.dng: FAILED", "SB_0003.dng: FAILED open or read"]


def test_a_capture_that_lies_under_two_paths_has_a_line_for_each_and_one_never_read_has_none() -> None:
    twice = replace(frame(1), paths=("SB_0001.dng", "copy.dng", "gone.dng"), held=("SB_0001.dng", "copy.dng"))
    unread = frame(2, state="unreadable")
    unread = replace(unread, result=replace(unread.result, file=replace(unread.result.file, sha256=None)))
    names = [each.split(b"  ")[1] for each in sums(day(twice, unread))]
    assert names == [b"SB_0001.dng\n", b"copy.dng\n"]


def test_a_file_without_bytes_has_the_digest_of_nothing() -> None:
    # SHA-256 of the empty message: NIST CAVP, SHA256ShortMsg.rsp, Len = 0 (from memory; sha256sum /dev/null)
    one = frame(1, state="empty")
    one = replace(one, result=replace(one.result, file=replace(one.result.file, sha256=None)))
    (only,) = sums(day(one))
    assert only.startswith(b"e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  ")
