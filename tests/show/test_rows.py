"""The full view of a result on a terminal: columns where they fit, nothing cut that tells things apart."""

from __future__ import annotations

import io

import pytest
from rich.console import Console

from qc.reading import Level, Reading, Reason, Unit
from qc.show.rows import Row, RowsView, rows, spoken_error
from tests.sheet.toys import SPECS
from tests.show.results import result

LONG = "brightest unclipped tone 0.92 stop under clipping"
ROWS = (
    Row("frame", "clipped 0.18 %", "", "", None),
    Row("frame", LONG, "", "", None),
    Row("bottle neck, left", "blur 1.93 px", "±0.09", "over 1.50 (preset series)", Level.WARN),
    Row("bottle neck, left", "width not measured", "", "words " * 20, Level.NOTE, missing=True),
)


def shown(told: tuple[Row, ...], width: int) -> list[str]:
    console = Console(file=io.StringIO(), width=width, no_color=True, markup=False, highlight=False)
    console.print(RowsView(told))
    assert isinstance(console.file, io.StringIO)
    return console.file.getvalue().splitlines()


@pytest.mark.parametrize("width", [80, 160])
def test_a_number_and_a_zone_name_stay_on_one_line_at_80_columns(width: int) -> None:
    lines = shown(ROWS, width)
    assert all(len(line) <= width for line in lines)
    assert any(LONG in line for line in lines)
    (line,) = [line for line in lines if "blur 1.93 px" in line]
    assert line.startswith("  bottle neck, left  blur 1.93 px")
    assert "±0.09" in line


def test_what_is_wrong_stands_beside_its_number_or_right_under_it() -> None:
    wide, narrow = shown(ROWS, 160), shown(ROWS, 80)
    assert next(line for line in wide if "warn" in line).endswith("±0.09  ▅ warn  over 1.50 (preset series)")
    at = next(n for n, line in enumerate(narrow) if "blur 1.93 px" in line)
    assert "▅ warn  over 1.50 (preset series)" in narrow[at] + narrow[at + 1]


def test_a_reason_takes_the_whole_width_and_goes_on_indented() -> None:
    first, *more = [line for line in shown(ROWS, 80) if "words" in line]
    assert "▃ note  width not measured: words" in first
    assert sum(line.count("words") for line in (first, *more)) == 20
    assert all(line.startswith(" " * 25) for line in more)
    assert len(more) <= 2


def test_the_numbers_of_all_rows_stand_in_columns() -> None:
    told = (Row("frame", "a 1 px", "±0.1", "", None), Row("frame", "much longer 12 px", "±0.1", "", None))
    assert len({line.index("±") for line in shown(told, 80)}) == 1


def test_one_fault_behind_every_missing_number_is_said_once() -> None:
    why = Reason("flash_in_dark", "the flash fired in the dark frame")
    told = (("burnt.area", None), ("burnt.area", "label"), ("tint.under", None), ("tint.under", "label"))
    readings = tuple(Reading(name=name, unit=Unit.STOPS, zone=zone, reason=why) for name, zone in told)
    (row,) = rows(result(readings=readings), SPECS)
    assert (row.place, row.said, row.remark) == ("frame", "4 numbers missing", why.text)


@pytest.mark.parametrize(
    ("error", "decimals", "said"), [(0.03, 2, "0.03"), (0.003, 1, "<0.1"), (0.0, 2, "0.00"), (12.4, 0, "12")]
)
def test_an_error_has_the_digits_of_its_number(error: float, decimals: int, said: str) -> None:
    assert spoken_error(error, decimals) == said
