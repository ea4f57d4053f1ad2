"""A second drive against the log: every way in which a copy can be wrong is found, and nothing is touched."""

from __future__ import annotations

import os
import shutil
import tracemalloc
from dataclasses import replace
from pathlib import Path

import pytest

from qc.container.source import load
from qc.copies import Comparison, Progress, check_other, compare
from qc.errors import CaptureError, UsageError
from qc.log.log import Log
from qc.result import FileFacts
from tests.log.made import captured, measured, order

NAMES = ("SB_0001.dng", "SB_0002.dng", "SB_0003.dng", "sub/SB_0004.dng")


class Drives:
    """A folder of captures that is logged by what its files hold, and the start of a copy of it."""

    def __init__(self, root: Path) -> None:
        self.folder, self.other, self.out = root / "bottles", root / "second", root / "bottles.qc"
        self.folder.mkdir()
        self.number = 0

    def put(
        self, path: str, data: bytes, *, companions: tuple[str, ...] = (), replaces: tuple[str, ...] = ()
    ) -> str:
        self.number += 1
        place = self.folder / path
        place.parent.mkdir(exist_ok=True)
        place.write_bytes(data)
        file = FileFacts(path=str(place), name=place.name, companions=companions)
        try:
            loaded = load(place)
            file = replace(file, bytes=loaded.size, content=loaded.content, sha256=loaded.sha256)
        except CaptureError as error:
            file = replace(file, state=error.state)  # type: ignore[arg-type]  # the class says one of them
        return self.log(path, file, replaces)

    def log(self, path: str, file: FileFacts, replaces: tuple[str, ...] = ()) -> str:
        one = captured(self.number, path, order=order(self.number, path), replaces=replaces)
        key = replace(one.key, content=file.content)
        with Log.open(self.out) as log:
            log.add(replace(one, result=measured(self.number, file=file, digest=None), key=key))
        return file.content or ""

    def copy(self) -> None:
        shutil.copytree(self.folder, self.other)

    def compared(self) -> Comparison:
        with Log.open(self.out, create=False, read_only=True) as log:
            return compare(log, self.other)


@pytest.fixture
def drives(tmp_path: Path) -> Drives:
    drives = Drives(tmp_path)
    for number, name in enumerate(NAMES):
        drives.put(name, bytes([number]) * 5000)
    return drives


def test_a_copy_to_the_last_bit_is_complete_also_without_the_captures(drives: Drives) -> None:
    drives.copy()
    shutil.rmtree(drives.folder)
    found = drives.compared()
    assert found == Comparison(same=NAMES, bytes=20_000)
    assert found.complete


def test_one_flipped_bit_is_found(drives: Drives) -> None:
    drives.copy()
    place = drives.other / "SB_0002.dng"
    data = bytearray(place.read_bytes())
    data[2500] ^= 0b100
    place.write_bytes(data)
    found = drives.compared()
    assert found.differing == (("SB_0002.dng", "other bytes than when it was logged"),)
    assert (found.same, found.complete) == (tuple(n for n in NAMES if n != "SB_0002.dng"), False)


def test_a_cut_file_and_one_that_is_not_there_are_found(drives: Drives) -> None:
    drives.copy()
    os.truncate(drives.other / "SB_0001.dng", 4000)
    (drives.other / "sub" / "SB_0004.dng").unlink()
    found = drives.compared()
    assert [path for path, _ in found.differing] == ["SB_0001.dng"]
    assert (found.missing, found.complete) == (("sub/SB_0004.dng",), False)


def test_a_capture_under_another_name_is_there(drives: Drives) -> None:
    drives.copy()
    (drives.other / "SB_0003.dng").rename(drives.other / "sub" / "bottle three.dng")
    found = drives.compared()
    assert found.renamed == (("SB_0003.dng", "sub/bottle three.dng"),)
    assert (found.missing, found.extra, found.complete) == ((), (), True)


def test_two_captures_that_changed_their_names_differ_and_say_what_they_hold(drives: Drives) -> None:
    drives.copy()
    first, second = drives.other / "SB_0001.dng", drives.other / "SB_0002.dng"
    first.rename(drives.other / "aside")
    second.rename(first)
    (drives.other / "aside").rename(second)
    found = drives.compared()
    assert found.differing == (("SB_0001.dng", "it holds SB_0002.dng"), ("SB_0002.dng", "it holds SB_0001.dng"))


def test_what_the_log_does_not_know_is_extra_and_no_fault_of_the_copy(drives: Drives) -> None:
    drives.copy()
    (drives.other / "SB_0099.dng").write_bytes(b"another day")
    (drives.other / "again.dng").write_bytes((drives.folder / "SB_0001.dng").read_bytes())
    (drives.other / "notes.txt").write_text("no capture")
    (drives.other / "._SB_0001.dng").write_bytes(b"another system's companion")
    found = drives.compared()
    assert (found.extra, found.complete) == (("SB_0099.dng", "again.dng"), True)


def test_a_picture_beside_a_raw_is_there_and_not_checked_or_missing(drives: Drives) -> None:
    drives.put("SB_0010.dng", b"raw", companions=("SB_0010.jpg",))
    drives.put("sub/SB_0011.dng", b"raw 11", companions=("SB_0011.jpg",))
    (drives.folder / "SB_0010.jpg").write_bytes(b"picture")
    drives.copy()
    found = drives.compared()
    assert (found.unchecked, found.missing, found.extra) == (("SB_0010.jpg",), ("sub/SB_0011.jpg",), ())


def test_a_picture_that_came_before_its_raw_was_logged_and_is_checked(drives: Drives) -> None:
    content = drives.put("SB_0010.jpg", b"picture")
    drives.put("SB_0010.dng", b"raw", companions=("SB_0010.jpg",), replaces=(content,))
    drives.copy()
    assert "SB_0010.jpg" in drives.compared().same
    (drives.other / "SB_0010.jpg").write_bytes(b"pictura")
    assert drives.compared().differing == (("SB_0010.jpg", "other bytes than when it was logged"),)


def test_a_copy_made_before_a_name_got_another_capture_is_told_as_that(drives: Drives) -> None:
    drives.copy()
    drives.put("SB_0001.dng", b"shot again")
    assert drives.compared().differing == (("SB_0001.dng", "an earlier content of this name"),)


def test_a_link_is_no_copy(drives: Drives) -> None:
    drives.copy()
    place = drives.other / "SB_0001.dng"
    place.unlink()
    place.symlink_to(drives.folder / "SB_0001.dng")
    found = drives.compared()
    assert (found.unread, found.missing, found.complete) == ((("SB_0001.dng", "a link, not a copy"),), (), False)


def test_a_file_that_cannot_be_read_is_named_with_its_cause(
    drives: Drives, monkeypatch: pytest.MonkeyPatch
) -> None:
    drives.copy()
    opened = os.open

    def refusing(path: Path, flags: int) -> int:
        if Path(path).name == "SB_0002.dng":
            raise OSError(5, "Input/output error")
        return opened(path, flags)

    monkeypatch.setattr(os, "open", refusing)
    found = drives.compared()
    assert (found.unread, found.complete) == ((("SB_0002.dng", "Input/output error"),), False)
    assert len(found.same) == 3


def test_files_without_bytes_and_files_never_read_are_told_apart(drives: Drives) -> None:
    drives.put("empty.dng", b"")
    drives.number += 1
    drives.log("locked.dng", FileFacts(path="/day/locked.dng", name="locked.dng", state="unreadable"))
    drives.number += 1
    drives.log("gone.dng", FileFacts(path="/day/gone.dng", name="gone.dng", state="vanished"))
    drives.copy()
    found = drives.compared()
    assert ("empty.dng" in found.same, found.missing, found.unchecked) == (True, ("locked.dng",), ())
    (drives.other / "locked.dng").write_bytes(b"it could be read there")
    assert drives.compared().unchecked == ("locked.dng",)


@pytest.mark.parametrize(
    "name", [b"a#b%20.dng", b'"quoted".dng', b"<b>.dng", b"\xff\xfe.dng", b"n\nl.dng", b"x" * 200]
)
def test_odd_names_are_compared_like_others(drives: Drives, name: bytes) -> None:
    path = os.fsdecode(name.removesuffix(b".dng") + b".dng")
    drives.put(path, b"odd")
    drives.copy()
    assert path in drives.compared().same
    (drives.other / path).write_bytes(b"odb")
    assert [differing for differing, _ in drives.compared().differing] == [path]


def test_nothing_on_either_drive_is_touched(drives: Drives) -> None:
    drives.copy()
    places = [path for root in (drives.folder, drives.other) for path in (root, *root.rglob("*"))]
    before = [(path, s.st_mtime_ns, s.st_ctime_ns, s.st_size) for path in places for s in [path.stat()]]
    drives.compared()
    after = [path for root in (drives.folder, drives.other) for path in (root, *root.rglob("*"))]
    assert [(path, s.st_mtime_ns, s.st_ctime_ns, s.st_size) for path in after for s in [path.stat()]] == before


def test_large_files_are_read_in_pieces_and_progress_is_told(drives: Drives) -> None:
    drives.copy()
    with (drives.other / "SB_0099.dng").open("wb") as file:
        file.truncate(100_000_000)
    told: list[Progress] = []
    tracemalloc.start()
    with Log.open(drives.out, create=False, read_only=True) as log:
        compare(log, drives.other, on_progress=told.append)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 10_000_000
    assert told[-1] == Progress(5, 5, 100_020_000, 100_020_000)
    assert [one.bytes for one in told] == sorted(one.bytes for one in told)
    assert len(told) > 90


def test_a_second_drive_that_is_not_there_is_wrong_use(drives: Drives) -> None:
    with pytest.raises(UsageError, match="second: cannot be looked into: No such file"):
        drives.compared()


def test_the_captures_never_pass_for_their_own_copy(drives: Drives, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(drives.folder)
    for place in (drives.folder, tmp_path / "link", tmp_path):
        with pytest.raises(UsageError, match="captures"):
            check_other(drives.folder, place)
    drives.copy()
    assert check_other(drives.folder, drives.other) == f"{drives.other} lies on the same disk as the captures"
    shutil.rmtree(drives.folder)
    assert check_other(drives.folder, drives.other) == ""
