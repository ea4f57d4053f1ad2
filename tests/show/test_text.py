from __future__ import annotations

import io
import re

import pytest
from rich.console import Console, RenderableType

from qc.reading import Finding, Level, Reading, Reason, Unit
from qc.result import Cause, Verdict
from qc.show import text
from tests.sheet.toys import SPECS
from tests.show.results import CAMERA, FILE, lost, result


def shown(part: RenderableType, width: int = 80) -> str:
    console = Console(file=io.StringIO(), width=width, force_terminal=True, no_color=True, markup=False)
    console.print(part)
    assert isinstance(console.file, io.StringIO)
    return re.sub(r"\x1b\[[0-9;]*m", "", console.file.getvalue())


def test_a_frame_is_one_line_with_time_name_mark_word_and_reason() -> None:
    assert text.plain_line(result(), SPECS) == "10:00:03  SB_0007.dng  # halt        label burnt 0.31 %"
    assert shown(text.line(result(), SPECS)).rstrip() == "10:00:03  SB_0007.dng  █ halt        label burnt 0.31 %"


def test_a_reason_that_is_not_alone_at_its_level_says_how_many_more() -> None:
    causes = result().verdict.causes
    twice = result(verdict=Verdict(level=Level.HALT, causes=(*causes, *causes)))
    assert text.plain_line(twice, SPECS).endswith("label burnt 0.31 %  (+1)")


def test_a_file_that_is_not_whole_says_its_state_and_cause() -> None:
    assert text.plain_line(lost(), SPECS) == "--:--:--  SB_0008.dng  # halt        truncated: half is missing"


def test_an_unjudged_frame_shows_its_numbers() -> None:
    line = text.plain_line(result(None), SPECS)
    assert line == "10:00:03  SB_0007.dng    unjudged    burnt 0.42 %, room at least 7.2 stops under"


def test_names_of_one_run_stand_in_a_column() -> None:
    assert text.plain_line(result(), SPECS, name_width=20).index("#") == 10 + 20 + 2


def test_every_level_has_a_mark_of_its_own_in_columns_and_in_plain_text() -> None:
    for marks in (text.COLUMN, text.PLAIN):
        assert set(marks) == set(Level)
        assert len(set(marks.values())) == len(Level)
    heights = [text.COLUMN[level] for level in (Level.CLEAR, Level.NOTE, Level.WARN, Level.HALT)]
    assert heights == sorted(heights) == ["▁", "▃", "▅", "█"]


def test_the_line_holds_on_80_columns_with_a_long_name_and_a_long_reason() -> None:
    name = "a_very_long_name_that_a_camera_would_hardly_give_0001.dng"
    lines = shown(text.line(lost(name=name, detail="words " * 40), SPECS)).splitlines()
    assert all(len(line) <= 80 for line in lines)
    assert lines[0].split()[1] == "a_very_long_n…_give_0001.dng"
    assert "".join(lines).count("words") == 40


@pytest.mark.parametrize("name", ["[bold]red[/bold].dng", "[/]", "[link=x]a.dng", ":smile:.dng"])
def test_no_file_name_is_read_as_markup(name: str) -> None:
    made = lost(name=name)
    assert name in text.plain_line(made, SPECS)
    assert name in shown(text.line(made, SPECS))
    assert name in shown(text.details(made, SPECS)) or not made.readings


@pytest.mark.parametrize("evil", ["\x1b[31m", "a\nb", "\r", "\x07", "\u202e", "\x9b"])
def test_no_text_of_a_file_or_sheet_reaches_the_terminal_as_a_command(evil: str) -> None:
    readings = (
        Reading(name="blur.width", unit=Unit.PIXELS, zone=f"z{evil}", reason=Reason("texture", f"r{evil}")),
        Reading(name="burnt.area", unit=Unit.PERCENT_OF_CELLS, zone=f"z{evil}", value=1.0),
    )
    made = result(readings=readings, file=lost(name=f"n{evil}", detail=f"d{evil}").file)
    lines = [text.plain_line(made, SPECS), *text.plain_details(made, SPECS)]
    assert not any(evil in line for line in lines)
    assert all(line.isprintable() for line in lines)
    assert evil not in shown(text.line(made, SPECS)).replace("\n", "") + shown(text.details(made, SPECS)).replace(
        "\n", ""
    )


def test_the_full_view_says_every_reading_in_words_and_never_by_its_catalogue_name() -> None:
    lines = list(text.plain_details(result(), SPECS))
    assert [re.sub(r"  +", " | ", line.strip()) for line in lines] == [
        "1/160 s, f/11, ISO 100, 90 mm, 8688 × 5792, mosaic",
        "frame | burnt 0.42 % | ±0.01",
        "frame | 3.00 % of a fact | ±?",
        "frame | room at least 7.2 stops under",
        "label | burnt 0.31 % | ±<0.01 | # halt | over 0.20 (preset series)",
        "neck | width not measured | - note | texture: blur cannot be read",
        "nothing reaches saturation",
        "label: a glint",
        "±? the noise is not known",
    ]
    view = shown(text.details(result(), SPECS), 160)
    assert "burnt.area" not in view
    for word in ("±<0.01", "over 0.20 (preset series)", "texture: blur cannot be read", "label: a glint"):
        assert word in view


@pytest.mark.parametrize("width", [80, 160])
def test_the_full_view_loses_nothing_at_any_width(width: int) -> None:
    view = shown(text.details(result(), SPECS), width)
    assert all(len(line) <= width for line in view.splitlines())
    words = " ".join(text.plain_details(result(), SPECS)).replace(":", "").split()
    plain_marks = {"#", "-"}
    assert set(words) - plain_marks <= set(view.replace(":", "").split())


def test_one_reason_for_many_readings_is_said_once() -> None:
    why = Reason("wrong_kind", "cannot be read from a rendered file")
    readings = tuple(
        Reading(name=n, unit=Unit.STOPS, reason=why) for n in ("burnt.area", "burnt.fact", "tint.under")
    )
    rows = list(text.rows(result(readings=readings), SPECS))
    assert [(row.said, row.remark) for row in rows] == [("3 numbers missing", why.text)]


@pytest.mark.parametrize(
    ("seconds", "said"), [(1 / 160, "1/160 s"), (0.25, "1/4 s"), (0.5, "0.5 s"), (2.0, "2 s"), (30.0, "30 s")]
)
def test_a_shutter_time_is_said_as_it_stands_on_a_camera(seconds: float, said: str) -> None:
    assert text.shutter(seconds) == said


def test_an_ambient_test_names_its_frames_the_lit_ones_first() -> None:
    made = result(dark=((lost(name="D.dng").file, CAMERA),), lit=((FILE, CAMERA),))
    assert "SB_0007.dng / D.dng" in text.plain_line(made, SPECS)


def test_an_ambient_test_without_a_reason_still_says_its_numbers() -> None:
    clear = Verdict(level=Level.CLEAR)
    ambient = result(schema="qc.ambient/1", verdict=clear)
    assert text.plain_line(ambient, SPECS).endswith("burnt 0.42 %, room at least 7.2 stops under")
    assert text.plain_line(result(verdict=clear), SPECS).endswith("clear")


def test_what_the_line_says_is_not_said_again_under_it() -> None:
    black = Finding(code="nearly_black", text="nearly black: no flash")
    warn, said = Level.WARN, black.text
    cause = Cause(reading="nearly_black", zone=None, level=warn, limit=None, origin="always", text=said)
    made = result(findings=(black,), verdict=Verdict(level=Level.WARN, causes=(cause,)))
    assert black.text in text.plain_line(made, SPECS)
    assert not any(black.text in note for note in text.notes(made))


def test_a_note_names_its_zone_once() -> None:
    found = Finding(code="patch_reference", zone="card", text="card is compared with neutral")
    assert next(text.notes(result(findings=(found,)))) == "card is compared with neutral"
