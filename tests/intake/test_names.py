"""Which names are captures, and which belong together."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.container.kinds import UNREAD, FileKind
from qc.container.suffixes import PICTURE_SUFFIXES
from qc.intake.names import is_capture, is_raw, is_searched, stem_key


@pytest.mark.parametrize(
    "name",
    [
        "SB_0001.dng",
        "SB_0001.JPG",
        "a.CR3",
        "b.NeF",
        "glaze (2).tif",
        "größe.jpeg",
        "x.y.ARW",
        os.fsdecode(b"\xe9.raf"),
    ],
)
def test_a_picture_of_a_camera_is_a_capture_in_any_case(name: str) -> None:
    assert is_capture(name)


@pytest.mark.parametrize(
    "name",
    [
        *("._SB_0001.JPG", ".SB_0001.dng", ".DS_Store", "Thumbs.db", "desktop.ini", "~$SB_0001.jpg"),
        *("SB_0001.dng.partial", "SB_0001.dng.part", "SB_0001.tmp", "SB_0001.jpg~", "SB_0001.JPG.tmp"),
        *("SB_0001.xmp", "SB_0001.JPG.xmp", "SB_0001.wav", "SB_0001.mov", "log.sqlite3", "log.sqlite3-wal"),
        *("report.html", "dng", ".dng", "", "SB_0001", "SB_0001."),
    ],
)
def test_sidecars_hidden_and_temporary_names_are_no_captures(name: str) -> None:
    assert not is_capture(name)


def test_every_kind_that_the_container_names_by_its_suffix_can_arrive() -> None:
    unnamed = {"TIFF_RAW", "OTHER_PICTURE", "APPLE_DOUBLE", "BLANK", "UNKNOWN", "JPEG_XL"}
    suffixes = {f".{kind.name.lower()}" for kind in FileKind if kind.name not in unnamed}
    assert suffixes <= PICTURE_SUFFIXES
    assert FileKind.JPEG_XL in UNREAD
    assert ".jxl" in PICTURE_SUFFIXES


@pytest.mark.parametrize("name", [".cache", "SHOOT.qc", "Shoot.QC", "$RECYCLE.BIN", "System Volume Information"])
def test_hidden_folders_a_systems_own_and_our_output_are_not_looked_into(name: str) -> None:
    assert not is_searched(name)
    assert is_searched("front view")


def test_raw_and_picture_of_one_press_share_a_key_and_a_copy_does_not() -> None:
    key = stem_key("/day/SB_0001.dng")
    assert stem_key("/day/sb_0001.JPG") == key
    assert stem_key("/other/SB_0001.JPG") != key
    assert stem_key("/day/SB_0001 (1).JPG") != key
    assert stem_key("/day/SB_0001.JPG.xmp") != key
    assert stem_key("/day/gr\u00fcn.dng") == stem_key("/day/gru\u0308n.JPG")


def test_a_raw_is_told_by_its_suffix() -> None:
    assert is_raw("SB_0001.DNG")
    assert not is_raw("SB_0001.TIF")
    assert not is_raw("SB_0001.jpg")


@given(st.binary(min_size=1, max_size=40).filter(lambda name: b"\0" not in name and b"/" not in name))
def test_any_name_that_a_file_can_have_is_judged(name: bytes) -> None:
    text = os.fsdecode(name)
    assert is_capture(text) in (True, False)
    assert stem_key("/day/" + text)[0] == "/day"
    assert is_capture(text + ".dng") is not text.startswith((".", "~$"))
