"""One way to the sheet that holds: what a watch, a check of one capture and a program apply is the same."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.errors import SheetError
from qc.intake.intent import Intent
from qc.sheet.accepted_file import with_accepted
from qc.sheet.effective import effective_sheet
from qc.sheet.find import find_sheet
from tests.intake.test_intent import ACCEPTED, GOOD, ZONE, write

KEPT = with_accepted("", ACCEPTED)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "bottles.qc").mkdir()
    (tmp_path / "bottles" / "front").mkdir(parents=True)
    return tmp_path / "bottles"


@pytest.mark.parametrize("sheet", ["bottles.qc/a.set.toml", "bottles/a.set.toml", "a.set.toml", None])
@pytest.mark.parametrize("capture", ["bottles/SB_0001.dng", "bottles/front/SB_0001.dng"])
def test_it_is_the_sheet_that_the_watch_holds(folder: Path, sheet: str | None, capture: str) -> None:
    out, place = folder.with_name("bottles.qc"), folder.parent / capture
    if sheet is not None:
        write(folder.parent / sheet, GOOD + ZONE)
    write(out / ("set.accepted.toml" if sheet is None else "a.accepted.toml"), KEPT)
    held = Intent(folder, out, preset="series").for_capture(place)
    found = effective_sheet(place, preset="series")
    assert held is not None
    assert held.accepted == (ACCEPTED,)
    assert (found, held.accepted_from) == (held, str(next(out.glob("*.accepted.toml"))))


def test_sheets_of_one_name_in_folders_inside_are_different_sets(folder: Path) -> None:
    out = folder.with_name("bottles.qc")
    for inside in ("front", "back"):
        write(folder / inside / "a.set.toml", GOOD + ZONE)
    write(out / "front+a.accepted.toml", KEPT)
    intent = Intent(folder, out)
    for inside, accepted in (("front", (ACCEPTED,)), ("back", ())):
        capture = folder / inside / "SB_0001.dng"
        for sheet in (effective_sheet(capture), intent.for_capture(capture)):
            assert sheet is not None
            assert sheet.accepted == accepted


def test_a_named_sheet_has_what_was_accepted_on_it_in_the_watch_of_the_capture(
    folder: Path, tmp_path: Path
) -> None:
    named = write(tmp_path / "elsewhere" / "b.set.toml", GOOD + ZONE)
    write(folder.with_name("bottles.qc") / "b.accepted.toml", KEPT)
    sheet = effective_sheet(folder / "SB_0001.dng", sheet=named)
    assert sheet is not None
    assert (sheet.name, sheet.accepted) == ("bottles", (ACCEPTED,))


def test_without_a_sheet_only_a_preset_makes_acceptances_count(folder: Path) -> None:
    write(folder.with_name("bottles.qc") / "set.accepted.toml", KEPT)
    assert effective_sheet(folder / "SB_0001.dng") is None


def test_nothing_accepted_is_the_sheet_as_it_was_typed(folder: Path) -> None:
    write(folder / "a.set.toml", GOOD)
    capture = folder / "SB_0001.dng"
    for text in (None, "", "# all taken back\n"):
        if text is not None:
            write(folder.with_name("bottles.qc") / "a.accepted.toml", text)
        assert effective_sheet(capture) == find_sheet(capture)


@pytest.mark.parametrize("bad", ["a.set.toml", "a.accepted.toml"])
def test_mistakes_are_errors(folder: Path, bad: str) -> None:
    out = folder.with_name("bottles.qc")
    write(out / "a.set.toml", GOOD)
    write(out / bad, "[sett]\n")
    with pytest.raises(SheetError, match=bad):
        effective_sheet(folder / "SB_0001.dng")
