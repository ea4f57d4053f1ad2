"""An alarm clears at 80 % of its limit: common practice, no published source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from qc.reading import Level, Worse
from qc.result import Cause, Verdict
from qc.series import alarms
from qc.series.entry import Entry, Purpose, Standing
from tests.series.days import UNJUDGED, dark, folded, frame, levels, limited, with_camera

PLACE = ("tint.shift", None)


def values(*given: float | None) -> list[Standing]:
    return folded(*(limited(n, value) for n, value in enumerate(given)))


def test_an_alarm_eases_until_the_value_is_under_80_percent_of_its_limit() -> None:
    found = values(6.0, 4.5, 4.0, 3.9, 4.5)  # note above 5
    assert [s.level for s in found] == [Level.NOTE, *[Level.CLEAR] * 4]
    assert [s.easing for s in found] == [(), (PLACE,), (PLACE,), (), ()]


def test_a_frame_in_which_an_alarm_eases_counts_for_the_row_and_gets_no_level() -> None:
    found = values(-6.0, -4.5, -7.0, 3.0, 6.0)
    assert [(s.level, s.repeats) for s in found] == [
        ("note", 1), ("clear", 0), ("note", 3), ("clear", 0), ("note", 1)
    ]  # fmt: skip
    assert [s.first_name for s in found] == ["SB_0000.dng", "", "SB_0000.dng", "", "SB_0004.dng"]


def test_the_limit_that_counts_is_the_one_that_raised_it() -> None:
    assert values(12.0, 4.5)[1].easing == ()  # warn above 10, eased under 8


def test_a_milder_level_takes_over_when_the_worse_one_has_eased() -> None:
    assert values(12.0, 9.0, 8.5)[2].repeats == 3
    assert values(12.0, 7.0, 4.5)[2].easing == (PLACE,)  # the note's limit of 5 counts since 7


@pytest.mark.parametrize(
    ("worse", "limit", "value", "still"),
    [
        ("high", 10.0, 8.0, True), ("high", 10.0, 7.9, False),
        ("low", 6.0, 7.5, True), ("low", 6.0, 7.6, False),
        ("either", 10.0, -8.0, True), ("either", 10.0, -7.9, False),
        ("high", 0.0, 0.0, False), ("low", 0.0, 0.0, False),
    ],
)  # fmt: skip
def test_which_way_is_worse_decides_how_an_alarm_eases(
    worse: Worse, limit: float, value: float, still: bool
) -> None:
    cause = Cause(reading="r", zone=None, level=Level.WARN, limit=limit, origin="sheet", text="r")
    ways = {"r": worse}
    state, _ = alarms.step(alarms.START, frame(1), [cause], worse=ways, silent=False)
    _, easing = alarms.step(state, frame(2, values={("r", None): value}), [], worse=ways, silent=False)
    assert easing == ((("r", None),) if still else ())


def test_a_frame_without_the_value_neither_counts_nor_ends_the_row() -> None:
    found = values(6.0, None, 6.0)
    assert [s.repeats for s in found] == [1, 0, 2]
    assert found[1].easing == ()


@pytest.mark.parametrize(
    "between",
    [
        dark(2),
        dark(2, purpose=Purpose.DARK),
        limited(2, 0.0, purpose=Purpose.LEAVE_OUT),
        frame(2, state="empty", verdict=UNJUDGED),
    ],
)
def test_a_frame_that_says_nothing_of_the_light_does_not_end_a_row(between: Entry) -> None:
    assert folded(limited(1, 6.0), between, limited(3, 6.0))[2].repeats == 2


def test_an_accepted_cause_does_not_count_and_ends_the_row() -> None:
    day = [limited(1, 12.0), limited(2, 12.0, accepted=frozenset({PLACE})), limited(3, 12.0)]
    found = folded(*day)
    assert [s.level for s in found] == [Level.WARN, Level.CLEAR, Level.WARN]
    assert [s.repeats for s in found] == [1, 0, 1]


def test_an_answered_cause_is_no_alarm_ends_the_row_and_stays_as_a_note() -> None:
    day = [limited(1, 12.0), limited(2, 12.0, answered=frozenset({PLACE})), limited(3, 12.0)]
    found = folded(*day)
    assert [s.level for s in found] == [Level.WARN, Level.NOTE, Level.WARN]
    assert [(s.repeats, s.first_name) for s in found] == [(1, f"SB_000{n}.dng") for n in (1, 2, 3)]
    (seen,) = found[1].causes
    (was,) = day[1].verdict.causes
    assert seen == replace(was, level=Level.NOTE, text="seen: tint 12")
    assert [s.answered for s in found] == [(), (PLACE,), ()]


def test_a_cause_that_was_answered_and_accepted_is_accepted() -> None:
    (one,) = folded(limited(1, 12.0, answered=frozenset({PLACE}), accepted=frozenset({PLACE})))
    assert (one.level, one.causes, one.answered) == (Level.CLEAR, (), ())


def test_a_frame_stands_at_what_nobody_answered_and_what_was_seen_comes_after_it() -> None:
    burnt, soft, hint = (
        Cause(reading=name, zone=None, level=level, limit=1.0, origin="sheet", text=name)
        for name, level in (("burnt", Level.HALT), ("soft", Level.WARN), ("hint", Level.NOTE))
    )
    blind = Cause(reading="r", zone=None, level=Level.UNMEASURED, limit=None, origin="sheet", text="not read")
    entry = frame(1, verdict=Verdict(level=Level.HALT, causes=(burnt, soft, hint, blind)))
    (one,) = folded(replace(entry, answered=frozenset({("burnt", None)})))
    assert one.level is Level.WARN
    assert [(c.text, c.level) for c in one.causes] == [
        ("soft", "warn"), ("hint", "note"), ("seen: burnt", "note"), ("not read", "unmeasured")
    ]  # fmt: skip
    (one,) = folded(replace(entry, answered=frozenset({("burnt", None), ("soft", None)})))
    assert one.level is Level.NOTE
    assert [c.text for c in one.causes] == ["hint", "seen: burnt", "seen: soft", "not read"]


def test_a_file_that_could_not_be_read_and_was_answered_is_still_unmeasured_and_says_so() -> None:
    place = ("file.state", None)
    state = Cause(
        reading=place[0], zone=None, level=Level.UNMEASURED, limit=None, origin="always", text="unsupported"
    )
    verdict = Verdict(level=Level.UNMEASURED, causes=(state,))
    (one,) = folded(frame(1, state="unsupported", verdict=verdict, answered=frozenset({place})))
    assert (one.level, [c.text for c in one.causes], one.answered) == (
        "unmeasured",
        ["seen: unsupported"],
        (place,),
    )


def test_a_cut_file_that_was_answered_is_a_note() -> None:
    state = Cause(reading="file.state", zone=None, level=Level.HALT, limit=None, origin="always", text="truncated")
    verdict = Verdict(level=Level.HALT, causes=(state,))
    (one,) = folded(frame(1, state="truncated", verdict=verdict, answered=frozenset({("file.state", None)})))
    assert (one.level, [c.text for c in one.causes]) == ("note", ["seen: truncated"])


def test_a_frame_left_out_says_that_it_is_and_nothing_else() -> None:
    (one,) = folded(limited(1, 12.0, purpose=Purpose.LEAVE_OUT))
    assert (one.level, [(c.text, c.level) for c in one.causes]) == ("unjudged", [("left out", "unjudged")])
    assert one.data == {}


def test_files_that_are_not_whole_are_never_counted_in_a_row() -> None:
    def broken(number: int, state: str) -> Entry:
        text = f"{state}: half is missing"
        cause = Cause(reading="file.state", zone=None, level=Level.HALT, limit=None, origin="always", text=text)
        return frame(number, state=state, kind=None, verdict=Verdict(level=Level.HALT, causes=(cause,)))

    found = folded(
        broken(1, "empty"), broken(2, "truncated"), broken(3, "damaged"), frame(4), broken(5, "damaged")
    )
    assert [(s.repeats, s.first_name) for s in found] == [
        (1, "SB_0001.dng"), (1, "SB_0002.dng"), (1, "SB_0003.dng"), (0, ""), (1, "SB_0005.dng")
    ]  # fmt: skip


def test_each_body_has_rows_of_its_own() -> None:
    other = with_camera(serial="R-2")
    day = [limited(1, 6.0), limited(2, 0.0, settings=other), limited(3, 6.0), limited(4, 6.0, settings=other)]
    assert [s.repeats for s in folded(*day)] == [1, 0, 2, 1]


@pytest.mark.parametrize(("state", "level"), [("whole", Level.UNJUDGED), ("truncated", Level.HALT)])
def test_of_a_frame_left_out_only_its_file_counts(state: str, level: Level) -> None:
    cause = Cause(reading="file.state", zone=None, level=Level.HALT, limit=None, origin="always", text=state)
    verdict = Verdict(level=Level.HALT, causes=(cause,)) if state != "whole" else limited(1, 12.0).verdict
    assert levels(frame(1, state=state, verdict=verdict, purpose=Purpose.LEAVE_OUT)) == [level]
