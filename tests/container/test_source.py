"""A capture is read once, never touched, and every way it can fail to open has its own word."""

from __future__ import annotations

import errno
import hashlib
import os
from pathlib import Path

import pytest

from qc.container.source import load, read_pieces
from qc.errors import CaptureError, EmptyError, UnreadableError, VanishedError


def test_a_file_is_loaded_with_what_identifies_it(tmp_path: Path) -> None:
    path = tmp_path / "SB_0001.dng"
    path.write_bytes(b"II*\0 stoneware")
    facts = path.stat()
    loaded = load(path)
    assert (loaded.path, loaded.name, loaded.data) == (path, "SB_0001.dng", b"II*\0 stoneware")
    assert (loaded.size, loaded.mtime_ns, loaded.inode) == (14, facts.st_mtime_ns, facts.st_ino)
    assert loaded.content == "blake2b:" + hashlib.blake2b(b"II*\0 stoneware", digest_size=32).hexdigest()


def test_content_does_not_depend_on_the_name(tmp_path: Path) -> None:
    for name in ("a.jpg", "b.dng"):
        (tmp_path / name).write_bytes(b"same")
    assert load(tmp_path / "a.jpg").content == load(str(tmp_path / "b.dng")).content


def test_loading_leaves_a_read_only_file_as_it_was(tmp_path: Path) -> None:
    path = tmp_path / "a.dng"
    path.write_bytes(b"x")
    path.chmod(0o444)
    os.utime(path, ns=(10**18, 10**18))
    before = path.stat()
    load(path)
    after = path.stat()
    assert [after.st_mtime_ns, after.st_ctime_ns, after.st_mode] == [
        before.st_mtime_ns,
        before.st_ctime_ns,
        before.st_mode,
    ]
    if hasattr(os, "O_NOATIME"):
        assert after.st_atime_ns == before.st_atime_ns


def test_a_name_that_is_not_utf_8_is_loaded_and_printable(tmp_path: Path) -> None:
    path = os.fsencode(tmp_path) + b"/bott\xe9\n.dng"
    try:
        with open(path, "wb") as file:  # noqa: PTH123  # pathlib takes no bytes
            file.write(b"x")
    except OSError:
        pytest.skip("this file system takes UTF-8 names only")
    for spelling in (path, os.fsdecode(path), Path(os.fsdecode(path))):
        assert load(spelling).name == "bott\\xe9\\n.dng"


def test_a_missing_file_has_vanished(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"x")
    for path in (tmp_path / "none.dng", tmp_path / "none" / "a.dng", tmp_path / "file" / "a.dng"):
        with pytest.raises(VanishedError, match="no such file"):
            load(path)


def test_a_file_without_bytes_is_empty(tmp_path: Path) -> None:
    (tmp_path / "a.dng").touch()
    with pytest.raises(EmptyError, match=r"a\.dng: the file is empty"):
        load(tmp_path / "a.dng")


def test_folders_pipes_and_devices_are_unreadable(tmp_path: Path) -> None:
    with pytest.raises(UnreadableError, match="a folder"):
        load(tmp_path)
    if hasattr(os, "mkfifo"):
        os.mkfifo(tmp_path / "pipe.dng")
        with pytest.raises(UnreadableError, match="device or pipe"):
            load(tmp_path / "pipe.dng")
    if Path(os.devnull).is_char_device():
        with pytest.raises(UnreadableError, match="device or pipe"):
            load(os.devnull)


def test_a_name_that_cannot_exist_is_unreadable() -> None:
    with pytest.raises(UnreadableError, match="not a possible file name"):
        load("a\0b.dng")


@pytest.mark.parametrize(
    ("number", "kind", "text"),
    [
        (errno.EACCES, UnreadableError, "no permission"),
        (errno.EIO, UnreadableError, "cannot be read: Input/output error"),
        (errno.ESTALE, UnreadableError, "cannot be read"),
        (errno.ENOENT, VanishedError, "no such file"),
    ],
)
def test_every_failure_of_the_system_is_one_of_ours(
    number: int, kind: type[CaptureError], text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(*_: object, **__: object) -> int:
        raise OSError(number, os.strerror(number))

    (tmp_path / "a.dng").write_bytes(b"x")
    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(kind, match=text):
        load(tmp_path / "a.dng")


def test_a_file_of_another_owner_is_read_where_its_access_time_may_not_be_kept(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    flag = getattr(os, "O_NOATIME", 0)
    if not flag:
        pytest.skip("this system has no such flag")
    opened = os.open

    def guarded(path: Path, flags: int) -> int:
        if flags & flag:
            raise PermissionError(errno.EPERM, "not the owner")
        return opened(path, flags)

    (tmp_path / "a.dng").write_bytes(b"x")
    monkeypatch.setattr(os, "open", guarded)
    assert load(tmp_path / "a.dng").data == b"x"


def test_the_checksum_is_that_of_fips_180_4(tmp_path: Path) -> None:
    # FIPS 180-4, example of the one-block message "abc" (NIST's SHA256.pdf); from memory, as sha256sum prints it
    path = tmp_path / "SB_0001.dng"
    path.write_bytes(b"abc")
    assert load(path).sha256 == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_a_file_of_any_length_is_read_in_pieces_of_one_size(tmp_path: Path) -> None:
    path = tmp_path / "SB_0001.dng"
    path.write_bytes(bytes(range(10)))
    assert list(read_pieces(path, 4)) == [b"\0\1\2\3", b"\4\5\6\7", b"\x08\x09"]
    path.write_bytes(b"")
    assert list(read_pieces(path)) == []
