"""Newest first, then catch up; nothing twice and nothing lost."""

from __future__ import annotations

from hypothesis import given
from hypothesis import settings as profile
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from qc.intake.queue import Waiting
from qc.intake.updates import Stamp


def stamp(mtime: int) -> Stamp:
    return Stamp(1, mtime, 1)


def test_the_newest_arrival_comes_first_and_what_lay_there_comes_last() -> None:
    waiting = Waiting()
    waiting.put("old", stamp(10))
    waiting.put("older", stamp(5))
    waiting.put("first", stamp(1), arrived=1.0)
    waiting.put("second", stamp(0), arrived=2.0)
    assert waiting.names() == ["second", "first", "old", "older"]
    assert waiting.take() == ("second", stamp(0))
    waiting.put("third", stamp(0), arrived=3.0)
    assert [waiting.take() for _ in range(5)] == [
        *(("third", stamp(0)), ("first", stamp(1)), ("old", stamp(10)), ("older", stamp(5)), None),
    ]


def test_putting_again_updates_and_does_not_double() -> None:
    waiting = Waiting()
    waiting.put("a", stamp(1))
    waiting.put("b", stamp(2))
    waiting.put("a", stamp(3), arrived=1.0)
    assert len(waiting) == 2
    assert waiting.take() == ("a", stamp(3))
    assert "a" not in waiting
    assert waiting.drop("b")
    assert not waiting.drop("b")
    assert waiting.take() is None


ARRIVALS = st.dictionaries(st.text(max_size=3), st.tuples(st.integers(0, 9), st.none() | st.floats(0, 9)))


@given(ARRIVALS)
def test_the_order_of_putting_does_not_change_the_order_of_taking(
    put: dict[str, tuple[int, float | None]],
) -> None:
    there, back = Waiting(), Waiting()
    for path, (mtime, arrived) in put.items():
        there.put(path, stamp(mtime), arrived=arrived)
    for path, (mtime, arrived) in reversed(put.items()):
        back.put(path, stamp(mtime), arrived=arrived)
    names = there.names()
    assert sorted(names) == sorted(put)
    taken = [found for _ in put if (found := back.take()) is not None]
    assert [path for path, _ in taken] == names
    fresh = [put[path][1] for path in names if put[path][1] is not None]
    assert fresh == sorted(fresh, reverse=True, key=lambda at: at or 0.0)
    assert all(put[path][1] is not None for path in names[: len(fresh)])
    rest = [put[path][0] for path in names[len(fresh) :]]
    assert rest == sorted(rest, reverse=True)


class Traffic(RuleBasedStateMachine):
    """Puts, takes and drops in any order, beside a plain dictionary."""

    def __init__(self) -> None:
        super().__init__()
        self.waiting = Waiting()
        self.expected: dict[str, Stamp] = {}

    @rule(path=st.sampled_from("abcdef"), mtime=st.integers(0, 5), arrived=st.none() | st.integers(0, 5))
    def put(self, path: str, mtime: int, arrived: int | None) -> None:
        self.waiting.put(path, stamp(mtime), arrived=arrived)
        self.expected[path] = stamp(mtime)

    @rule()
    def take(self) -> None:
        names = self.waiting.names()
        found = self.waiting.take()
        assert (found is None) is (not self.expected)
        if found is not None:
            assert found == (names[0], self.expected.pop(names[0]))

    @rule(path=st.sampled_from("abcdef"))
    def drop(self, path: str) -> None:
        assert self.waiting.drop(path) is (self.expected.pop(path, None) is not None)

    @invariant()
    def nothing_is_lost_or_doubled(self) -> None:
        assert sorted(self.waiting.names()) == sorted(self.expected)
        assert len(self.waiting) == len(self.expected)


TestTraffic = Traffic.TestCase
TestTraffic.settings = profile(deadline=None, max_examples=60)
