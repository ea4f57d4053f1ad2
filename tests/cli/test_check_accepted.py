"""What was accepted in a watch holds for `qc check` and `qc ambient` too, and is said once."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from qc.intake import actions
from tests.cli.conftest import Run, scene, write
from tests.intake.logged import SHEET, Day

AREA = actions.Which(reading="highlights.unintended_area")


@pytest.fixture
def day(tmp_path: Path) -> Day:
    day = Day(tmp_path / "bottles")
    (day.out / "a.set.toml").write_text(SHEET)
    for number in (1, 2):
        day.shoot(f"SB_000{number}.dng", burnt=True)
    return day


def accept_all(day: Day, preset: str | None = None) -> int:
    alarms = [c for c in day.causes("SB_0002.dng") if c.level in ("note", "warn", "halt")]
    for _ in alarms:
        actions.accept(day.out, folder=day.folder, preset=preset)
    return len(alarms)


def test_a_capture_accepted_in_the_watch_is_clear_when_it_is_checked(run: Run, day: Day) -> None:
    captures = sorted(day.folder.iterdir())
    assert run("check", *captures).exit_code == 1
    count = accept_all(day)
    done = run("check", *captures)
    assert (done.exit_code, done.stdout.count(". clear")) == (0, 2)
    kept = day.out / "a.accepted.toml"
    assert done.stderr == (f"set sheet: {day.out / 'a.set.toml'}\naccepted: {count} exceptions from {kept}\n")
    done = run("check", *captures, "--sheet", day.out / "a.set.toml", "--json")
    assert done.stderr == f"accepted: {count} exceptions from {kept}\n"
    assert [json.loads(line)["verdict"]["level"] for line in done.stdout.splitlines()] == ["clear", "clear"]


def test_without_a_sheet_it_goes_with_the_preset(run: Run, tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles", preset="strict")
    day.shoot("SB_0002.dng", burnt=True)
    actions.accept(day.out, folder=day.folder, preset="strict", cause=AREA)
    done = run("check", day.folder / "SB_0002.dng", "--preset", "strict")
    assert "over" not in done.stdout.splitlines()[0]
    assert done.stderr == f"accepted: 1 exception from {day.out / 'set.accepted.toml'}\n"
    assert run("check", day.folder / "SB_0002.dng").stderr == ""


def test_an_ambient_test_is_judged_with_it_too(run: Run, day: Day) -> None:
    accept_all(day)
    for name, light in (("lit", scene() + scene() / 64), ("dark", scene() / 64)):
        write(day.folder / f"{name}.dng", light)
    done = run("ambient", day.folder / "lit.dng", day.folder / "dark.dng")
    assert f"accepted: 2 exceptions from {day.out / 'a.accepted.toml'}\n" in done.stderr
    assert done.exit_code == 0
