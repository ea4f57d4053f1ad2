"""A save writes a sheet in one step, loses nothing that others wrote meanwhile, and touches nothing else."""

from __future__ import annotations

import codecs
import os
import stat
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from qc.errors import SheetError, UsageError
from qc.sheet import file as sheet_file
from qc.sheet.edit import ZoneText, save, seen, zones_of
from qc.sheet.find import sheets_in
from qc.sheet.read import read_sheet
from qc.sheet.write import add_zone, new_sheet_text

TEXT = """\
[set]
name = "bottles"   # ours

[[zone]]
name = "label"
role = "protect"
box = [0.1, 0.1, 0.2, 0.2]

[[zone]]
name = "neck"   # as sharp as can be
role = "sharp"
box = [0.4, 0.1, 0.2, 0.2]
"""
BEFORE = zones_of(TEXT)
LABEL, NECK = BEFORE
MOVED = replace(LABEL, box=(0.1, 0.1, 0.2, 0.25))
RIM = ZoneText(name="rim", role="allow", box=(0.0, 0.0, 0.5, 0.5), budget=1.0)


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "bottles.set.toml"
    path.write_bytes(TEXT.encode())
    return path


def names_in(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()]


def wrote(sheet: Path, old: str, new: str) -> str:
    """Change the sheet as somebody else would; return its text."""
    text = sheet.read_bytes().decode()
    assert old in text
    sheet.write_bytes(text.replace(old, new).encode())
    return sheet.read_bytes().decode()


def test_what_is_returned_is_in_the_file(sheet: Path) -> None:
    text = save(sheet, TEXT, BEFORE, (MOVED, NECK, RIM))
    assert sheet.read_bytes() == text.encode()
    assert [zone.name for zone in read_sheet(sheet).zones] == ["label", "neck", "rim"]
    again = save(sheet, text, zones_of(text), BEFORE)
    assert again == TEXT
    assert names_in(sheet.parent) == [sheet.name]


def test_no_edit_writes_nothing(sheet: Path) -> None:
    before = sheet.stat()
    assert save(sheet, TEXT, BEFORE, BEFORE) == TEXT
    assert (sheet.stat().st_mtime_ns, sheet.stat().st_ino) == (before.st_mtime_ns, before.st_ino)


@pytest.mark.skipif(os.name == "nt", reason="no such modes there")
@pytest.mark.parametrize("mode", [0o600, 0o644, 0o664])
def test_the_mode_of_the_file_stays(sheet: Path, mode: int) -> None:
    sheet.chmod(mode)
    save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert stat.S_IMODE(sheet.stat().st_mode) == mode


def test_of_a_link_what_it_leads_to_is_written(sheet: Path, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    link = folder / "front.set.toml"
    link.symlink_to("../bottles.set.toml")
    text = save(link, TEXT, BEFORE, (MOVED, NECK))
    assert link.is_symlink()
    assert sheet.read_bytes() == text.encode()
    assert names_in(folder) == [link.name]


def test_a_mark_at_the_start_and_line_ends_stay(sheet: Path) -> None:
    sheet.write_bytes(codecs.BOM_UTF8 + TEXT.replace("\n", "\r\n").encode())
    text = TEXT.replace("\n", "\r\n")
    assert save(sheet, text, BEFORE, (MOVED, NECK)) == text.replace("0.2]", "0.25]", 1)
    assert sheet.read_bytes() == codecs.BOM_UTF8 + text.replace("0.2]", "0.25]", 1).encode()
    add_zone(sheet, "rim", "sharp", box=(0.0, 0.0, 0.5, 0.5))
    block = '\n[[zone]]\nname = "rim"\nrole = "sharp"\nbox = [0, 0, 0.5, 0.5]\n'
    assert sheet.read_bytes().endswith(block.replace("\n", "\r\n").encode())


def test_edits_go_into_what_others_wrote_meanwhile(sheet: Path) -> None:
    wrote(sheet, "# ours", "# theirs")
    now = wrote(sheet, 'name = "neck"', 'name = "throat"')
    assert save(sheet, TEXT, BEFORE, (MOVED, NECK, RIM)).startswith(now.replace("0.2, 0.2]", "0.2, 0.25]", 1))
    assert [zone.name for zone in read_sheet(sheet).zones] == ["label", "throat", "rim"]


def test_an_edit_of_a_zone_keeps_limits_that_others_gave_it_meanwhile(sheet: Path) -> None:
    wrote(sheet, "0.2, 0.2]\n\n", '0.2, 0.2]\n[zone.limits."highlights.headroom"]\nwarn = 0.5\n\n')
    save(sheet, TEXT, BEFORE, (MOVED, NECK))
    read = read_sheet(sheet)
    assert read.zone_limits["label"]["highlights.headroom"].warn == 0.5
    assert read.zones[0].points[2][1] == pytest.approx(0.35)


def test_what_others_wrote_is_not_taken_for_removed_by_the_next_save(sheet: Path) -> None:
    wrote(sheet, "# ours\n", '# ours\n[[zone]]\nname = "foot"\nrole = "sharp"\nbox = [0, 0, 0.1, 0.1]\n')
    text = save(sheet, TEXT, BEFORE, (MOVED, NECK))
    again = save(sheet, text, seen((MOVED, NECK)), (replace(MOVED, name="front"), RIM))
    assert [zone.name for zone in zones_of(again)] == ["foot", "front", "rim"]


def test_what_others_changed_is_not_overwritten_by_the_next_save(sheet: Path) -> None:
    wrote(sheet, "[0.4, 0.1,", "[0.5, 0.1,")
    text = save(sheet, TEXT, BEFORE, (MOVED, NECK))
    with pytest.raises(UsageError, match='zone "neck" was changed in the sheet meanwhile'):
        save(sheet, text, seen((MOVED, NECK)), (MOVED, replace(NECK, box=(0.4, 0.1, 0.1, 0.1))))
    assert sheet.read_bytes() == text.encode()


@pytest.mark.parametrize(
    ("old", "new", "after", "said"),
    [
        ("[0.1, 0.1,", "[0.2, 0.1,", (MOVED, NECK), 'zone "label" was changed in the sheet meanwhile'),
        ("[0.1, 0.1,", "[0.2, 0.1,", (NECK,), 'zone "label" was changed in the sheet meanwhile'),
        ('"label"', '"front"', (MOVED, NECK), 'zone "label" was changed in the sheet meanwhile'),
        ("0.2]\n\n", "0.2]\nlimits.'highlights.headroom'.warn = 1\n\n", (NECK,), 'zone "label" was changed'),
        ('"neck"', '"rim"', (MOVED, NECK, RIM), 'zone "rim" was added to the sheet meanwhile'),
        ('"neck"', '"front"', (replace(LABEL, name="front"), NECK), 'zone "front" was added to the sheet'),
    ],
)
def test_where_others_changed_the_same_zone_nothing_is_saved(
    sheet: Path, old: str, new: str, after: tuple[ZoneText, ...], said: str
) -> None:
    now = wrote(sheet, old, new)
    with pytest.raises(UsageError, match=said) as caught:
        save(sheet, TEXT, BEFORE, after)
    assert str(caught.value).startswith(str(sheet))
    assert str(caught.value).endswith("meanwhile; nothing was saved")
    assert sheet.read_bytes() == now.encode()
    assert names_in(sheet.parent) == [sheet.name]


def test_a_sheet_that_others_are_in_the_middle_of_changing_is_not_saved(sheet: Path) -> None:
    now = wrote(sheet, "[set]", "[sett")
    with pytest.raises(SheetError, match="line 1: not TOML"):
        save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert sheet.read_bytes() == now.encode()


def test_mistakes_are_told_and_nothing_is_written(sheet: Path) -> None:
    with pytest.raises(SheetError, match='zone "label", box'):
        save(sheet, TEXT, BEFORE, (replace(LABEL, box=(0.0, 0.0, 2.0, 2.0)), NECK))
    assert sheet.read_bytes() == TEXT.encode()


def while_written(monkeypatch: pytest.MonkeyPatch, act: Callable[[], object]) -> None:
    """Let something happen after the text is written beside the sheet, before it is moved into place."""
    put = sheet_file._put

    def then(number: int, data: bytes) -> None:
        put(number, data)
        act()

    monkeypatch.setattr(sheet_file, "_put", then)


def test_what_others_write_during_the_save_is_not_lost(sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    while_written(monkeypatch, lambda: sheet.write_bytes(TEXT.replace("# ours", "# theirs").encode()))
    text = save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert "# theirs" in text
    assert "0.25]" in text
    assert sheet.read_bytes() == text.encode()


def test_a_sheet_that_is_written_to_all_the_time_is_given_up_on(
    sheet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    numbers = iter(range(1000))
    while_written(monkeypatch, lambda: sheet.write_bytes(f"{TEXT}# {next(numbers)}\n".encode()))
    with pytest.raises(UsageError, match="keeps being changed; nothing was saved"):
        save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert "0.25]" not in sheet.read_text()
    assert names_in(sheet.parent) == [sheet.name]


def fails() -> None:
    raise OSError(28, "No space left on device")


def test_a_full_disk_leaves_the_sheet_as_it_was(sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    while_written(monkeypatch, fails)
    with pytest.raises(UsageError, match="cannot be written: No space left"):
        save(sheet, TEXT, BEFORE, (MOVED, NECK))
    with pytest.raises(UsageError, match="cannot be written: No space left"):
        save(sheet.with_name("new.set.toml"), TEXT, BEFORE, (MOVED, NECK), new=True)
    assert sheet.read_bytes() == TEXT.encode()
    assert names_in(sheet.parent) == [sheet.name]


def test_what_is_half_written_is_no_sheet_by_its_name(sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[tuple[str, ...]] = []
    while_written(monkeypatch, lambda: seen.append(tuple(path.name for path in sheets_in(sheet.parent))))
    save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert seen == [(sheet.name,)]


def test_a_write_protected_sheet_is_not_replaced(sheet: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    sheet.chmod(0o444)
    if os.access(sheet, os.W_OK):  # the superuser may write it all the same
        monkeypatch.setattr(os, "access", lambda *_: False)
    with pytest.raises(UsageError, match="write-protected"):
        save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert sheet.read_bytes() == TEXT.encode()


def test_a_sheet_that_was_taken_away_is_not_made_again(sheet: Path) -> None:
    sheet.unlink()
    with pytest.raises(SheetError, match="cannot be read: No such file"):
        save(sheet, TEXT, BEFORE, (MOVED, NECK))
    assert names_in(sheet.parent) == []


def test_a_new_sheet_is_made_with_its_zones(tmp_path: Path) -> None:
    path, text = tmp_path / "new.set.toml", new_sheet_text("new")
    saved = save(path, text, (), (RIM,), new=True)
    assert path.read_bytes() == saved.encode()
    assert zones_of(saved) == (replace(RIM, was="rim"),)
    assert save(path, saved, zones_of(saved), ()) == text == path.read_bytes().decode()


def test_a_new_sheet_replaces_none_that_came_meanwhile(sheet: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="there is a sheet already; it is not replaced"):
        save(sheet, new_sheet_text("new"), (), (RIM,), new=True)
    with pytest.raises(UsageError, match="cannot be written: No such file or directory"):
        save(tmp_path / "no" / "such.set.toml", new_sheet_text("new"), (), (RIM,), new=True)
    assert sheet.read_bytes() == TEXT.encode()
    assert names_in(tmp_path) == [sheet.name]
