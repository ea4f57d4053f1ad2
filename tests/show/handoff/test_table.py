"""The table of frames: what stands in which column, and what a spreadsheet must not make of it."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from qc.day import Day
from qc.measure import specs
from qc.reading import Level, Reading, Unit
from qc.result import Verdict
from qc.series.entry import Purpose
from qc.show.handoff.cells import csv_lines, plain
from qc.show.handoff.counts import counts_csv
from qc.show.handoff.table import frames_csv
from tests.log.made import content
from tests.show.handoff.days import SHEETS, burnt, cause, day, frame
from tests.show.results import result


def rows(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode("utf-8-sig"), newline="")))


def table(of: Day) -> list[dict[str, str]]:
    return rows(b"".join(frames_csv(of, sheets=SHEETS, specs=specs())))


def test_one_row_a_frame_in_the_order_taken() -> None:
    told = table(day(frame(3), burnt(1, 0.31), frame(2)))
    assert [row["name"] for row in told] == ["SB_0001.dng", "SB_0002.dng", "SB_0003.dng"]
    assert {row["set"] for row in told} == {"Stoneware bottles, front"}
    assert [(row["level"], row["first reason"]) for row in told[:1]] == [("halt", "label burnt 0.31 %")]
    assert (told[0]["taken"], told[0]["state"], told[0]["path"]) == (
        "2026-11-25T09:00:01.000",
        "whole",
        "SB_0001.dng",
    )


def test_settings_have_their_units_in_the_header() -> None:
    (row,) = table(day(frame(1)))
    assert (row["shutter [s]"], row["aperture [f-number]"], row["ISO"]) == ("0.008", "11", "100")
    assert row["focus distance [m]"] == ""


def test_every_reading_of_the_catalogue_has_its_column_with_its_unit() -> None:
    (row,) = table(day(frame(1)))
    for spec in specs():
        for reading in spec.readings:
            assert (f"{reading.name} [{reading.unit}]" in row) is reading.per_frame


def test_a_zone_has_columns_of_its_own_and_a_missing_number_is_empty_with_its_reason() -> None:
    told = table(day(burnt(1, 0.31), frame(2)))
    assert [row["highlights.unintended_area [% of cells] label"] for row in told] == ["0.31", ""]
    assert [row["sharpness.blur [px] label"] for row in told] == ["", ""]
    assert [row["no value because"] for row in told] == ["a weave: sharpness.blur label", ""]


def test_a_number_below_0_stays_a_number_and_a_bound_says_so() -> None:
    (row,) = table(day(burnt(1, 0.31)))
    assert (row["highlights.headroom [stops]"], row["bounds"]) == ("-0.25", "highlights.headroom at most")


def test_an_ambient_test_stands_in_the_row_of_its_dark_frame() -> None:
    reading = Reading(name="ambient.stops_under", unit=Unit.STOPS, value=5.25)
    test = result(None, schema="qc.ambient/1", readings=(reading,), verdict=Verdict(level=Level.CLEAR))
    dark = replace(frame(1), ambient=test, ambient_lit=content(2))
    told = table(day(dark, frame(2), SB_0001={"purpose": Purpose.DARK}))
    assert [row["ambient.stops_under [stops]"] for row in told] == ["5.25", ""]
    assert [(row["ambient test against"], row["role"]) for row in told] == [("SB_0002.dng", "dark"), ("", "")]


def test_the_file_has_a_byte_order_mark_and_ends_its_lines_as_rfc_4180_says() -> None:
    data = b"".join(csv_lines(["a", "b"], [["x,y", 'say "so"'], [None, 1.0], [3, -0.0]]))
    assert data == b'\xef\xbb\xbfa,b\r\n"x,y","say ""so"""\r\n,1\r\n3,0\r\n'


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@A1", " =1+1", "＝1+1"])
def test_text_that_a_spreadsheet_takes_for_a_formula_gets_an_apostrophe(text: str) -> None:
    # OWASP, "CSV Injection": cells that begin with = + - @ (or their full-width forms) are run
    assert plain(text) == f"'{text}"


@pytest.mark.parametrize(
    ("text", "shown"), [("a=b", "a=b"), ("SB-1", "SB-1"), ("\t=1", "'\\t=1"), ("a\nb", "a\\nb")]
)
def test_other_text_stays_and_control_characters_are_shown(text: str, shown: str) -> None:
    assert plain(text) == shown


def test_a_sheet_with_a_name_like_a_formula_is_guarded_too() -> None:
    one = frame(
        1, sheet_name="=cmd|' /C calc'!A0", verdict=Verdict(level=Level.NOTE, causes=(cause(Level.NOTE, "-1"),))
    )
    (row,) = table(day(one))
    assert (row["set"], row["first reason"]) == ("'=cmd|' /C calc'!A0", "'-1")


def test_counts_say_how_many_captures_a_set_has_and_explain_its_gaps() -> None:
    of = day(
        *(frame(number) for number in (1, 2, 5)),
        frame(6, state="truncated"),
        frame(7, sheet_name="Jug", sheet_digest="blake2b:77"),
        SB_0002={"purpose": Purpose.LEAVE_OUT},
    )
    first, second = rows(b"".join(counts_csv(of, sheets=SHEETS)))
    assert (first["set"], first["captures"], first["whole"], first["left out"]) == (
        "Stoneware bottles, front",
        "4",
        "3",
        "1",
    )
    assert first["numbers missing without a reason"] == "2"
    assert first["gaps and what explains them"].startswith("SB_0003 and SB_0004 missing: 2 frames; SB_0006.dng is")
    assert (second["set"], second["captures"], second["gaps and what explains them"]) == ("Jug", "1", "")
