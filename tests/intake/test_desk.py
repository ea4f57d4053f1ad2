"""What people say of frames on the watch's desk."""

from __future__ import annotations

from qc.event import Event
from qc.intake.desk import Desk
from qc.reading import Level
from qc.series.entry import Purpose
from tests.series.days import dark, frame
from tests.sheet.toys import SPECS


def event(kind: str, content: str, **data: object) -> Event:
    return Event(kind=kind, at="2026-11-25T10:00:00.000+01:00", text="said", content=content, data=data)


def desk() -> Desk:
    """A watch for ambient tests, with four lit frames and one without flash."""
    desk = Desk(SPECS, test=True)
    for number in range(4):
        desk.put(frame(number))
    desk.put(dark(4))
    return desk


def purpose(desk: Desk) -> Purpose | None:
    entry = desk.day.entry("c4")
    assert entry is not None
    return entry.purpose


def test_an_answer_to_a_frame_that_the_test_declared_dark_leaves_it_dark() -> None:
    told = desk()
    assert purpose(told) is Purpose.DARK
    told.heard([(1, event("answered", "c4", reading="no_flash", zone=None))])
    assert purpose(told) is Purpose.DARK
    standing = told.day.standing("c4")
    assert standing is not None
    assert standing.level not in (Level.WARN, Level.HALT)


def test_another_role_goes_before_and_taken_back_it_is_dark_again() -> None:
    told = desk()
    role = event("role", "c4", purpose="leave-out")
    told.heard([(1, role)])
    assert purpose(told) is Purpose.LEAVE_OUT
    told.heard([(1, role), (2, event("undone", "c4", of=1))])
    assert purpose(told) is Purpose.DARK
