"""A whole day: every question is asked, nothing is told twice, and the order of arrival does not matter."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.day import DayFinding, read_day
from qc.errors import LogError
from qc.event import Event
from qc.frame import Camera
from qc.log.log import Log
from qc.log.rows import Captured, Logged
from qc.reading import Level
from qc.series.levels import severity
from qc.series.order import order_of
from qc.series.wrap import FINDINGS, counts, sheets_of, wrap
from qc.series.wrap.findings import finding
from tests.log.made import captured, content, measured
from tests.series.days import with_camera
from tests.series.wrap.days import SHEET, day, in_sets, logged
from tests.sheet.toys import SPECS
from tests.show.results import CAMERA

FRONT = "Stoneware bottles, front"


def test_every_question_is_asked_and_the_worst_is_told_first() -> None:
    text = SHEET + 'needs = ["clean plate"]\n'
    twice = ("SB_0013.dng", "SB_0014.dng")
    frames = [
        *(logged(number) for number in range(1, 11) if number != 4),
        logged(11, bytes=5_000_000, taken="2026-11-25T09:00:11"),
        logged(12, taken="2026-11-25T09:00:05"),
        logged(60, "label.dng", taken=None),
        logged(13, paths=twice, held=twice),
    ]
    judged = [in_sets(frame, text, name=FRONT) for frame in frames]
    badly = in_sets(logged(61, "SB_0002.dng", folder="b/"), "[set\n", digest="blake2b:bad", name=FRONT)
    found = wrap(day([*judged, badly], replaced=[logged(70, "SB_0001.dng")]))
    assert [one.code for one in found] == [
        "name_replaced",
        "numbers_missing",
        "clock_backwards",
        "content_again",
        "still_needed",
        "sheet_unread",
        "name_twice",
        "size_unusual",
        "no_time",
    ]
    (unread,) = [one.text for one in found if one.code == "sheet_unread"]
    assert unread.startswith(f"the set sheet in the log cannot be read: {FRONT}: line 1: not TOML")


def test_an_ordinary_day_and_an_empty_one_show_nothing() -> None:
    assert wrap(day([logged(number) for number in range(1, 20)])) == ()
    assert wrap(day([])) == ()


def test_no_finding_of_a_day_is_a_halt_and_every_code_has_its_meaning() -> None:
    with pytest.raises(ValueError, match="no finding about a day is called 'odd'"):
        finding("odd", Level.NOTE, "odd")
    assert all(meaning.strip() for meaning in FINDINGS.values())


BODIES = (with_camera(), with_camera(serial="R-2"), with_camera(serial=None), Camera())


def frames_of(draw: Any) -> list[Logged]:
    """A day in which everything can be odd but the recorded times, all of which differ."""
    numbers = draw(st.lists(st.sampled_from([1, 2, 3, 5, 8, 250, 251, 9998, 9999]), min_size=1, max_size=12))
    seconds = draw(st.lists(st.integers(0, 3599), min_size=len(numbers), max_size=len(numbers), unique=True))
    rows = enumerate(zip(numbers, seconds, strict=True))
    return [_frame(draw, place, number, second) for place, (number, second) in rows]


def _frame(draw: Any, place: int, number: int, second: int) -> Logged:
    prefix = draw(st.sampled_from(["SB_", "BK_", "_SB"]))
    suffix = draw(st.sampled_from([".dng", ".JPG", " (1).dng"]))
    settings = draw(
        st.sampled_from([with_camera(), with_camera(serial="R-2"), with_camera(serial=None), Camera()])
    )
    name = f"{prefix}{number:04}{suffix}"
    folder = f"{place}/"
    again = draw(st.sampled_from([None, f"SB_{number + 1:04}.dng", name]))
    paths = (folder + name, *(() if again is None else (f"{place}b/{again}",)))
    one = logged(
        place,
        name,
        folder=folder,
        settings=settings,
        taken=f"2026-11-25T09:{second // 60:02}:{second % 60:02}",
        bytes=draw(st.sampled_from([5_000_000, 50_000_000])),
        state=draw(st.sampled_from(["whole", "whole", "whole", "truncated"])),
        paths=paths,
        held=paths,
    )
    text = SHEET + 'needs = ["dark", "baseline"]\n'
    return in_sets(one, text, name=FRONT) if draw(st.booleans()) else one


def arrived(one: Logged, place: int) -> Logged:
    at = f"2026-11-25T11:00:{place:02}.000+00:00"
    order = order_of(one.result.camera.settings, at, one.result.file.name, place)
    return replace(one, order=order, arrived_at=at, paths=one.paths[:: 1 if place % 2 else -1])


@given(st.data())
def test_what_a_day_shows_is_the_same_for_any_order_of_arrival(data: st.DataObject) -> None:
    frames = frames_of(data.draw)
    others = data.draw(st.permutations(frames))
    one, other = (day([arrived(frame, place) for place, frame in enumerate(order)]) for order in (frames, others))
    assert wrap(one) == wrap(other)
    assert counts(one, sheets_of(one)) == counts(other, sheets_of(other))


@given(st.data())
def test_what_a_day_shows_is_sorted_names_its_captures_and_says_nothing_twice(data: st.DataObject) -> None:
    one = day(frames_of(data.draw))
    found = wrap(one)
    known = {taken.entry.content for taken in one.captures}
    assert all(set(f.contents) <= known and f.code in FINDINGS and severity(f.level) in (1, 2) for f in found)
    severities = [severity(f.level) for f in found]
    assert severities == sorted(severities, reverse=True)
    assert len({(f.code, f.text, f.contents) for f in found}) == len(found)


# -- over a log


def shot(number: int, name: str = "", *, at: int | None = None, **changes: Any) -> Captured:
    name = name or f"SB_{number:04}.dng"
    second = number if at is None else at
    settings = with_camera(taken=f"2026-11-25T09:00:{second:02}.000")
    camera = replace(CAMERA, settings=settings)
    result = measured(number, name, camera=camera, sheet_digest="blake2b:5e", sheet_name=FRONT)
    arrived_at = f"2026-11-25T10:00:{second:02}.000+00:00"
    order = order_of(settings, arrived_at, name, second)
    text = SHEET + 'needs = ["baseline"]\nbaseline = "SB_0001.dng"\n'
    return captured(number, name, result=result, order=order, arrived_at=arrived_at, sheet_text=text, **changes)


def told(log: Log) -> list[tuple[str, str]]:
    return [(found.code, found.text) for found in wrap(read_day(log, specs=SPECS))]


@pytest.fixture
def log(tmp_path: Path) -> Any:
    with Log.open(tmp_path / "day.qc") as opened:
        yield opened


def test_a_logged_day_shows_what_is_missing_and_what_came_twice(log: Log) -> None:
    for number in (2, 3, 5, 6, 7):
        log.add(shot(number))
    log.add(replace(shot(7), path="SB_0008.dng"))
    gone = "SB_0004.dng went away before it was measured"
    log.event(Event(kind="vanished", at="2026-11-25T10:00:04.000+00:00", text=gone, name="SB_0004.dng"))
    once_more = "SB_0008.dng is SB_0007.dng once more: the picture of one of these numbers may never have come"
    assert told(log) == [
        ("content_again", once_more),
        ("still_needed", f"{FRONT} still needs its baseline: SB_0001.dng is not among its captures"),
        ("numbers_explained", "SB_0004 went away before it was measured"),
    ]
    log.add(shot(1))
    assert [code for code, _ in told(log)] == ["content_again", "numbers_explained"]


def test_a_name_that_was_written_over_in_a_logged_day_is_told(log: Log) -> None:
    log.add(shot(1))
    log.add(shot(2))
    log.add(shot(12, "SB_0002.dng", at=12))
    assert told(log) == [
        (
            "name_replaced",
            "SB_0002.dng was written twice: no file holds the picture any more that came first, at 10:00:02",
        )
    ]
    (found,) = wrap(read_day(log, specs=SPECS))
    assert found == DayFinding(
        code="name_replaced",
        level=Level.WARN,
        text=found.text,
        contents=(content(12),),
        data={"replaced": content(2)},
    )


def test_a_report_reads_the_same_from_a_log_that_may_not_be_written(log: Log) -> None:
    log.add(shot(1))
    log.add(shot(3))
    before = told(log)
    log.close()
    with Log.open(log.out, create=False, read_only=True) as again:
        assert told(again) == before == [("numbers_missing", "SB_0002 missing: 1 frame")]
        with pytest.raises(LogError):
            again.add(shot(5))
