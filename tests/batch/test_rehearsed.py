"""The rehearsed day through the check: what is told is what was planted, whoever measured which part of it."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.batch.check import DayCheck
from qc.intake.updates import Judged
from qc.rehearse.day import Planned, day_sheet, plan, shoot_day
from qc.rehearse.faults import Fault
from qc.series.entry import Standing
from tests.batch.counting import Checked
from tests.watch.days import EVERY, alarms, expected, explain
from tests.watch.running import snapshot, watching

pytestmark = pytest.mark.timeout(300)

SIZE = (200, 300)


@pytest.fixture(scope="module")
def day() -> list[Planned]:
    return list(plan(1, 66, EVERY))


@pytest.fixture(scope="module")
def folder(day: list[Planned], tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The captures of the day; nothing may be written there."""
    made = tmp_path_factory.mktemp("day") / "captures"
    made.mkdir()
    for _ in shoot_day(day, made, size=SIZE):
        pass
    return made


def standings(told: list[Judged]) -> dict[str, Standing]:
    return {one.result.file.name: one.standing for one in told}


@pytest.mark.parametrize("workers", [1, 2])
def test_the_check_says_of_a_day_what_was_planted(
    workers: int, day: list[Planned], folder: Path, tmp_path: Path
) -> None:
    before = snapshot(folder)
    checked = Checked(folder, tmp_path / "decodes", workers=workers, out=tmp_path / "out")
    said = standings(checked.measured)
    assert alarms(said) == expected(day), explain(said)
    assert len(checked.events("duplicate")) == 1
    assert checked.events("worker_lost") == []
    assert snapshot(folder) == before


def test_half_by_the_watch_and_half_by_the_check_is_the_same_day(
    day: list[Planned], folder: Path, tmp_path: Path
) -> None:
    whole = Checked(folder, tmp_path / "decodes", out=tmp_path / "whole")
    half = tmp_path / "captures"
    half.mkdir()
    files = sorted(folder.iterdir())
    for path in files[::2]:
        (half / path.name).hardlink_to(path)
    with watching(half) as running:
        running.settle_down()
    for path in files[1::2]:
        (half / path.name).hardlink_to(path)
    checked = Checked(half, tmp_path / "decodes")
    assert alarms(standings(checked.measured)) == expected(day)
    assert {o.standing.content: o.standing.level for o in checked.measured} == {
        o.standing.content: o.standing.level for o in whole.measured
    }
    assert not {path.name for path in files[::2] if path.suffix == ".dng"} & {
        name for name, times in checked.decoded.items() if times > 1
    }


def test_a_day_with_its_sheet_is_judged_by_it(tmp_path: Path) -> None:
    folder, out = tmp_path / "captures", tmp_path / "captures.qc"
    folder.mkdir()
    out.mkdir()
    (out / "bottles.set.toml").write_text(day_sheet())
    day = plan(3, 24, (Fault.AMBIENT,))
    for _ in shoot_day(day, folder):
        pass
    check = DayCheck(folder, jobs=2)
    told = [one for one in check.run() if isinstance(one, Judged)]
    assert len(told) == 24
    assert {one.result.sheet_name for one in told} == {check.intent.sheet.name if check.intent.sheet else ""}
    (dark,) = (frame.name for frame in day if not frame.heads)
    assert "stops under" in str(standings(told)[dark].causes)
