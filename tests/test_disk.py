"""`qc.disk`: which disks are a network's, and how much room there is."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from qc import disk

TABLE = """\
/dev/sda1 / ext4 rw 0 0
systemd-1 /net autofs rw 0 0
server:/set /net nfs4 rw 0 0
//server/set /mnt/set\\040of\\040bottles cifs rw 0 0
/dev/sdb1 /mnt/card fuseblk rw 0 0
host:/home /mnt/host fuse.anything rw 0 0
tmpfs /mnt/host/local tmpfs rw 0 0
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/set", "ext4"),
        ("/network", "ext4"),
        ("/net/set/day 1", "nfs4"),
        ("/mnt/set of bottles/day 1", "cifs"),
        ("/mnt/card/DCIM", "fuseblk"),
        ("/mnt/host/day", "fuse.anything"),
        ("/mnt/host/local/day", "tmpfs"),
        ("/mnt/host/locality", "fuse.anything"),
    ],
)
def test_the_innermost_and_last_mount_above_a_path_names_its_file_system(path: str, kind: str) -> None:
    assert disk.file_system(path, TABLE) == kind


def test_a_path_that_no_mount_is_about_has_no_file_system() -> None:
    assert disk.file_system("/home", "") == ""


@pytest.mark.parametrize(
    ("kind", "answer"),
    [
        ("nfs4", True),
        ("cifs", True),
        ("fuse.anything", True),
        ("ext4", False),
        ("fuseblk", False),
        ("tmpfs", False),
    ],
)
def test_served_and_network_file_systems_are_told_from_local_ones(
    kind: str, answer: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mounts = tmp_path / "mounts"
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\nany {tmp_path} {kind} rw 0 0\n")
    monkeypatch.setattr(disk, "MOUNTS", mounts)
    assert disk.is_network(tmp_path / "not yet" / "there") is answer


def test_a_link_is_followed_to_the_disk_it_leads_to(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "far").mkdir()
    (tmp_path / "near").symlink_to("far")
    (tmp_path / "mounts").write_text(f"/dev/sda1 / ext4 rw 0 0\nany {tmp_path}/far nfs rw 0 0\n")
    monkeypatch.setattr(disk, "MOUNTS", tmp_path / "mounts")
    assert disk.is_network(tmp_path / "near" / "day")
    assert not disk.is_network(tmp_path)


def test_a_system_without_a_list_of_mounts_has_local_disks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(disk, "MOUNTS", tmp_path / "none")
    assert not disk.is_network(tmp_path)


def test_a_name_that_is_no_utf_8_is_asked_about_like_any_other(tmp_path: Path) -> None:
    folder = os.fsencode(tmp_path) + b"/bottle \xff"
    Path(os.fsdecode(folder)).mkdir()
    assert not disk.is_network(folder)
    assert disk.free_bytes(folder) == disk.free_bytes(tmp_path)


def test_free_room_is_that_of_the_disk_and_a_folder_that_is_away_has_none(tmp_path: Path) -> None:
    free = disk.free_bytes(tmp_path)
    assert free is not None
    assert free > 0
    assert disk.free_bytes(tmp_path / "away") is None
