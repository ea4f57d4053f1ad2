"""A file's description is complete for any bytes, and every real capture has the one its manifest says."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.container import Family, FileKind, inspect, load
from qc.errors import CaptureError, TruncatedError, UnreadableError, UnsupportedError

SUFFIXES = {".gpr": "DNG", ".dng": "DNG", ".jpg": "JPEG", ".kdc": "KDC", ".tif": "TIFF", ".crw": "CRW"}
CUT = {"trunc128.nef": FileKind.TIFF, "trunc_leica_m10.dng": FileKind.DNG, "trunc_r6.cr3": FileKind.CR3}
ORIENTATIONS = {
    "action_hero6.gpr": 2,
    "jpg_adobergb_350d.jpg": 8,
    "jpg_rot6_5d3.jpg": 6,
    "orient_l3.jpg": 3,
    "orient_l6.jpg": 6,
    "orient_l8.jpg": 8,
    "trunc_leica_m10.dng": 6,
}
SPACES = {
    "jpg_adobergb_350d.jpg": "Adobe RGB",
    "jpg_rot6_5d3.jpg": "Adobe RGB",
    "jpg_ambient_g2.jpg": "sRGB",
    "jpg_chart_g2.jpg": "sRGB",
    "jpg_flash_g2.jpg": "sRGB",
}


def test_every_capture_of_the_manifest_is_described(captures: Path) -> None:
    rows = [
        row["file"] for row in csv.DictReader((captures / "MANIFEST.csv").read_text(encoding="utf-8").splitlines())
    ]
    assert len(rows) > 40
    for name in rows:
        loaded = load(captures / name)
        found = inspect(loaded.data, name=loaded.name)
        if name in CUT:
            assert (name, found.kind, found.state) == (name, CUT[name], "truncated")
            assert isinstance(found.refusal(name), TruncatedError)
        else:
            assert (name, found.kind, found.state) == (name, SUFFIXES[Path(name).suffix], "whole")
            assert found.refusal(name) is None
            assert found.detail is None
        assert found.family is found.kind.family
        assert found.orientation == ORIENTATIONS.get(name, 1), name
        assert (found.dng is not None) == (found.kind is FileKind.DNG)
        if found.kind is FileKind.JPEG and not name.startswith("orient"):
            assert found.exif_space == SPACES[name]


def test_the_manifest_is_no_picture(captures: Path) -> None:
    found = inspect((captures / "MANIFEST.csv").read_bytes(), name="MANIFEST.csv")
    assert (found.family, found.state) == (Family.NONE, "unreadable")
    assert isinstance(found.refusal("MANIFEST.csv"), UnreadableError)


@pytest.mark.parametrize(
    ("data", "name", "kind", "line"),
    [
        (
            b"text",
            "SB_1.DNG",
            UnreadableError,
            "SB_1.DNG: its name ends in .dng, but its content is not",
        ),
        (b"text", "notes.txt", UnreadableError, "notes.txt: not a picture of any kind known here"),
        (b"\0\x05\x16\x07abc", "._SB_1.dng", UnreadableError, "companion file"),
        (b"\0\0\0\x18ftypheic", "SB_1.heic", UnsupportedError, "HEIC: no decoder for it is installed"),
    ],
)
def test_a_refusal_is_one_line_that_names_file_and_cause(
    data: bytes, name: str, kind: type[CaptureError], line: str
) -> None:
    refusal = inspect(data, name=name).refusal(name)
    assert isinstance(refusal, kind)
    assert line in str(refusal)
    assert "\n" not in str(refusal)


@settings(max_examples=200, deadline=None)
@given(st.binary(max_size=300), st.sampled_from([b"", b"II*\0\x08\0\0\0", b"\xff\xd8\xff", b"\0\0\0\x18ftypcrx "]))
def test_any_bytes_are_described(data: bytes, head: bytes) -> None:
    found = inspect(head + data, name="SB_1.dng")
    refusal = found.refusal("SB_1.dng")
    assert (refusal is None) == (found.state == "whole")
    assert refusal is None or refusal.state == found.state
