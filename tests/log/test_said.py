"""What people said holds until they take it back."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.event import Event
from qc.log.said import Said, said
from qc.series.entry import Purpose


def event(kind: str, content: str | None = "a", **data: Any) -> Event:
    return Event(kind=kind, at="2026-11-25T10:00:00.000+01:00", text="said", content=content, data=data)


def role(purpose: str | None, content: str | None = "a") -> Event:
    return event("role", content, purpose=purpose)


def test_nothing_said_is_nothing() -> None:
    assert said([]) == Said()
    assert said([(1, event("started", None)), (2, event("series"))]) == Said()


def test_the_later_role_of_a_capture_stands() -> None:
    assert said([(1, role("dark")), (2, role("patch")), (3, role("dark", "b"))]).purposes == {
        "a": Purpose.PATCH,
        "b": Purpose.DARK,
    }


def test_a_role_that_was_taken_back_leaves_the_one_before() -> None:
    assert said([(1, role("dark")), (2, role("patch")), (3, event("undone", of=2))]).purposes == {
        "a": Purpose.DARK
    }


def test_a_role_of_none_takes_the_role_away() -> None:
    assert said([(1, role("dark")), (2, role(None))]).purposes == {}


def test_an_undoing_can_be_undone() -> None:
    acts = [(1, role("dark")), (2, event("undone", of=1)), (3, event("undone", of=2))]
    assert said(acts[:2]).purposes == {}
    assert said(acts).purposes == {"a": Purpose.DARK}


def test_an_answer_and_an_acceptance_settle_their_cause_on_their_capture() -> None:
    found = said(
        [
            (1, event("answered", reading="no_flash", zone=None)),
            (2, event("accepted", reading="burnt.area", zone="label", bar=0.4, was=0.2)),
            (3, event("answered", "b", reading="file.state")),
        ]
    )
    assert found.answered == {"a": frozenset({("no_flash", None)}), "b": frozenset({("file.state", None)})}
    assert found.accepted == {"a": frozenset({("burnt.area", "label")})}
    assert found.contents == {"a", "b"}


def test_what_was_said_of_a_capture_are_fields_of_its_entry() -> None:
    acts = [event("accepted", reading="x", zone=None), event("answered", reading="y"), role("dark")]
    found = said(enumerate(acts, start=1))
    nothing: frozenset[object] = frozenset()
    assert found.of("a") == {
        "purpose": Purpose.DARK,
        "answered": frozenset({("y", None)}),
        "accepted": frozenset({("x", None)}),
    }
    assert found.of("b") == {"purpose": None, "answered": nothing, "accepted": nothing}


def test_an_act_about_no_capture_can_be_undone_and_settles_nothing() -> None:
    found = said([(4, event("accepted", None, reading="burnt.area", zone=None, bar=1.0, was=None))])
    assert (found.answered, found.accepted) == ({}, {})
    assert [number for number, _ in found.acts] == [4]


def test_the_acts_that_stand_are_named_oldest_first() -> None:
    events = [
        (1, role("dark")),
        (2, event("answered", reading="x")),
        (3, event("undone", of=1)),
        (5, role("patch")),
    ]
    assert [number for number, _ in said(events).acts] == [2, 5]


@given(st.permutations(range(5)))
def test_events_may_come_in_any_order(order: list[int]) -> None:
    events = [
        (1, role("dark")),
        (2, role("patch")),
        (3, event("undone", of=2)),
        (4, event("answered", reading="x", zone=None)),
        (5, role("baseline", "b")),
    ]
    assert said([events[i] for i in order]) == said(events)


def test_a_role_that_does_not_exist_is_refused() -> None:
    with pytest.raises(ValueError, match="tripod"):
        said([(1, role("tripod"))])
