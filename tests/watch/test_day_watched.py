"""The rehearsed day through the watch: what it says at the end is what was planted, each capture told once."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from qc.intake.updates import Judged, Restated
from qc.rehearse.day import Planned, plan, shoot_day
from qc.rehearse.faults import Fault
from qc.series.entry import Standing
from tests.watch.days import EVERY, alarms, expected, explain
from tests.watch.running import Running, snapshot, watching

pytestmark = pytest.mark.timeout(300)


def standings_of(running: Running) -> dict[str, Standing]:
    """Return what was last said of each capture."""
    last: dict[str, Standing] = {}
    for update in list(running.updates):
        if isinstance(update, Judged):
            last[update.result.file.name] = update.standing
        elif isinstance(update, Restated):
            last[update.name] = update.standing
    return last


def test_the_watch_says_of_a_day_what_the_fold_says(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    day = plan(1, 66, EVERY)
    copy = next(number for number, frame in enumerate(day) if _is_copy(frame))
    twins = {day[copy - 1].name, day[copy].name}
    with watching(folder) as running:
        names = [delivered.path.name for delivered in shoot_day(day, folder, size=(200, 300))]
        before = snapshot(folder)
        running.wait_for(*(name for name in names if name not in twins))
        running.until(lambda: running.events("duplicate") != [], "the copy")
        running.settle_down()
        said, told = standings_of(running), running.names()
        # newest first: whichever of the two was looked at last is the copy
        (duplicate,) = (event.name for event in running.events("duplicate"))
        assert snapshot(folder) == before
    assert alarms(said) == expected(day), explain(said)
    assert duplicate in twins
    assert told == Counter(set(names) - {duplicate})  # the JPEG beside a raw is none


def test_a_watch_started_for_the_test_gives_no_alarm_for_dark_frames(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    day = plan(2, 20, (Fault.AMBIENT,))
    with watching(folder, test=True) as running:
        delivered = list(shoot_day(day, folder, size=(400, 600)))
        running.wait_for(*(d.path.name for d in delivered))
        running.settle_down()
        (dark,) = (frame.name for frame in day if not frame.heads)
        running.until(lambda: "stops under" in str(standings_of(running)[dark].causes), "the ambient figures")
        assert alarms(standings_of(running)) == {}, explain(standings_of(running))


def _is_copy(frame: Planned) -> bool:
    return frame.planted is not None and frame.planted.fault is Fault.COPY
