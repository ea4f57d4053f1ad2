from __future__ import annotations

from pathlib import Path

import pytest

from qc.errors import SheetError, UsageError
from qc.sheet.find import find_sheet


@pytest.fixture
def shoot(tmp_path: Path) -> Path:
    folder = tmp_path / "day" / "bottles"
    folder.mkdir(parents=True)
    return folder


def write(folder: Path, name: str, text: str = "") -> str:
    folder.mkdir(exist_ok=True)
    path = folder / f"{name}.set.toml"
    path.write_text(f'[set]\nname = "{name}"\n{text}')
    return str(path)


def name_found(capture: Path) -> str | None:
    sheet = find_sheet(capture)
    return None if sheet is None else sheet.name


def test_without_a_sheet_anywhere_there_is_none(shoot: Path) -> None:
    assert find_sheet(shoot / "SB_0001.dng") is None


def test_the_folder_beside_goes_before_the_captures_folder_and_that_before_those_above(shoot: Path) -> None:
    capture = shoot / "SB_0001.dng"
    write(shoot.parent, "above")
    assert name_found(capture) == "above"
    write(shoot, "here")
    assert name_found(capture) == "here"
    write(shoot.with_name("bottles.qc"), "beside")
    assert name_found(capture) == "beside"


def test_two_candidates_are_an_error_that_names_both(shoot: Path) -> None:
    first, second = write(shoot, "one"), write(shoot, "two")
    with pytest.raises(UsageError) as caught:
        find_sheet(shoot / "SB_0001.dng")
    assert first in str(caught.value)
    assert second in str(caught.value)


def test_a_pattern_divides_a_folder_between_two_sheets(shoot: Path) -> None:
    write(shoot, "front", 'captures = "SB_00*"\n')
    write(shoot, "back", 'captures = "SB_01*"\n')
    assert name_found(shoot / "SB_0012.dng") == "front"
    assert name_found(shoot / "SB_0112.dng") == "back"
    assert name_found(shoot / "SB_0212.dng") is None


def test_a_sheet_with_mistakes_is_an_error_not_passed_over(shoot: Path) -> None:
    write(shoot, "bad", "prest = 1\n")
    with pytest.raises(SheetError, match="prest"):
        find_sheet(shoot / "SB_0001.dng")


def test_a_relative_path_is_looked_up_from_where_it_is(shoot: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write(shoot, "here")
    monkeypatch.chdir(shoot)
    assert name_found(Path("SB_0001.dng")) == "here"


def test_a_folder_named_like_a_sheet_is_no_sheet(shoot: Path) -> None:
    (shoot / "odd.set.toml").mkdir()
    assert find_sheet(shoot / "SB_0001.dng") is None
