"""`qc sheet new` without a sheet: made from a capture of the watch."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from qc.intake.place import announce
from qc.sheet.read import parse_sheet, read_sheet
from qc.sheet.zones import Role
from tests.cli.conftest import Run, scene, write
from tests.intake.logged import Day


@pytest.fixture
def day(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Day:
    """A folder with two frames, the last one burnt in a corner before an even bright place."""
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    day = Day(tmp_path / "bottles")
    day.shoot("SB_0001.dng")
    write(day.folder / "SB_0002.dng", corner())
    day.log(day.folder / "SB_0002.dng")
    monkeypatch.chdir(tmp_path)
    return day


def corner() -> np.ndarray:
    light = scene()
    light[:, 6:24, 6:24] = 3.0
    return light


def tree(folder: Path) -> dict[Path, bytes]:
    """Return what lies in a folder, SQLite's own notes left out."""
    files = [path for path in folder.rglob("*") if path.is_file() and ".sqlite3-" not in path.name]
    return {path: path.read_bytes() for path in files}


def uncommented(text: str) -> str:
    """Take the sign away from every line that is an example or a proposal."""
    return re.sub(r"^# (?=\[|[a-z_]+ = )", "", text, flags=re.MULTILINE)


def test_the_last_capture_gives_name_place_baseline_and_proposals(run: Run, day: Day) -> None:
    with announce(day.folder, day.out):
        done = run("sheet", "new")
    path = day.out / "bottles.set.toml"
    assert (done.exit_code, done.stderr) == (0, "")
    assert done.stdout.splitlines()[0] == str(path)
    assert "from SB_0002.dng; zones proposed behind #: highlight 1 (allow): burnt 1.50 %" in done.stdout
    sheet = read_sheet(path)
    assert (sheet.name, sheet.preset, sheet.baseline, sheet.zones) == ("bottles", "series", "SB_0002.dng", ())
    assert "[[zone]]   # burnt 1.50 % of the picture here; remove the # of each line" in path.read_text()


def test_the_sheet_is_good_as_written_and_with_every_sign_or_every_comment_removed(run: Run, day: Day) -> None:
    run("sheet", "new", "--folder", day.folder)
    path = day.out / "bottles.set.toml"
    assert run("sheet", "check", path).exit_code == 0
    text = path.read_text()
    path.write_text(uncommented(text))
    done = run("sheet", "check", path)
    assert (done.exit_code, done.stderr) == (0, "")
    assert "highlight 1 (allow), backdrop (backdrop), label (protect)" in done.stdout
    path.write_text(re.sub(r"#.*", "", text))
    assert run("sheet", "check", path).exit_code == 0


def test_what_is_proposed_passes_the_frame_it_was_made_from(run: Run, day: Day) -> None:
    run("sheet", "new", "--folder", day.folder)
    path = day.out / "bottles.set.toml"
    text = path.read_text()
    block = text[text.index("# [[zone]]") : text.index('# name = "label"')].rpartition("# [[zone]]")[0]
    path.write_text(text.replace(block, uncommented(block)))
    assert [zone.role for zone in read_sheet(path).zones] == [Role.ALLOW, Role.BACKDROP]
    day.log(day.folder / "SB_0002.dng")
    assert [c for c in day.causes("SB_0002.dng") if c.reading.startswith("highlights")] == []


def test_another_capture_can_be_named_and_a_sheet_and_a_name(run: Run, day: Day, tmp_path: Path) -> None:
    words = ("--name", "Front", "--preset", "strict", "--folder", day.folder)
    done = run("sheet", "new", tmp_path / "front", "--from", "SB_0001.dng", *words)
    assert done.stdout.splitlines()[0] == str(tmp_path / "front.set.toml")
    sheet = read_sheet(tmp_path / "front.set.toml")
    assert (sheet.name, sheet.preset, sheet.baseline) == ("Front", "strict", "SB_0001.dng")


def test_a_capture_that_no_watch_knows_is_measured_and_gives_its_own_folder(
    run: Run, day: Day, tmp_path: Path
) -> None:
    (tmp_path / "vases").mkdir()
    write(tmp_path / "vases" / "V_0001.dng", corner())
    with announce(day.folder, day.out):
        done = run("sheet", "new", "--from", tmp_path / "vases" / "V_0001.dng")
    path = tmp_path / "vases.qc" / "vases.set.toml"
    assert done.stdout.splitlines()[0] == str(path)
    text = path.read_text()
    assert '# name = "highlight 1"' in text
    assert '# name = "backdrop"' in text
    sheet = read_sheet(path)  # what is proposed never counts by itself
    assert (sheet.baseline, sheet.zones) == ("V_0001.dng", ())
    assert [p.name for p in (tmp_path / "vases").iterdir()] == ["V_0001.dng"]


def test_a_sheet_that_holds_already_is_not_replaced_or_hidden(run: Run, day: Day) -> None:
    run("sheet", "new", "--folder", day.folder)
    before = tree(day.out)
    done = run("sheet", "new", "--folder", day.folder, "--from", "SB_0001.dng")
    assert (done.exit_code, done.stdout) == (2, "")
    assert done.stderr == (
        f"{day.out / 'bottles.set.toml'}: there is a set sheet already; `qc sheet zone` adds to it\n"
    )
    assert tree(day.out) == before
    (day.out / "bottles.set.toml").rename(day.folder / "typed.set.toml")
    done = run("sheet", "new", "--folder", day.folder)
    assert "typed.set.toml: there is a set sheet already" in done.stderr


def test_names_that_are_not_text_still_give_a_good_sheet(run: Run, tmp_path: Path) -> None:
    day = Day(tmp_path / "b\udcff")
    day.shoot('SB_\udcff"1.dng')
    assert run("sheet", "new", "--folder", day.folder).exit_code == 0
    (path,) = day.out.glob("*.set.toml")
    sheet = read_sheet(path)
    assert (sheet.name, sheet.baseline) == (r"b\xff", None)
    assert parse_sheet(uncommented(path.read_text())).needs


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--from", "SB_0009.dng"), "SB_0009.dng: no such capture"),
        (("--folder", "empty"), "empty: no capture was measured yet; name one with --from"),
        (("--from", "bottles/cut.dng"), "cut.dng: shows nothing (34,670 bytes are there"),
    ],
)
def test_wrong_use_is_one_line_and_writes_nothing(
    run: Run, day: Day, tmp_path: Path, words: tuple[str, ...], said: str
) -> None:
    (tmp_path / "empty").mkdir()
    (day.folder / "cut.dng").write_bytes((day.folder / "SB_0001.dng").read_bytes()[:-9000])
    before = tree(tmp_path)
    named = words if "--folder" in words else (*words, "--folder", str(day.folder))
    done = run("sheet", "new", *named)
    assert (done.exit_code, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert said in done.stderr
    assert tree(tmp_path) == before


def test_without_watch_and_capture_it_says_what_to_name(
    run: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.chdir(tmp_path)
    done = run("sheet", "new")
    assert done.exit_code == 2
    assert "name the watched folder with --folder" in done.stderr
