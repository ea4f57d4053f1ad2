"""Zero configuration: on a rehearsed day nothing is a warn or a halt but what was planted and can be told."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from qc.measure import specs as all_specs
from qc.pipeline import measure_capture
from qc.rehearse.bottles import next_set
from qc.rehearse.day import Planned, plan, shoot_day
from qc.rehearse.faults import LAMP, Fault
from qc.series.entry import Entry, Standing
from qc.series.make import entry_of
from qc.series.order import light_of, order_of
from qc.series.run import fold
from tests.watch.days import ALARMS, EVERY, alarms, expected, explain

pytestmark = pytest.mark.timeout(300)

SMALL = (200, 300)


def folded(day: Sequence[Planned], folder: Path, size: tuple[int, int]) -> dict[str, Standing]:
    """Measure a day without a sheet and fold it; what is there twice counts once."""
    specs, entries = all_specs(), dict[str, Entry]()
    for number, delivered in enumerate(shoot_day(day, folder, size=size)):
        result = measure_capture(delivered.path)
        facts, light = result.camera.settings, light_of(result.digest) if result.digest is not None else None
        order = order_of(facts, delivered.planned.taken, result.file.name, number)
        entry = entry_of(result, order=order, light=light, specs=specs)
        entries.setdefault(entry.content, entry)
        delivered.path.unlink()
    names = {entry.content: entry.name for entry in entries.values()}
    return {names[s.content]: s for s in fold(tuple(entries.values()), specs=specs)}


@pytest.mark.parametrize(("seed", "size"), [(1, (400, 600)), (2, SMALL), (3, SMALL)])
def test_a_day_gives_the_alarms_that_were_planted_and_no_others(
    seed: int, size: tuple[int, int], tmp_path: Path
) -> None:
    day = plan(seed, 66, EVERY)
    standings = folded(day, tmp_path, size)
    assert alarms(standings) == expected(day), explain(standings)


def test_a_day_without_faults_gives_no_alarm(tmp_path: Path) -> None:
    standings = folded(plan(11, 80), tmp_path, SMALL)
    assert alarms(standings) == {}, explain(standings)


def test_other_bottles_in_every_frame_are_no_alarm(tmp_path: Path) -> None:
    rng = np.random.default_rng(4)
    day = [replace(frame, bottles=next_set(None, rng), setup=frame.noise) for frame in plan(4, 40)]
    standings = folded(day, tmp_path, SMALL)
    assert alarms(standings) == {}, explain(standings)


def test_a_misfire_in_a_bright_room_is_one_too(tmp_path: Path) -> None:
    day = plan(12, 40, (Fault.MISFIRE, Fault.TWO_MISFIRES), room=LAMP)
    standings = folded(day, tmp_path, SMALL)
    assert alarms(standings) == expected(day), explain(standings)


def test_the_first_reason_names_what_was_planted(tmp_path: Path) -> None:
    day = plan(13, 45, (Fault.MISFIRE, Fault.SETTING, Fault.CUT, Fault.AMBIENT, Fault.WEAK))
    standings = folded(day, tmp_path, SMALL)
    first = {name: standing.causes[0].reading for name, standing in standings.items() if standing.level in ALARMS}
    codes = {
        Fault.MISFIRE: "no_flash",
        Fault.SETTING: "settings_changed",
        Fault.CUT: "file.state",
        Fault.AMBIENT: "no_flash",
        Fault.WEAK: "light_changed",
    }
    told = [frame for frame in day if frame.planted is not None and frame.level in ALARMS]
    assert first == {frame.name: codes[frame.planted.fault] for frame in told if frame.planted is not None}
