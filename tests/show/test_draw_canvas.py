from __future__ import annotations

import numpy as np
import pytest

from qc.reading import Level, Unit
from qc.show.draw import _text
from qc.show.draw._canvas import (
    LEAST_COLUMNS,
    MARGIN,
    MOST_COLUMNS,
    MOST_ROWS,
    Caption,
    blank,
    compose,
    grey_picture,
)
from qc.show.palette import LEVELS, SURROUND, TEXT
from tests.show.pictures_of import digest_of

LONG = "SB_0012 glazed bottles, front, second pour, after the fill went to the left, final, once more_00012.dng"


@pytest.mark.parametrize("unit", list(Unit))
def test_every_unit_can_be_written(unit: Unit) -> None:
    assert "?" not in _text.plain(unit)


@pytest.mark.parametrize(
    ("text", "drawn"),
    [
        ("ΔE00", "delta E00"),
        ("−0.3 ± 0.1 %", "-0.3 ± 0.1 %"),
        ("crème brûlée", "creme brulee"),
        ("日本", "??"),
        ("", ""),
    ],
)
def test_signs_the_font_lacks_are_spelled_or_marked(text: str, drawn: str) -> None:
    assert _text.plain(text) == drawn


@pytest.mark.parametrize("room", [60, 200, 500, 900])
def test_a_long_name_is_cut_in_its_middle(room: int) -> None:
    cut = _text.cut_middle(LONG, _text.LARGE, room)
    assert _text.width(cut, _text.LARGE) <= room
    start, _, end = cut.partition("…")
    assert LONG.startswith(start)
    assert LONG.endswith(end)
    if room >= 200:
        assert abs(len(start) - len(end)) <= 1
        assert end.endswith(".dng")


def test_a_name_with_room_is_left_alone() -> None:
    assert _text.cut_middle("SB_0001.dng", _text.LARGE, 400) == "SB_0001.dng"


def test_wrapped_text_fits_and_keeps_its_words_in_order() -> None:
    words = "one two three four five six seven eight nine ten"
    lines = _text.wrap(words, _text.SMALL, 200, most=9)
    assert " ".join(lines) == words
    assert all(_text.width(line, _text.SMALL) <= 200 for line in lines)


def test_text_that_does_not_fit_says_so() -> None:
    lines = _text.wrap("word " * 100, _text.SMALL, 300)
    assert len(lines) == 2
    assert lines[-1].endswith("…")
    assert all(_text.width(line, _text.SMALL) <= 300 for line in lines)


@pytest.mark.parametrize("at", [(-30, -10), (95, 10), (10, 35), (500, 500)])
def test_text_over_the_edge_is_cut_off(at: tuple[int, int]) -> None:
    image = blank(40, 100)
    _text.write(image, "edge", at, _text.SMALL, TEXT)
    assert image.shape == (40, 100, 3)


@pytest.mark.parametrize("shape", [(1067, 1600), (1600, 1067), (100, 150), (1, 1), (30, 2000), (900, 5)])
def test_a_picture_fills_the_room_in_its_own_shape(shape: tuple[int, int]) -> None:
    rows, columns, _ = grey_picture(digest_of(shape=shape)).shape
    assert rows <= MOST_ROWS
    assert columns <= MOST_COLUMNS
    assert rows == MOST_ROWS or columns == MOST_COLUMNS
    if min(rows, columns) > 20:
        assert rows / columns == pytest.approx(shape[0] / shape[1], rel=0.05)


def test_a_narrow_picture_stands_in_the_middle_with_room_for_words() -> None:
    picture = np.full((500, 100, 3), 99, dtype=np.uint8)
    drawing = compose(picture, Caption(name="a", shown="b"), blank(10, LEAST_COLUMNS))
    assert drawing.shape[1] == LEAST_COLUMNS + 2 * MARGIN
    columns = np.flatnonzero((drawing == 99).all(axis=2).sum(axis=0) > 400)
    assert (columns[0], len(columns)) == ((drawing.shape[1] - 100) // 2, 100)


def columns_high(level: Level) -> int:
    """Height of the mark's column in a caption."""
    drawing = compose(
        np.zeros((9, 9, 3), dtype=np.uint8), Caption(name="a", shown="b", level=level), blank(1, 1000)
    )
    exact = (drawing == LEVELS[level]).all(axis=2)
    return int(exact.sum(axis=0)[np.flatnonzero(exact.any(axis=0))[0]])  # it stands left of the word


def test_a_levels_column_rises_with_it() -> None:
    heights = [columns_high(level) for level in (Level.CLEAR, Level.NOTE, Level.WARN, Level.HALT)]
    assert heights == sorted(set(heights))


@pytest.mark.parametrize(("level", "marked"), [(Level.UNMEASURED, True), (Level.UNJUDGED, False), (None, False)])
def test_what_was_not_measured_is_marked_and_what_was_not_judged_is_not(level: Level | None, marked: bool) -> None:
    caption = Caption(name="a", shown="b", level=level)
    drawing = compose(np.zeros((9, 9, 3), dtype=np.uint8), caption, blank(1, 1000))
    assert (drawing[: MARGIN + 40, 500:] != SURROUND).any() == marked


def test_the_caption_is_never_wider_than_the_picture_allows() -> None:
    caption = Caption(name=LONG * 3, shown=LONG * 9, values=LONG * 9, level=Level.HALT, cause=LONG * 4)
    drawing = compose(np.zeros((50, 50, 3), dtype=np.uint8), caption, blank(10, 1000))
    assert drawing.shape[1] == 1000 + 2 * MARGIN
    assert (drawing[:, :MARGIN] == SURROUND).all()
    assert (drawing[:, -MARGIN:] == SURROUND).all()


def test_a_lifted_picture_says_so() -> None:
    picture = np.zeros((50, 50, 3), dtype=np.uint8)
    caption, key = Caption(name="a", shown="b"), blank(10, 1000)
    assert compose(picture, caption, key, lift=3).shape[0] > compose(picture, caption, key).shape[0]
