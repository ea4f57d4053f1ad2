"""Whatever the order of arrival, a day says the same: one fold, many ways to get there."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.reading import Level
from qc.series import alarms, body, light, misfire
from qc.series import settings as changes
from qc.series.entry import Entry, Purpose, Standing
from qc.series.findings import FINDINGS, ORIGIN
from qc.series.order import in_order
from qc.series.pairs import pairs
from qc.series.run import Day, fold, says_more
from qc.sheet.limits import Place
from tests.series.days import dark, frame, limited, scene, with_camera
from tests.sheet.toys import SPECS

PICTURES = [scene(), scene(1), scene() * np.float32(0.7), scene() * np.float32(0.05), scene(2) * np.float32(1.4)]
BODIES = [with_camera(), with_camera(aperture=8.0), with_camera(serial="R-2"), with_camera(serial=None, iso=None)]
SETTLED: list[Place] = [
    ("no_flash", None),
    ("nearly_black", None),
    ("tint.shift", None),
    ("settings_changed", None),
]
ANSWERS = st.frozensets(st.sampled_from(SETTLED), max_size=2)
GRAVE = (Level.WARN, Level.HALT)
PURPOSES = st.sampled_from([None, None, None, Purpose.DARK, Purpose.LEAVE_OUT, Purpose.PATCH])


@st.composite
def captures(draw: st.DrawFn, number: int) -> Entry:
    """One capture in which anything can be, at any moment of the day: several may share one."""
    kind = draw(st.sampled_from(["frame", "frame", "frame", "dark", "limited"]))
    body_of = draw(st.sampled_from(BODIES))
    if kind == "limited":
        entry = limited(number, draw(st.sampled_from([None, 0.0, 4.5, 6.0, 12.0])), settings=body_of)
    else:
        entry = dark(number, settings=body_of) if kind == "dark" else frame(number, settings=body_of)
    second, counter = draw(st.integers(0, 12)), draw(st.sampled_from([1, 2, 3, 500, 5000, 9998, 9999]))
    return replace(
        entry,
        order=(f"2026-11-25T10:00:{second:02d}", draw(st.sampled_from(["SB_", "SB_", "T_"])), counter, number),
        light=draw(st.sampled_from([*PICTURES, None])) if kind == "frame" else entry.light,
        state=draw(st.sampled_from(["whole"] * 6 + ["truncated"])),
        kind=draw(st.sampled_from(["mosaic"] * 4 + ["rendered", None])),
        purpose=draw(PURPOSES),
        answered=draw(ANSWERS),
        accepted=draw(ANSWERS),
    )


FOLDS: tuple[Callable[..., Any], ...] = (changes.step, misfire.step, light.step)
DAYS = st.integers(0, 24).flatmap(lambda count: st.tuples(*(captures(number) for number in range(count))))


def told(day: Sequence[Entry]) -> tuple[Standing, ...]:
    return fold(day, specs=SPECS)


@settings(deadline=None, max_examples=80)
@given(day=DAYS, random=st.randoms(use_true_random=False))
def test_a_day_says_the_same_in_whatever_order_it_is_put_together(day: tuple[Entry, ...], random: Any) -> None:
    shuffled = list(day)
    random.shuffle(shuffled)
    assert told(shuffled) == told(day)
    assert pairs(shuffled) == pairs(day)


@settings(deadline=None, max_examples=80)
@given(day=DAYS, data=st.data())
def test_a_day_put_together_piece_by_piece_equals_the_fold_after_every_piece(
    day: tuple[Entry, ...], data: st.DataObject
) -> None:
    made, there = Day(SPECS), dict[str, Entry]()
    waiting = list(data.draw(st.permutations(day)))
    before: dict[str, Standing] = {}
    while waiting:
        doing = data.draw(st.sampled_from(["put", "put", "put", "put", "change", "drop", "again"]))
        if doing == "put" or not there:
            entry = waiting.pop()
            there[entry.content] = entry
            changed = made.put(entry)
        elif doing == "again":
            one = data.draw(st.sampled_from(sorted(there)))
            entry = data.draw(captures(int(one[1:])))
            there[one] = entry
            changed = made.put(entry)
        elif doing == "drop":
            one = data.draw(st.sampled_from(sorted(there)))
            del there[one]
            before.pop(one)
            changed = made.drop(one)
        else:
            one = data.draw(st.sampled_from(sorted(there)))
            fields: dict[str, Any] = {"purpose": data.draw(PURPOSES), "answered": data.draw(ANSWERS)}
            fields |= {"accepted": data.draw(ANSWERS)}
            there[one] = replace(there[one], **fields)
            changed = made.change(one, **fields)
        after = told(list(there.values()))
        assert made.standings == after
        assert changed == [standing for standing in after if says_more(before.get(standing.content), standing)]
        assert made.entries == tuple(in_order(there.values()))
        assert made.open_halts() == [standing for standing in after if standing.level == Level.HALT]
        assert made.pairs() == pairs(there.values())
        assert {one for one in there if made.is_dark(one)} >= made.pairs().keys()
        before = {standing.content: standing for standing in after}


@settings(deadline=None, max_examples=60)
@given(day=DAYS, data=st.data())
def test_a_frame_left_out_changes_nothing_for_the_others(day: tuple[Entry, ...], data: st.DataObject) -> None:
    more = replace(data.draw(captures(99)), purpose=Purpose.LEAVE_OUT)
    assert [s for s in told([*day, more]) if s.content != more.content] == list(told(day))


@settings(deadline=None, max_examples=60)
@given(day=DAYS)
def test_every_level_is_that_of_the_worst_cause_and_what_was_answered_is_a_note(
    day: tuple[Entry, ...],
) -> None:
    by_content = {entry.content: entry for entry in day}
    severities = {Level.NOTE: 1, Level.WARN: 2, Level.HALT: 3}
    for standing in told(day):
        entry = by_content[standing.content]
        ranks = [severities.get(cause.level, 0) for cause in standing.causes]
        assert ranks == sorted(ranks, reverse=True)
        assert severities.get(standing.level, 0) == max(ranks, default=0)
        seen = [cause for cause in standing.causes if (cause.reading, cause.zone) in standing.answered]
        assert [severities.get(cause.level, 0) for cause in seen] == [1] * len(seen)
        assert [cause.text.startswith("seen: ") for cause in standing.causes] == [
            c in seen for c in standing.causes
        ]
        told_of = {(cause.reading, cause.zone) for cause in standing.causes} - set(standing.answered)
        assert not told_of & entry.settled
        assert not set(standing.answered) & entry.accepted
        assert (standing.repeats > 0) == bool(standing.causes) == bool(standing.first_name)
        assert {cause.reading for cause in standing.causes if cause.origin == ORIGIN} <= FINDINGS.keys()
        assert standing.data.keys() <= FINDINGS.keys()


@settings(deadline=None, max_examples=80)
@given(day=DAYS)
def test_an_answer_changes_for_alarms_just_what_an_acceptance_does(day: tuple[Entry, ...]) -> None:
    accepted = told([replace(entry, answered=frozenset(), accepted=entry.settled) for entry in day])
    for seen, gone in zip(told(day), accepted, strict=True):
        alarms_left = tuple(c for c in seen.causes if (c.reading, c.zone) not in seen.answered)
        assert alarms_left == gone.causes
        assert (seen.easing, seen.data) == (gone.easing, gone.data)
        assert seen.level is (Level.NOTE if seen.answered and gone.level not in GRAVE else gone.level)
        if gone.causes and seen.causes[0] == gone.causes[0]:
            assert (seen.repeats, seen.first_name) == (gone.repeats, gone.first_name)


@settings(deadline=None, max_examples=40)
@given(day=DAYS)
def test_every_fold_leaves_the_state_it_was_given_as_it_was(day: tuple[Entry, ...]) -> None:
    states: tuple[Any, ...] = (changes.START, misfire.START, light.START)
    for entry in in_order(day):
        for fold_of, state in zip(FOLDS, states, strict=True):
            assert fold_of(state, entry) == fold_of(state, entry)
        states = tuple(fold_of(state, entry)[0] for fold_of, state in zip(FOLDS, states, strict=True))
        up: alarms.State = {("tint.shift", None): alarms.Up(level=Level.NOTE, limit=5.0, count=2, first_name="a")}
        kept = dict(up)
        alarms.step(up, entry, entry.verdict.causes, worse={"tint.shift": "either"}, silent=False)
        assert up == kept


def test_another_picture_of_the_same_capture_is_taken_up_by_the_frames_after_it() -> None:
    day, made = [frame(n) for n in range(8)], Day(SPECS)
    for entry in day:
        made.put(entry)
    others = [replace(entry, light=scene() * np.float32(0.5)) for entry in day[:6]]
    for entry in others:
        made.put(entry)
    assert made.standings == told([*others, *day[6:]])
    assert [c.text for c in made.standings[6].causes] == ["light +1.0 stop against the last frames"]


def test_dropping_what_is_not_there_changes_nothing_and_changing_it_is_an_error() -> None:
    made = Day(SPECS)
    assert made.drop("c1") == []
    with pytest.raises(KeyError):
        made.change("c1", purpose=None)
    assert made.standing("c1") is None
    assert made.entry("c1") is None


def test_of_the_same_content_twice_the_last_counts() -> None:
    assert told([frame(1, state="truncated"), frame(1)]) == told([frame(1)])


def test_a_frame_at_the_end_is_one_step_however_long_the_day_is(monkeypatch: pytest.MonkeyPatch) -> None:
    steps: list[str] = []
    see = body.see

    def counted(state: body.SeenState, entry: Entry) -> tuple[body.SeenState, body.Seen]:
        steps.append(entry.name)
        return see(state, entry)

    monkeypatch.setattr(body, "see", counted)
    made = Day(SPECS)
    day = [replace(frame(n), order=("2026-11-25T10:00:00", "SB_", n, n)) for n in range(60)]  # a clock that stands
    for entry in day:
        made.put(entry)
    assert len(steps) == 60
    made.put(replace(frame(99), order=("2026-11-25T10:00:00", "SB_", 20, 99)))
    assert len(steps) < 60 + 10


def test_a_late_frame_tells_no_frame_again_whose_row_only_became_longer() -> None:
    made = Day(SPECS)
    for number in (2, 3, 4):
        made.put(limited(number, 6.0))
    assert [standing.content for standing in made.put(limited(1, 6.0))] == ["c1"]
    assert [standing.repeats for standing in made.standings] == [1, 2, 3, 4]
    assert {standing.first_name for standing in made.standings} == {"SB_0001.dng"}
