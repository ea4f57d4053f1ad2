from __future__ import annotations

from pathlib import Path

from qc.sheet.read import read_sheet
from tests.cli.conftest import Run


def test_a_sheet_is_written_extended_and_found_good(run: Run, tmp_path: Path) -> None:
    sheet = tmp_path / "bottles.set.toml"
    assert run("sheet", "new", sheet, "--name", "Bottles", "--preset", "strict").stdout == f"{sheet}\n"
    box = ("--box", 0.41, 0.38, 0.18, 0.22)
    assert run("sheet", "zone", sheet, "label", "protect", *box).exit_code == 0
    corners = ("--points", "0.1,0.1 0.3,0.1 0.2,0.3", "--budget", "0.5")
    assert run("sheet", "zone", sheet, "rim", "allow", *corners).exit_code == 0
    done = run("sheet", "check", sheet)
    assert (done.exit_code, done.stdout) == (0, f"{sheet}: good; preset strict; label (protect), rim (allow)\n")
    assert read_sheet(sheet).name == "Bottles"


def test_a_sheet_that_is_there_is_not_replaced(run: Run, sheet: Path) -> None:
    before = sheet.read_bytes()
    done = run("sheet", "new", sheet)
    assert (done.exit_code, sheet.read_bytes()) == (2, before)
    assert "not replaced" in done.stderr


def test_every_mistake_of_every_sheet_is_named_and_good_ones_pass(run: Run, sheet: Path, tmp_path: Path) -> None:
    bad = tmp_path / "bad.set.toml"
    bad.write_text("[set]\nprest = 1\nlight = 'sun'\n")
    done = run("sheet", "check", bad, sheet, tmp_path / "gone.set.toml")
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 3
    assert done.stdout.startswith(f"{sheet}: good")


def test_a_zone_that_does_not_fit_is_refused_and_nothing_is_written(run: Run, sheet: Path) -> None:
    before = sheet.read_bytes()
    for words in (
        ("label", "sharp", "--box", 0, 0, 1, 1),
        ("neck", "shrp", "--box", 0, 0, 1, 1),
        ("neck", "sharp"),
        ("neck", "sharp", "--points", "0.1 0.2"),
    ):
        done = run("sheet", "zone", sheet, *words)
        assert (done.exit_code, done.stdout) == (2, "")
        assert done.stderr
    assert sheet.read_bytes() == before
