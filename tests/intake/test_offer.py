"""What the menu says before a value is accepted is what accepting it then does."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from qc.intake.actions import accept
from qc.intake.offer import offer
from qc.result import Cause
from tests.intake.logged import SHEET, Day

AREA = "highlights.unintended_area"


@pytest.fixture
def day(tmp_path: Path) -> Day:
    day = Day(tmp_path / "bottles")
    (day.out / "a.set.toml").write_text(SHEET)
    return day


def offered(day: Day, content: str | None, cause: Cause) -> str | None:
    return offer(day.out, folder=day.folder, sheet=None, preset=None, content=str(content), cause=cause)


def test_the_bar_that_is_offered_is_the_bar_that_holds_once_it_is_accepted(day: Day) -> None:
    content = day.shoot("SB_0002.dng", burnt=True).file.content
    cause = day.causes("SB_0002.dng")[0]
    said = offered(day, content, cause)
    event = accept(day.out, folder=day.folder, content=content, cause=cause)
    assert said is not None
    assert said.startswith("accept label burnt up to ")
    assert event.text.startswith(f"{said.replace('accept ', 'accepted: ')} (was 0.2)")
    assert offered(day, content, cause) == "for this frame only: no limit changes"


def test_where_it_cannot_be_known_nothing_is_offered(day: Day, tmp_path: Path) -> None:
    content = day.shoot("SB_0002.dng", burnt=True).file.content
    cause = day.causes("SB_0002.dng")[0]
    assert offered(day, "blake2b:nothing", cause) is None
    assert offered(day, content, replace(cause, reading="no_flash")) is None
    nowhere = tmp_path / "nowhere"
    assert offer(nowhere, folder=day.folder, sheet=None, preset=None, content=str(content), cause=cause) is None


def test_while_two_sheets_hold_nothing_is_offered(day: Day) -> None:
    content = day.shoot("SB_0002.dng", burnt=True).file.content
    cause = day.causes("SB_0002.dng")[0]
    (day.out / "b.set.toml").write_text(SHEET)
    assert offered(day, content, cause) is None
