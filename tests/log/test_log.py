"""What is added to the log comes back, once, and nothing of it is ever taken away."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from qc.event import Event
from qc.log.keys import pair_known_as
from qc.log.log import Log
from qc.reading import Finding, Level, Reading, Reason, Unit
from qc.result import Verdict
from qc.series.entry import Purpose
from tests.log.made import DIGEST, LIGHT, TAKEN, captured, content, judged, key, measured, stamp, unread
from tests.sheet.toys import SPECS


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Log]:
    with Log.open(tmp_path / "day.qc") as opened:
        yield opened


def rows(log: Log, question: str) -> list[tuple[object, ...]]:
    with sqlite3.connect(log.path) as db:
        found = db.execute(question).fetchall()
    db.close()
    return found


def counts(log: Log) -> dict[str, object]:
    tables = ("sheets", "arrivals", "measurements", "readings", "verdicts", "judgements", "events")
    return {table: rows(log, f"SELECT count(*) FROM {table}")[0][0] for table in tables}


def at(text: str = "said", kind: str = "started", **changes: object) -> Event:
    return Event(kind=kind, at=TAKEN, text=text, **changes)  # type: ignore[arg-type]  # a test names any field


def test_a_capture_comes_back_as_it_was_added(log: Log) -> None:
    one = captured(1, complaints="unknown tag\n")
    log.add(one)
    (back,) = log.captures()
    assert back.result == one.result
    assert (back.content, back.path, back.paths) == (content(1), "SB_0001.dng", ("SB_0001.dng",))
    assert (back.order, back.took_s, back.complaints) == (one.order, 0.5, "unknown tag\n")
    assert back.sheet_text == one.sheet_text
    assert back.light is not None
    assert np.array_equal(back.light, LIGHT)
    assert not back.replaced
    assert log.measured(one.key) == one.result
    assert log.last() == log.find("SB_0001.dng") == log.find("/day/SB_0001.dng") == (one.result, "SB_0001.dng")
    digest = log.digest(content(1))
    assert digest is not None
    assert digest.full_size == DIGEST.full_size


def test_nothing_logged_is_nothing_to_tell(log: Log) -> None:
    assert log.last() is None
    assert log.find("SB_0001.dng") is None
    assert log.measured(key(1)) is None
    assert log.digest(content(1)) is None
    assert log.capture(content(1)) is None
    for nothing in (log.known("SB_0001.dng"), log.by_content(content(1)), log.arrivals(), log.events()):
        assert nothing == []
    assert [*log.captures(), *log.entries(SPECS)] == []


def test_the_same_again_changes_nothing(log: Log) -> None:
    one = captured(1, events=(at(),))
    log.add(one)
    before = counts(log)
    log.add(one)
    log.add(replace(one, took_s=9.0, events=(at("again"),)))
    assert counts(log) == before
    assert before == {
        "sheets": 1,
        "arrivals": 1,
        "measurements": 1,
        "readings": len(one.result.readings),
        "verdicts": 1,
        "judgements": 1,
        "events": 1,
    }


def test_the_same_content_under_another_name_is_one_measurement_with_two_arrivals(log: Log) -> None:
    log.add(captured(1))
    log.add(captured(1, "copy.dng", stamp=stamp(50)))
    assert counts(log) | {"arrivals": 2, "measurements": 1, "judgements": 1} == counts(log)
    assert log.by_content(content(1)) == ["SB_0001.dng", "copy.dng"]
    (back,) = log.captures()
    assert (back.path, back.paths) == ("SB_0001.dng", ("SB_0001.dng", "copy.dng"))
    found = log.find("copy.dng")
    assert found is not None
    assert (found[0].file.name, found[1]) == ("copy.dng", "copy.dng")


def test_new_content_under_a_known_name_is_a_new_capture_that_replaces_the_older(log: Log) -> None:
    log.add(captured(1, "capture.dng"))
    log.add(captured(2, "capture.dng"))
    assert log.known("capture.dng") == [(stamp(1), content(1)), (stamp(2), content(2))]
    assert [(c.content, c.replaced, c.result.replaces) for c in log.captures()] == [
        (content(1), True, None),
        (content(2), False, content(1)),
    ]
    assert [entry.content for entry in log.entries(SPECS)] == [content(2)]


def test_a_capture_that_lies_under_a_second_name_too_is_not_replaced(log: Log) -> None:
    log.add(captured(1, "a.dng"))
    log.add(captured(1, "b.dng"))
    log.add(captured(2, "a.dng"))
    assert [(c.content, c.path, c.held, c.replaced) for c in log.captures()] == [
        (content(1), "b.dng", ("b.dng",), False),
        (content(2), "a.dng", ("a.dng",), False),
    ]


def test_an_older_content_that_comes_back_under_its_name_stands_again(log: Log) -> None:
    for number, state in ((1, 1), (2, 2), (1, 3)):
        log.add(captured(number, "capture.dng", stamp=stamp(state)))
    assert [(c.content, c.replaced) for c in log.captures()] == [(content(1), False), (content(2), True)]


def test_a_raw_that_comes_after_its_picture_stands_for_it(log: Log) -> None:
    log.add(captured(1, "SB_0001.jpg"))
    log.add(captured(2, "SB_0001.dng", replaces=(content(1),)))
    assert [(c.content, c.replaced) for c in log.captures()] == [(content(1), True), (content(2), False)]
    log.add(captured(3, "SB_0003.jpg"))
    raw = captured(4, "SB_0003.dng")
    log.add(replace(raw, result=replace(raw.result, replaces=content(3))))
    assert [entry.content for entry in log.entries(SPECS)] == [content(2), content(4)]


def test_a_companion_that_comes_later_joins_its_capture(log: Log) -> None:
    one = captured(1)
    log.add(one)
    with_picture = replace(one.result.file, companions=("SB_0001.jpg",))
    log.add(replace(one, result=replace(one.result, file=with_picture), events=(at(kind="joined"),)))
    log.add(one)
    found = log.find("SB_0001.jpg")
    assert found is not None
    assert found[0].file.companions == ("SB_0001.jpg",)
    assert counts(log) | {"arrivals": 1, "measurements": 1, "events": 1} == counts(log)


@pytest.mark.parametrize("state", ["empty", "vanished", "unreadable"])
def test_a_file_that_could_not_be_read_is_in_the_log_once(log: Log, state: str) -> None:
    at_stamp = None if state == "vanished" else stamp(9)
    one = unread(state=state, at=at_stamp)
    log.add(one)
    log.add(one)
    (back,) = log.captures()
    assert (back.content, back.result.file.content, back.result.file.state) == (one.content, None, state)
    assert log.known("SB_0009.dng") == [(at_stamp, one.content)]
    (entry,) = log.entries(SPECS)
    assert (entry.content, entry.light, entry.state) == (one.content, None, state)


def test_a_file_that_can_be_read_later_takes_the_place_of_its_unread_state(log: Log) -> None:
    log.add(unread(at=stamp(9)))
    log.add(captured(9))
    assert [(c.result.file.state, c.replaced) for c in log.captures()] == [("unreadable", True), ("whole", False)]


def test_a_content_that_no_decoder_read_is_measured_once_one_can(log: Log) -> None:
    one = captured(1)
    file = replace(one.result.file, state="unsupported", detail="no decoder reads it")
    lost = replace(one.result, file=file, readings=(), digest=None, verdict=Verdict(level=Level.UNMEASURED))
    log.add(replace(one, result=lost, light=None))
    log.add(one)
    (back,) = log.captures()
    assert back.result == one.result
    assert log.measured(one.key) == one.result
    assert counts(log) | {"arrivals": 1, "measurements": 2} == counts(log)


def test_other_limits_judge_again_without_measuring(log: Log) -> None:
    one = captured(1)
    log.add(one)
    log.add(judged(one, Level.NOTE, "blake2b:22"))
    (back,) = log.captures()
    assert back.result.verdict.level == Level.NOTE
    assert log.last() == (back.result, "SB_0001.dng")
    assert counts(log) | {"measurements": 1, "verdicts": 2, "judgements": 2} == counts(log)
    assert rows(log, "SELECT level FROM current") == [("note",)]


def test_limits_that_come_back_make_the_older_verdict_the_current_one(log: Log) -> None:
    one = captured(1)
    for limits in ("blake2b:11", "blake2b:22", "blake2b:11"):
        log.add(judged(one, Level.NOTE if limits == "blake2b:22" else Level.HALT, limits))
    assert rows(log, "SELECT level, limits FROM current") == [("halt", "blake2b:11")]
    assert counts(log) | {"verdicts": 2, "judgements": 3} == counts(log)


def test_other_zones_are_another_measurement_and_the_first_one_stays(log: Log) -> None:
    one = captured(1)
    again = replace(one, key=key(1, zones="blake2b:0b"), result=measured(1, readings=one.result.readings[:2]))
    log.add(one)
    log.add(again)
    assert log.measured(one.key) == one.result
    assert log.measured(again.key) == again.result
    (back,) = log.captures()
    assert back.result == again.result


def test_each_verdict_keeps_the_text_it_was_judged_by(log: Log) -> None:
    one = captured(1, sheet_text="one", sheet_path="bottles.set.toml")
    log.add(one)
    log.add(replace(judged(one, Level.NOTE, "blake2b:22"), sheet_text="two"))
    kept = rows(
        log, "SELECT v.limits, s.text FROM verdicts AS v JOIN sheets AS s ON s.digest = v.sheet ORDER BY v.id"
    )
    assert kept == [("blake2b:11", "one"), ("blake2b:22", "two")]
    log.add(captured(2, sheet_text=None))
    assert [c.sheet_text for c in log.captures()] == ["two", None]


def test_readings_are_rows_that_hold_numbers_or_a_reason(log: Log) -> None:
    readings = (
        Reading(
            name="a.b",
            unit=Unit.STOPS,
            value=np.float32(0.5),  # type: ignore[arg-type]  # a measurement that forgot `float`
            plus_minus=np.int64(1),  # type: ignore[arg-type]
        ),
        Reading(
            name="a.c", unit=Unit.PERCENT, zone="label", reason=Reason("clipped", "too much of it is clipped")
        ),
        Reading(
            name="a.d", unit=Unit.PERCENT, value=2, bound="at least", doubt=Reason("no_noise_model", "unknown")
        ),
    )
    log.add(captured(1, result=measured(1, readings=readings)))
    assert rows(
        log,
        "SELECT name, zone, value, typeof(value), plus_minus, typeof(plus_minus), bound, unit,"
        " reason, reason_text, doubt FROM readings ORDER BY position",
    ) == [
        ("a.b", None, 0.5, "real", 1.0, "real", None, "stops", None, None, None),
        ("a.c", "label", None, "null", None, "null", None, "%", "clipped", "too much of it is clipped", None),
        ("a.d", None, 2.0, "real", None, "null", "at least", "%", None, None, "no_noise_model: unknown"),
    ]


@pytest.mark.parametrize("number", [float("nan"), float("inf"), np.float32("nan")])
def test_no_nan_gets_into_the_log_by_any_way(log: Log, number: float) -> None:
    bad = measured(1, findings=(Finding(code="glint", text="a glint", data={"size": number}),))
    with pytest.raises(ValueError, match="no place in JSON"):
        log.add(captured(1, result=bad))
    with pytest.raises(ValueError, match="no place in JSON"):
        log.event(at(data={"size": number}))
    assert not any(counts(log).values())
    log.add(captured(1))
    assert counts(log)["arrivals"] == 1


def test_the_whole_result_stands_as_json_of_the_contract(log: Log) -> None:
    log.add(captured(1))
    ((document,),) = rows(log, "SELECT document FROM measurements")
    assert isinstance(document, str)
    assert json.loads(document)["schema"] == "qc.capture/1"


def test_a_name_that_is_no_utf_8_comes_back_and_has_a_printable_form(log: Log) -> None:
    name = "bottle \udcff\n.dng"
    one = captured(1, name, complaints="cannot read \udcff", events=(at(name=name),))
    log.add(one)
    assert rows(log, "SELECT path, name FROM arrivals") == [(b"bottle \xff\n.dng", "bottle \\xff\\n.dng")]
    assert log.find(name) == log.last() == (one.result, name)
    assert log.known(name) == [(stamp(1), content(1))]
    assert [event.name for _, event in log.events()] == [name]
    (entry,) = log.entries(SPECS)
    assert (entry.name, entry.order) == (name, one.order)


def test_events_stand_in_one_timeline_and_keep_all_they_say(log: Log) -> None:
    said = [
        at("began"),
        at("bottle \udcff given a role", "role", content=content(1), data={"purpose": "dark"}),
        at("halted", "series", level=Level.HALT, name="SB_0001.dng", data={"stops": np.float64(-0.3)}),
    ]
    numbers = [log.event(event) for event in said]
    assert log.events() == list(zip(numbers, said, strict=True))
    assert log.events(after=numbers[0]) == log.events()[1:]
    assert log.events(kinds=("series", "started")) == [log.events()[0], log.events()[2]]
    assert log.events(kinds=()) == []
    assert numbers == sorted(numbers)


def test_entries_carry_role_and_answers_as_people_gave_them(log: Log) -> None:
    log.add(captured(1))
    log.event(at("dark", "role", content=content(1), data={"purpose": "dark"}))
    number = log.event(at("seen", "answered", content=content(1), data={"reading": "glint", "zone": None}))
    (entry,) = log.entries(SPECS)
    assert entry.purpose is Purpose.DARK
    assert (entry.answered, entry.accepted) == (frozenset({("glint", None)}), frozenset())
    log.event(at("back", "undone", data={"of": number}))
    (entry,) = log.entries(SPECS)
    assert entry.answered == frozenset()


def test_an_ambient_test_is_known_by_both_frames_and_the_newest_is_its_dark_frames(log: Log) -> None:
    for number in (1, 2, 3):
        log.add(captured(number))
    for lit, level in ((2, Level.CLEAR), (3, Level.WARN), (3, Level.WARN)):
        test = measured(lit, schema="qc.ambient/1", verdict=Verdict(level=level))
        log.add_ambient(test, dark=content(1), lit=content(lit), limits="blake2b:11", text=f"against {lit}")
    dark, *others = log.entries(SPECS)
    assert (dark.ambient, dark.ambient_lit) == (Verdict(level=Level.WARN), content(3))
    assert dark.ambient_text == "against 3"
    assert dark.verdict != dark.ambient
    assert [entry.ambient for entry in others] == [None, None]
    assert rows(log, "SELECT count(*) FROM measurements WHERE lit != ''") == [(2,)]
    assert rows(log, "SELECT count(*) FROM current") == [(3,)]
    assert log.digest(pair_known_as(content(1), content(3))) is not None


def test_the_last_capture_is_the_one_that_was_seen_last_not_the_one_measured_last(log: Log) -> None:
    log.add(captured(2, arrived_at="2026-11-25T10:00:05.000+01:00"))
    log.add(captured(1, arrived_at="2026-11-25T09:30:00.000+01:00"))
    last = log.last()
    assert last is not None
    assert last[1] == "SB_0002.dng"
    log.add(captured(3, arrived_at="2026-11-25T09:00:06.000+00:00"))
    last = log.last()
    assert last is not None
    assert last[1] == "SB_0003.dng"


def test_the_newest_of_two_captures_with_one_name_is_found(log: Log) -> None:
    log.add(captured(1, "SB_1.dng", path="a/SB_1.dng"))
    log.add(captured(2, "SB_1.dng", path="b/SB_1.dng"))
    by_name, by_path = log.find("SB_1.dng"), log.find("a/SB_1.dng")
    assert by_name is not None
    assert by_path is not None
    assert (by_name[1], by_path[0].file.content) == ("b/SB_1.dng", content(1))


def test_a_log_can_be_added_to_while_it_is_read(log: Log) -> None:
    for number in (1, 2):
        log.add(captured(number))
    seen = []
    for one in log.captures():
        seen.append(one.content)
        log.add(captured(len(seen) + 10))
    assert seen == [content(1), content(2)]
    assert len(list(log.captures())) == 4


@pytest.mark.parametrize(
    ("text", "flash"), [('[set]\nlight = "continuous"\n', False), ("[set]\n", True), (None, True)]
)
def test_entries_know_from_the_sheets_text_whether_flash_lit_the_set(
    tmp_path: Path, text: str | None, flash: bool
) -> None:
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(replace(captured(1), sheet_text=text))
        assert [entry.flash for entry in log.entries()] == [flash]
