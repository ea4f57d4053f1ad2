"""What has to be told of a result besides what was measured."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.intake.placing import events_of, place_of
from qc.intake.roster import Roster
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
