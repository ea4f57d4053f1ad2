"""A file name has a counter where it is sure, and else none."""

from __future__ import annotations

import pytest

from qc.series.wrap.counter import Counter, counter_of


@pytest.mark.parametrize(
    ("name", "prefix", "number", "width"),
    [
        ("SB_0013.dng", "SB_", 13, 4),
        ("0013.dng", "", 13, 4),
        ("bottles 00013.tif", "bottles ", 13, 5),
        ("AB013.JPG", "AB", 13, 3),
        (
            "P1019999.raw",
            "P101",
            9999,
            4,
        ),  # eight characters: four free ones and the number (DCF 2.0, from memory)
        ("SB_20261125_0013.dng", "SB_20261125_", 13, 4),
        ("caf\udce9_0013.dng", "caf\udce9_", 13, 4),
    ],
)
def test_the_counter_is_the_number_at_the_end_of_the_stem(name: str, prefix: str, number: int, width: int) -> None:
    assert counter_of(name) == Counter(prefix=prefix, number=number, width=width)


@pytest.mark.parametrize(
    "name",
    [
        "front.dng",
        "front-1.dng",
        "front 12.dng",
        "SB_0013_edit.dng",
        "2026-11-25.dng",
        "20261125.dng",
        "SB_20261125.dng",
        "SB_20261125_093045.jpg",
        "SB_0013.dng.xmp",
        ".dng",
        "",
    ],
)
def test_a_name_that_counts_nothing_has_no_counter(name: str) -> None:
    assert counter_of(name) is None


@pytest.mark.parametrize(
    "name", ["SB_0013 (1).dng", "SB_0013(12).dng", "SB_0013-2.dng", "SB_0013_2.dng", "SB_0013 2.dng"]
)
def test_a_second_file_of_a_number_is_no_number_of_its_own(name: str) -> None:
    assert counter_of(name) == Counter(prefix="SB_", number=13, width=4, copy=True)


def test_names_of_one_counter_have_a_key_in_common() -> None:
    # the optional colour space moves the underscore to the front (DCF 2.0, from memory)
    keys = {
        counter.key for name in ("DSC_0013.JPG", "_DSC0014.JPG", "dsc_0015.jpg") if (counter := counter_of(name))
    }
    assert keys == {"dsc"}


def test_the_next_name_of_a_sequence_has_the_same_width() -> None:
    counter = counter_of("SB_0013.dng")
    assert counter is not None
    assert counter.name(7) == "SB_0007"
