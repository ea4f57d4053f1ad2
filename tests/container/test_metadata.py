"""Settings: what the camera wrote is read, and what stands for "not recorded" is None.

Reference: Exif 2.32 (CIPA DC-008) 4.6; exifread and Pillow as independent readers; TRAPS D.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import exifread
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from PIL.TiffImagePlugin import IFDRational

from qc.container.kinds import FileKind, kind_of
from qc.container.metadata import colour_space, settings_tree
from qc.container.metadata import settings as read_settings
from qc.frame import Camera


def jpeg(exif: Mapping[int, Any], main: Mapping[int, Any] | None = None, interop: str | None = None) -> bytes:
    out = io.BytesIO()
    tags = Image.Exif()
    for tag, value in (main or {}).items():
        tags[tag] = value
    directory = tags.get_ifd(0x8769)
    directory.update(exif)
    if interop:
        directory[0xA005] = {1: interop}
    Image.new("RGB", (8, 8)).save(out, "JPEG", exif=tags)
    return out.getvalue()


def camera(exif: Mapping[int, Any], main: Mapping[int, Any] | None = None) -> Camera:
    return read_settings(jpeg(exif, main), FileKind.JPEG)[0]


def ratio(numerator: int, denominator: int) -> IFDRational:
    return IFDRational(numerator, denominator)


def test_every_setting_is_read() -> None:
    found = camera(
        {
            33434: ratio(1, 160),
            33437: ratio(11, 1),
            34855: 100,
            37386: ratio(90, 1),
            37382: ratio(62, 100),
            36867: "2026:11:25 10:00:07",
            37521: "25",
            36881: "+01:00",
            42033: "0042",
            42036: "90 mm macro",
        },
        {271: "Bench ", 272: "Camera\0one"},
    )
    assert found == Camera(
        make="Bench",
        model="Camera",
        serial="0042",
        lens="90 mm macro",
        iso=100.0,
        shutter_s=1 / 160,
        aperture=11.0,
        focal_mm=90.0,
        focus_m=0.62,
        taken="2026-11-25T10:00:07.250+01:00",
    )


def test_a_file_without_exif_records_nothing() -> None:
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "JPEG")
    assert read_settings(out.getvalue(), FileKind.JPEG) == (Camera(), 1)


@pytest.mark.parametrize(
    ("tag", "value", "field"),
    [
        *((33434, ratio(*v), "shutter_s") for v in ((0, 1), (0, 0), (1, 0), (0, 1000000))),
        *((33437, ratio(*v), "aperture") for v in ((0, 10), (0, 0), (1, 0))),
        *((37386, ratio(*v), "focal_mm") for v in ((0, 1), (0, 0), (1, 0))),
        *((37382, ratio(*v), "focus_m") for v in ((0, 1), (0, 0), (0xFFFFFFFF, 1))),
        *((34855, v, "iso") for v in (0, 65535)),
        *((42036, v, "lens") for v in ("", "   ", "----")),
        *(
            (36867, v, "taken")
            for v in (
                "",
                "    :  :     :  :  ",
                "0000:00:00 00:00:00",
                "1970:01:01 00:00:00",
                "2026:13:01 00:00:00",
                "2026:11:25 24:00:00",
            )
        ),
    ],
)
def test_what_stands_for_not_recorded_is_none(tag: int, value: Any, field: str) -> None:
    assert getattr(camera({tag: value}), field) is None


def test_a_zero_exposure_time_does_not_become_one_second_by_its_apex_value() -> None:
    found = camera({33434: ratio(0, 1000000), 37377: ratio(0, 1), 33437: ratio(0, 10), 37378: ratio(0, 1)})
    assert (found.shutter_s, found.aperture) == (None, None)


def test_apex_values_serve_where_nothing_else_is_written() -> None:
    found = camera({37377: ratio(7, 1), 37378: ratio(6, 1)})
    assert (found.shutter_s, found.aperture) == (1 / 128, 8.0)


def test_a_sensitivity_that_16_bits_cannot_hold_is_found_in_its_other_tag() -> None:
    assert camera({34855: 65535, 34866: 102400}).iso == 102400
    assert camera({34855: 65535, 34867: 204800}).iso == 204800


@pytest.mark.parametrize(
    ("subsec", "offset", "ending"),
    [
        (None, None, ""),
        ("5", "+09:00", ".500+09:00"),
        ("06", "-03:30", ".060-03:30"),
        ("123456", None, ".123"),
        ("  ", "   :  ", ""),
        (None, "+0", ""),
        (None, "+25:00", ""),
    ],
)
def test_fraction_and_offset_are_there_only_when_recorded(
    subsec: str | None, offset: str | None, ending: str
) -> None:
    tags = {36867: "2026:11:25 02:30:00", 37521: subsec, 36881: offset}
    found = camera({tag: value for tag, value in tags.items() if value is not None})
    assert found.taken == "2026-11-25T02:30:00" + ending


def test_the_time_a_file_was_changed_is_not_when_it_was_taken() -> None:
    assert camera({}, {306: "2026:11:25 10:00:00"}).taken is None


@pytest.mark.parametrize(
    ("stored", "words"),
    [
        ([(24, 1), (70, 1), (28, 10), (28, 10)], "24–70 mm f/2.8"),
        ([(90, 1), (90, 1), (28, 10), (28, 10)], "90 mm f/2.8"),
        ([(18, 1), (55, 1), (35, 10), (56, 10)], "18–55 mm f/3.5–5.6"),
        ([(90, 1), (90, 1), (0, 0), (0, 0)], "90 mm"),
        ([(0, 0), (0, 0), (0, 0), (0, 0)], None),
    ],
)
def test_a_lens_without_a_name_is_told_by_its_figures(stored: list[tuple[int, int]], words: str | None) -> None:
    assert camera({42034: tuple(ratio(*pair) for pair in stored)}).lens == words


@pytest.mark.parametrize(("stored", "read"), [*((n, n) for n in range(1, 9)), (0, 1), (9, 1), (None, 1)])
def test_orientation_is_one_to_eight(stored: int | None, read: int) -> None:
    assert read_settings(jpeg({}, {} if stored is None else {274: stored}), FileKind.JPEG)[1] == read


@pytest.mark.parametrize(
    ("space", "interop", "words"),
    [
        (1, "R98", "sRGB"),
        (1, None, "sRGB"),
        (65535, "R03", "Adobe RGB"),
        (65535, None, None),
        (65535, "R98", None),
        (2, None, "Adobe RGB"),
        (None, None, None),
    ],
)
def test_the_colour_space_is_what_exif_says(space: int | None, interop: str | None, words: str | None) -> None:
    data = jpeg({} if space is None else {40961: space}, interop=interop)
    assert colour_space(settings_tree(data, FileKind.JPEG)) == words


def test_a_png_keeps_its_settings_in_its_own_chunk() -> None:
    exif = Image.Exif()
    exif[272] = "bench"
    exif[274] = 8
    out = io.BytesIO()
    Image.new("RGB", (8, 8)).save(out, "PNG", exif=exif)
    found, orientation = read_settings(out.getvalue(), FileKind.PNG)
    assert (found.model, orientation) == ("bench", 8)


EXIFREAD = {
    "shutter_s": ("EXIF ExposureTime", "Image ExposureTime"),
    "aperture": ("EXIF FNumber", "Image FNumber"),
    "focal_mm": ("EXIF FocalLength", "Image FocalLength"),
    "focus_m": ("EXIF SubjectDistance", "Image SubjectDistance"),
    "iso": ("EXIF ISOSpeedRatings",),
}


@pytest.mark.parametrize(
    "name",
    [
        "jpg_adobergb_350d.jpg",
        "jpg_ambient_g2.jpg",
        "jpg_rot6_5d3.jpg",
        "k120_08.kdc",
        "k50_0008L.kdc",
        "linear_lossy_dark.dng",
        "action_hero6.gpr",
    ],
)
def test_real_settings_are_those_that_exifread_reads(captures: Path, name: str) -> None:
    data = (captures / name).read_bytes()
    found, orientation = read_settings(data, kind_of(data))
    tags = exifread.process_file(io.BytesIO(data), details=False)
    for field, keys in EXIFREAD.items():
        stored = next((tags[key].values[0] for key in keys if key in tags), None)
        value = getattr(found, field)
        if value is None:
            assert stored is None or getattr(stored, "num", stored) in (0, 0xFFFFFFFF)
        else:
            assert stored is not None
            assert value == pytest.approx(float(stored))
    assert str(tags["Image Model"]).strip() == found.model
    assert tags["Image Orientation"].values == [orientation]


def test_settings_of_a_cut_cr3_come_from_its_own_boxes(captures: Path) -> None:
    found, orientation = read_settings((captures / "trunc_r6.cr3").read_bytes(), FileKind.CR3)
    assert found.lens is not None
    assert (found.iso, found.shutter_s, found.aperture, found.focal_mm) == (25600.0, 0.01, 2.8, 100.0)
    assert (found.taken, orientation) == ("2025-09-06T20:24:47.720-08:00", 1)


def test_placeholders_of_a_real_file_are_not_recorded(captures: Path) -> None:
    found, _ = read_settings((captures / "chart_dslr14.dng").read_bytes(), FileKind.DNG)
    assert (found.shutter_s, found.aperture, found.iso, found.taken) == (None, None, None, None)


def test_a_crw_keeps_no_exif(captures: Path) -> None:
    assert read_settings((captures / "ps_s40_0101.crw").read_bytes(), FileKind.CRW) == (Camera(), 1)


@settings(max_examples=200, deadline=None)
@given(st.sampled_from(FileKind), st.binary(max_size=300), st.booleans())
def test_any_bytes_have_settings(kind: FileKind, data: bytes, with_head: bool) -> None:
    head = b"\xff\xd8\xff\xe1\x01\x00Exif\0\0II*\0\x08\0\0\0" if with_head else b""
    found, orientation = read_settings(head + data, kind)
    assert isinstance(found, Camera)
    assert 1 <= orientation <= 8
