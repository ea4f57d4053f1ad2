"""TRAPS 19 and 51: counters wrap and repeat, clocks have no zone, stand at 1970 or run backwards."""

from __future__ import annotations

from dataclasses import replace
from itertools import permutations
from typing import Any

import pytest

from qc.frame import Camera
from qc.series.entry import Entry, Purpose
from qc.series.order import in_order, order_of
from qc.series.run import Day
from tests.series.days import frame
from tests.sheet.toys import SPECS

ARRIVED = "2026-11-25T18:30:00.500+01:00"


def names_in_order(*given: tuple[str | None, str]) -> list[str]:
    """The names of captures, given with the time taken, in the order they were taken; the same for any arrival."""
    entries = [
        replace(frame(n), name=name, order=order_of(Camera(taken=taken), ARRIVED, name, n))
        for n, (taken, name) in enumerate(given)
    ]
    orders = {tuple(entry.name for entry in in_order(one)) for one in permutations(entries)}
    assert len(orders) == 1
    return list(orders.pop())


def test_time_decides_before_any_name() -> None:
    assert names_in_order(("2026-11-25T10:00:01", "SB_0001.dng"), ("2026-11-25T10:00:00", "SB_0009.dng")) == [
        "SB_0009.dng",
        "SB_0001.dng",
    ]


def test_a_recorded_offset_is_taken_into_account() -> None:
    found = names_in_order(
        ("2026-11-25T10:00:00+01:00", "A_1.dng"), ("2026-11-25T09:30:00+00:00", "B_1.dng"),
        ("2026-11-25T08:30:00-02:00", "C_1.dng"),
    )  # fmt: skip
    assert found == ["A_1.dng", "B_1.dng", "C_1.dng"]


def test_parts_of_a_second_decide_where_they_are_recorded() -> None:
    found = names_in_order(("2026-11-25T10:00:00.250", "SB_0001.dng"), ("2026-11-25T10:00:00.100", "SB_0002.dng"))
    assert found == ["SB_0002.dng", "SB_0001.dng"]


def test_within_one_moment_the_counter_decides_as_a_number() -> None:
    moment = "2026-11-25T10:00:00"
    assert names_in_order((moment, "SB_10.dng"), (moment, "SB_9.dng")) == ["SB_9.dng", "SB_10.dng"]


def test_a_counter_that_rolls_over_within_one_moment_goes_on() -> None:
    moment = "2026-11-25T10:00:00"
    rolled = ["SB_9998.dng", "SB_9999.dng", "SB_0001.dng", "SB_0002.dng"]
    assert names_in_order(*((moment, name) for name in reversed(rolled))) == rolled


def test_a_counter_far_from_its_end_does_not_roll_over() -> None:
    moment = "2026-11-25T10:00:00"
    assert names_in_order((moment, "SB_5000.dng"), (moment, "SB_0001.dng")) == ["SB_0001.dng", "SB_5000.dng"]


def test_a_rollover_an_hour_apart_is_decided_by_time() -> None:
    found = names_in_order(("2026-11-25T10:00:00", "SB_9999.dng"), ("2026-11-25T11:00:00", "SB_0001.dng"))
    assert found == ["SB_9999.dng", "SB_0001.dng"]


def test_the_same_name_and_moment_is_decided_by_arrival() -> None:
    first, second = (order_of(Camera(taken="2026-11-25T10:00:00"), ARRIVED, "capt0000.dng", n) for n in (1, 2))
    assert first < second


@pytest.mark.parametrize("taken", [None, "", "yesterday", "2026-11-25T24:61:00", "0001-01-01T00:00:00+14:00"])
def test_a_time_that_is_not_recorded_or_cannot_have_been_is_the_time_of_arrival(taken: str | None) -> None:
    assert order_of(Camera(taken=taken), ARRIVED, "SB_0001.dng", 7) == ("2026-11-25T18:30:00.500", "SB_", 1, 7)


@pytest.mark.parametrize(
    ("name", "prefix", "counter"),
    [
        ("SB_0042.dng", "SB_", 42),
        ("Flasche_ü_7.DNG", "Flasche_ü_", 7),
        ("٣.dng", "٣.dng", 0),  # digits of another script are no counter of a camera
        ("0001", "", 1),
        ("no counter.dng", "no counter.dng", 0),
        ("SB_0042.proof.dng", "SB_0042.proof.dng", 0),
    ],
)
def test_what_is_taken_for_a_counter(name: str, prefix: str, counter: int) -> None:
    assert order_of(Camera(), ARRIVED, name, 0)[1:3] == (prefix, counter)


def test_a_frame_left_out_has_no_say_in_where_the_others_of_its_moment_stand() -> None:
    def at(counter: int, **more: Any) -> Entry:
        return replace(frame(counter), order=("2026-11-25T10:00:00", "SB_", counter, counter), **more)

    middle, last, left = at(5000), at(9998), at(1, purpose=Purpose.LEAVE_OUT)
    assert [e for e in in_order([middle, last, left]) if e is not left] == in_order([middle, last])
    day = Day(SPECS)
    for entry in (middle, last, replace(left, purpose=None)):
        day.put(entry)
    assert [e.order[2] for e in day.entries] == [9998, 1, 5000]
    day.change(left.content, purpose=Purpose.LEAVE_OUT)
    assert [e.order[2] for e in day.entries if e.content != left.content] == [5000, 9998]
