"""What has to be told of a result besides what was measured."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import pytest

from qc.intake.placing import Arrived, Clock, Used, captured, events_of, place_of
from qc.intake.roster import Roster
from qc.intake.updates import Stamp
from qc.pipeline import unmeasured
from tests.log.made import content, stamp


@pytest.mark.parametrize(
    ("renamed", "text"),
    [
        (False, "best.dng is SB_0001.dng once more: not measured again"),
        (True, "best.dng is SB_0001.dng under another name: not measured again"),
    ],
)
def test_a_duplicate_says_whether_the_file_was_renamed(tmp_path: Path, renamed: bool, text: str) -> None:
    roster = Roster(tmp_path)
    roster.present("SB_0001.dng")
    roster.remember("SB_0001.dng", stamp(1), content(1))
    if renamed:
        roster.gone("SB_0001.dng")
    place = place_of(roster, "best.dng", stamp(2), content(1))
    (event,) = events_of(roster, "best.dng", place)
    assert (event.kind, event.text) == ("duplicate", text)
    assert event.data == {"of": "SB_0001.dng", "renamed": renamed}


def test_a_capture_without_a_recorded_time_stands_where_its_file_was_written_not_where_it_was_found(
    tmp_path: Path,
) -> None:
    roster = Roster(tmp_path)
    written = datetime(2026, 11, 25, 10, 0, 3).astimezone()
    state = Stamp(size=9000, mtime_ns=round(written.timestamp()) * 1_000_000_000, inode=7)
    arrived = Arrived(path="SB_0003.dng", stamp=state, at="2026-11-25T18:30:00.000+01:00", number=3)
    result = unmeasured(tmp_path / "SB_0003.dng", "cut")
    place = place_of(roster, arrived.path, state, content(3))
    used = Used(sheet=None, preset=None, text=None)
    assert captured(arrived, result, used, place, specs=()).order[0] == "2026-11-25T10:00:03.000"


def test_a_capture_without_a_time_is_placed_by_the_clock_of_those_that_have_one() -> None:
    # the camera is an hour and two minutes behind this machine
    written = datetime(2026, 11, 25, 11, 2, 0)
    clock = Clock()
    clock.note("2026-11-25T10:00:00.250", state_at(written))
    assert clock.time_of(state_at(written + timedelta(seconds=10))) == "2026-11-25T10:00:10.250"


def state_at(written: datetime) -> Stamp:
    return Stamp(size=9000, mtime_ns=round(written.astimezone().timestamp() * 1000) * 1_000_000, inode=7)


def test_what_was_cut_and_is_whole_now_is_complete_and_no_other_capture(tmp_path: Path) -> None:
    roster = Roster(tmp_path)
    roster.remember("SB_0001.dng", stamp(1), content(1))
    place = place_of(roster, "SB_0001.dng", stamp(2), content(2))
    told = [
        event.text for whole in (False, True) for event in events_of(roster, "SB_0001.dng", place, was_whole=whole)
    ]
    assert told == ["SB_0001.dng is complete now", "SB_0001.dng holds another capture than before"]


def test_captures_of_one_name_in_two_folders_are_told_with_their_folders(tmp_path: Path) -> None:
    roster = Roster(tmp_path)
    roster.remember("one/SB_0001.dng", stamp(1), content(1))
    place = place_of(roster, "two/SB_0001.dng", stamp(2), content(1))
    (event,) = events_of(roster, "two/SB_0001.dng", place)
    assert event.text == "two/SB_0001.dng is one/SB_0001.dng under another name: not measured again"
