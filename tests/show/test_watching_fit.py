"""Text measured in the cells of a terminal."""

from __future__ import annotations

import unicodedata

from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from qc.show.watching.fit import cut, cut_middle, pad, tidy


@given(st.text(max_size=300))
def test_tidied_text_is_one_printable_line_without_heaps_of_marks(text: str) -> None:
    tidied = tidy(text)
    assert tidied.isprintable()
    heaps = ["Mn" if unicodedata.category(sign) in ("Mn", "Me") else "x" for sign in tidied]
    assert "Mn Mn Mn" not in " ".join(heaps)


@given(st.text(max_size=300), st.integers(0, 60))
def test_cut_text_has_at_most_its_cells(text: str, cells: int) -> None:
    text = tidy(text)
    for shorter in (
        cut(text, cells),
        cut_middle(text, cells),
        cut(text, cells, dots="..."),
        cut_middle(text, cells),
    ):
        assert cell_len(shorter) <= cells


@given(st.text(max_size=50))
def test_text_that_fits_is_not_cut(text: str) -> None:
    text = tidy(text)
    assert cut(text, cell_len(text)) == cut_middle(text, cell_len(text)) == text


def test_a_name_is_cut_in_the_middle_so_that_its_number_stays() -> None:
    assert cut_middle("stoneware_bottles_front_0042.dng", 20) == "stoneware…t_0042.dng"


def test_wide_signs_count_two_cells() -> None:
    assert cut("瓶子瓶子瓶子", 7) == "瓶子瓶…"
    assert pad("瓶子", 6) == "瓶子  "


def test_control_and_direction_signs_are_written_out() -> None:
    assert tidy("a\x1b[31m\u202eb\n") == "a\\x1b[31m\\u202eb\\n"
