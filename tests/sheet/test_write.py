from __future__ import annotations

import re
from pathlib import Path

import pytest

from qc.errors import SheetError, UsageError
from qc.sheet.read import parse_sheet, read_sheet
from qc.sheet.write import add_zone, new_sheet, new_sheet_text, sheet_path
from qc.sheet.zones import Role


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    return new_sheet(tmp_path / "bottles", name='Bottles "front"', preset="strict")


def test_a_new_sheet_is_good_and_says_what_was_asked(sheet: Path) -> None:
    assert sheet.name == "bottles.set.toml"
    read = read_sheet(sheet)
    assert (read.name, read.preset, read.zones) == ('Bottles "front"', "strict", ())


def test_a_new_sheet_takes_its_name_from_the_file(tmp_path: Path) -> None:
    assert read_sheet(new_sheet(tmp_path / "blue.set.toml")).name == "blue"


@pytest.mark.parametrize("name", ["a", "a.toml", "a.set", "a.set.toml"])
def test_a_new_sheet_has_a_name_by_which_it_is_found(tmp_path: Path, name: str) -> None:
    assert new_sheet(tmp_path / name) == tmp_path / "a.set.toml"
    assert read_sheet(tmp_path / "a.set.toml").name == "a"


def test_every_example_in_a_new_sheet_can_be_used_as_it_stands(sheet: Path) -> None:
    lines = sheet.read_text().splitlines()
    used = [re.sub(r"^# (?=\[|[a-z_]+ = )", "", line) for line in lines]
    read = parse_sheet("\n".join(used))
    assert read.limits
    assert read.zone_limits
    assert read.needs == ("dark", "patch", "clean plate")


def test_the_text_of_a_new_sheet_is_had_without_writing_it(tmp_path: Path) -> None:
    path = tmp_path / "a"
    text = new_sheet_text("bottles", preset="loose", baseline="SB_0007.dng")
    assert list(tmp_path.iterdir()) == []
    assert sheet_path(path) == new_sheet(path, name="bottles", preset="loose", baseline="SB_0007.dng")
    assert sheet_path(path).read_bytes().decode() == text


def test_a_sheet_that_is_there_is_not_replaced(sheet: Path) -> None:
    before = sheet.read_bytes()
    with pytest.raises(UsageError, match="not replaced"):
        new_sheet(sheet)
    assert sheet.read_bytes() == before


@pytest.mark.parametrize(("where", "preset"), [("no/such/folder/s", "series"), ("s", "nonsense")])
def test_a_sheet_that_cannot_be_written_is_refused(tmp_path: Path, where: str, preset: str) -> None:
    with pytest.raises(UsageError):
        new_sheet(tmp_path / where, preset=preset)
    assert list(tmp_path.iterdir()) == []


def test_a_zone_is_added_after_what_was_typed_which_stays_byte_for_byte(sheet: Path) -> None:
    sheet.write_bytes(sheet.read_bytes() + b"  # my own note, without a line end")
    before = sheet.read_bytes()
    add_zone(sheet, "label", "protect", box=(0.41, 0.38, 0.18, 0.22))
    add_zone(sheet, "rim", Role.ALLOW, points=[(0.1, 0.1), (0.3, 0.1), (0.2, 0.3)], budget=0.5)
    add_zone(sheet, "card", "patch", box=(0, 0, 0.1, 0.1), reference="neutral", lightness=50)
    assert sheet.read_bytes().startswith(before)
    label, rim, card = read_sheet(sheet).zones
    assert (label.name, label.role, label.points[0]) == ("label", Role.PROTECT, (0.41, 0.38))
    assert (rim.budget, rim.points[2]) == (0.5, (0.2, 0.3))
    assert (card.reference, card.lightness) == ("neutral", 50)


@pytest.mark.parametrize(
    ("name", "role", "box", "said"),
    [
        ("label", "protect", (0.0, 0.0, 1.0, 1.0), "another zone has this name already"),
        ("neck", "shrp", (0.0, 0.0, 1.0, 1.0), 'did you mean "sharp"'),
        ("neck", "sharp", (0.5, 0.0, 1.0, 1.0), "partly outside"),
        ("neck", "sharp", None, "needs a box or points"),
        ("neck", "sharp", (float("nan"), 0.0, 1.0, 1.0), "must be a number"),
    ],
)
def test_a_zone_that_would_be_a_mistake_is_not_written(
    sheet: Path, name: str, role: str, box: tuple[float, float, float, float] | None, said: str
) -> None:
    add_zone(sheet, "label", "protect", box=(0.0, 0.0, 1.0, 1.0))
    before = sheet.read_bytes()
    with pytest.raises(SheetError, match=said):
        add_zone(sheet, name, role, box=box)
    assert sheet.read_bytes() == before


def test_a_number_is_written_as_it_is(sheet: Path) -> None:
    add_zone(sheet, "label", "protect", box=(1 / 3, 0.0, 0.25, 1.0))
    assert read_sheet(sheet).zones[0].points[0] == (1 / 3, 0.0)


def test_a_zone_is_not_added_to_a_sheet_with_mistakes(sheet: Path) -> None:
    sheet.write_text("[sett]\n")
    with pytest.raises(SheetError, match="sett"):
        add_zone(sheet, "label", "protect", box=(0.0, 0.0, 1.0, 1.0))
    assert sheet.read_text() == "[sett]\n"


@pytest.mark.parametrize("name", ['a "quoted" \\ name', "tab\tand\nline", "Hälfte ½ 瓶", "del\x7f"])
def test_any_name_reads_back_as_it_was_given(sheet: Path, name: str) -> None:
    add_zone(sheet, name, "sharp", box=(0.0, 0.0, 1.0, 1.0))
    assert read_sheet(sheet).zones[0].name == name


def test_a_name_that_is_no_text_is_refused(sheet: Path) -> None:
    with pytest.raises(UsageError, match="not text"):
        add_zone(sheet, "caf\udce9", "sharp", box=(0.0, 0.0, 1.0, 1.0))
