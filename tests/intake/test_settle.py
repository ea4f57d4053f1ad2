"""When a file is complete: the state machine alone, fed by hand and by arbitrary writers."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.intake.settle import LOCAL, NETWORK, Due, Pace, Release, Settle, Word
from qc.intake.updates import Stamp
from qc.result import State

A = Stamp(100, 1, 7)
B = Stamp(200, 2, 7)


def peek(settle: Settle, time: float, stamp: Stamp, word: Word = "none", path: str = "a.dng") -> None:
    settle.seen(time, path, stamp)
    settle.writer(time, path, word)


def handed_out(settle: Settle, start: float = 0.0, stamp: Stamp = A, word: Word = "none") -> None:
    settle.seen(start, "a.dng", stamp)
    peek(settle, start + LOCAL.quiet_s, stamp, word)
    assert settle.due() == [Due("a.dng", stamp, start)]


def test_a_file_is_due_once_when_quiet_and_not_held() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.due() == []
    assert settle.wanted("a.dng", A)
    assert settle.next_time() is None
    assert settle.measured(2.0, "a.dng", A, A, "whole")
    settle.seen(3.0, "a.dng", A)
    assert settle.next_time() is None


def test_time_passed_without_looking_is_no_quiet() -> None:
    settle = Settle()
    settle.seen(0.0, "a.dng", A)
    settle.writer(9.0, "a.dng", "none")
    assert settle.due() == []
    assert settle.next_time() == LOCAL.quiet_s


def test_nothing_is_due_while_its_writer_holds_it_however_quiet() -> None:
    settle = Settle()
    settle.seen(0.0, "a.dng", A)
    for step in range(4, 300):
        peek(settle, step / 10, A, "some")
        assert settle.due() == []
    settle.seen(31.0, "a.dng", A)
    settle.writer(31.0, "a.dng", "none")
    assert [due.path for due in settle.due()] == ["a.dng"]


def test_a_change_while_it_waits_for_its_turn_makes_it_wait_anew() -> None:
    settle = Settle()
    handed_out(settle)
    settle.seen(1.0, "a.dng", B)
    assert not settle.wanted("a.dng", A)
    peek(settle, 1.4, B)
    assert settle.due() == [Due("a.dng", B, 0.0)]


def test_a_change_while_it_is_measured_has_it_measured_again() -> None:
    settle = Settle()
    handed_out(settle)
    assert not settle.measured(1.0, "a.dng", A, B, "whole")
    peek(settle, 1.4, B)
    assert [due.stamp for due in settle.due()] == [B]
    assert settle.measured(2.0, "a.dng", B, B, "whole")


def test_an_answer_about_older_content_is_not_accepted_for_the_newer() -> None:
    settle = Settle()
    handed_out(settle)
    settle.seen(0.5, "a.dng", B)
    peek(settle, 0.9, B)
    assert settle.due()
    assert not settle.measured(1.0, "a.dng", A, B, "whole")
    assert settle.next_time() is not None


def test_an_incomplete_file_is_tried_again_with_back_off_and_told_as_final_once() -> None:
    settle = Settle()
    settle.seen(0.0, "a.dng", A)
    tried, told, time = [], [], 0.0
    while (at := settle.next_time()) is not None:
        assert at >= time
        time = at
        told += [time for _ in settle.tell(time)]
        for _ in settle.asks(time):
            peek(settle, time, A)
        for due in settle.due():
            tried.append(round(time, 6))
            assert not settle.measured(time, due.path, due.stamp, A, "truncated")
    assert tried == [0.4, 1.4, 3.4, 7.4, 15.4]
    assert told == [LOCAL.arriving_s]
    assert time == LOCAL.patience_s
    assert settle.released() == [Release("a.dng", A, left=True)]
    assert settle.released() == []
    settle.seen(99.0, "a.dng", A)
    assert settle.next_time() is None


def test_an_incomplete_file_that_changes_is_tried_again_soon() -> None:
    settle = Settle()
    handed_out(settle)
    assert not settle.measured(0.5, "a.dng", A, A, "empty")
    settle.seen(0.6, "a.dng", B)
    assert settle.next_time() == pytest.approx(1.0)
    peek(settle, 1.0, B)
    assert [due.stamp for due in settle.due()] == [B]
    assert settle.measured(1.1, "a.dng", B, B, "whole")


def test_an_incomplete_file_is_not_final_while_it_is_held() -> None:
    settle = Settle()
    handed_out(settle)
    assert not settle.measured(0.5, "a.dng", A, A, "truncated")
    peek(settle, 25.0, A, "some")
    peek(settle, 44.0, A)
    assert settle.released() == []
    assert settle.due()
    assert not settle.measured(44.0, "a.dng", A, A, "truncated")
    peek(settle, 45.0, A)
    assert settle.released() == [Release("a.dng", A, left=True)]


def test_where_nobody_can_say_who_writes_a_whole_file_is_held_until_it_was_quiet_for_longer() -> None:
    settle = Settle()
    handed_out(settle, word="unknown")
    assert not settle.measured(0.6, "a.dng", A, A, "whole")
    assert settle.next_time() == LOCAL.unsure_s
    peek(settle, 1.0, A, "unknown")
    assert settle.released() == [Release("a.dng", A, left=False)]


def test_a_held_result_is_dropped_when_the_file_goes_on_growing() -> None:
    settle = Settle()
    handed_out(settle, word="unknown")
    assert not settle.measured(0.6, "a.dng", A, A, "whole")
    peek(settle, 1.0, B, "unknown")
    assert settle.released() == []
    peek(settle, 1.4, B, "unknown")
    assert [due.stamp for due in settle.due()] == [B]


def test_a_slow_measurement_needs_no_further_quiet() -> None:
    settle = Settle()
    handed_out(settle, word="unknown")
    assert settle.measured(1.5, "a.dng", A, A, "whole")


def test_a_crash_over_a_file_is_final_at_once() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.measured(60.0, "a.dng", A, A, "unreadable", final=True)


def test_new_content_under_a_known_name_is_a_new_round_and_old_content_come_back_is_none() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.measured(1.0, "a.dng", A, A, "whole")
    settle.seen(5.0, "a.dng", B)
    peek(settle, 5.4, B)
    assert settle.due() == [Due("a.dng", B, 5.0)]
    settle.seen(5.5, "a.dng", A)
    assert settle.next_time() is None
    assert not settle.measured(6.0, "a.dng", B, A, "whole")


def test_a_file_that_left_and_came_back_unchanged_is_not_measured_twice() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.measured(1.0, "a.dng", A, A, "whole")
    assert not settle.gone(2.0, "a.dng")
    settle.seen(3.0, "a.dng", A)
    assert settle.next_time() is None


def test_a_file_that_went_before_it_was_measured_is_said_to_have_gone() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.gone(1.0, "a.dng")
    assert not settle.wanted("a.dng", A)
    assert not settle.measured(1.1, "a.dng", A, None, "vanished")
    assert settle.next_time() is None


def test_an_old_result_does_not_bring_a_file_back_that_went_meanwhile() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.gone(1.0, "a.dng")
    assert not settle.measured(1.1, "a.dng", A, A, "whole")
    assert settle.next_time() is None
    settle.seen(2.0, "a.dng", A)
    peek(settle, 2.4, A)
    assert settle.due() == [Due("a.dng", A, 2.0)]


def test_a_file_that_was_known_before_is_not_due() -> None:
    settle = Settle()
    settle.know("a.dng", A)
    settle.seen(0.0, "a.dng", A)
    assert settle.next_time() is None
    settle.seen(1.0, "a.dng", B)
    assert settle.next_time() == pytest.approx(1.4)


def test_a_file_that_waits_its_turn_in_a_burst_is_not_called_arriving() -> None:
    settle = Settle()
    handed_out(settle)
    assert settle.tell(100.0) == []
    assert settle.arriving == ()


def test_a_file_held_by_its_writer_is_told_once() -> None:
    settle = Settle()
    settle.seen(0.0, "a.dng", A)
    peek(settle, 2.9, A, "some")
    assert settle.tell(2.9) == []
    assert settle.tell(3.0) == ["a.dng"]
    peek(settle, 4.0, B, "some")
    assert settle.tell(9.0) == []
    assert settle.arriving == ("a.dng",)


def test_over_a_network_everything_waits_longer() -> None:
    for name in ("quiet_s", "unsure_s", "patience_s"):
        assert getattr(NETWORK, name) > getattr(LOCAL, name)


# -- arbitrary writers: a small world in which time passes in steps of 50 ms


@dataclass
class World:
    """Files as they really are: stamp, whether a writer holds each, and what an attempt at it would find."""

    stamps: dict[str, Stamp] = field(default_factory=dict)
    held: set[str] = field(default_factory=set)
    blind: set[str] = field(default_factory=set)
    whole: dict[Stamp, bool] = field(default_factory=dict)
    clock: int = 0

    def act(self, path: str, what: str) -> None:
        self.clock += 1
        old = self.stamps.get(path)
        if what in ("open", "close"):
            (self.held.add if what == "open" else self.held.discard)(path)
        elif what == "remove":
            self.stamps.pop(path, None)
        elif what == "replace" or old is None:
            self.stamps[path] = Stamp(1, self.clock, 1000 + self.clock)
        elif what == "touch":
            self.stamps[path] = Stamp(old.size, self.clock, old.inode)
        else:
            self.stamps[path] = Stamp(old.size + 1, self.clock, old.inode)


ACTS = st.sampled_from(["open", "close", "grow", "grow", "touch", "replace", "remove"])
PLAN = st.lists(st.tuples(st.integers(0, 60), st.sampled_from(["a", "b", "c"]), ACTS), max_size=30)


def look(world: World, settle: Settle, time: float) -> None:
    """Do what a scan does."""
    for path, stamp in world.stamps.items():
        settle.seen(time, path, stamp)
    for path in {"a", "b", "c"} - world.stamps.keys():
        settle.gone(time, path)


@settings(deadline=None, max_examples=300)
@given(
    plan=PLAN,
    blind=st.sets(st.sampled_from(["a", "b", "c"])),
    whole=st.lists(st.booleans(), min_size=1),
    takes=st.lists(st.integers(0, 40), min_size=1),
    scan_every=st.integers(1, 40),
)
def test_any_interleaving_ends_with_each_last_content_accepted_once_and_none_early(
    plan: list[tuple[int, str, str]], blind: set[str], whole: list[bool], takes: list[int], scan_every: int
) -> None:
    world, settle, tick = World(blind=blind), Settle(), 0
    running: list[tuple[int, Due]] = []
    kept: dict[str, Stamp] = {}
    accepted: list[tuple[str, Stamp]] = []
    left: list[tuple[str, Stamp]] = []
    attempts = 0
    steps = [(sum(p[0] for p in plan[: i + 1]), p[1], p[2]) for i, p in enumerate(plan)]
    end = (steps[-1][0] if steps else 0) + 20 * 60
    for tick in range(end):
        time = tick * 0.05
        for at, path, what in steps:
            if at == tick:
                world.act(path, what)
        if steps and tick == steps[-1][0]:
            world.held.clear()
        if tick % scan_every == 0:
            look(world, settle, time)
        for path in settle.asks(time):
            if path not in world.stamps:
                settle.gone(time, path)
                continue
            settle.seen(time, path, world.stamps[path])
            settle.writer(time, path, "unknown" if path in blind else "some" if path in world.held else "none")
        for due in settle.due():
            assert world.stamps[due.path] == due.stamp
            assert due.path in blind or due.path not in world.held
            running.append((tick + takes[attempts % len(takes)], due))
            attempts += 1
        settle.tell(time)
        assert (settle.next_time() or time + 1) > time  # a loop that did as it was told may sleep
        for done_at, due in list(running):
            if done_at > tick:
                continue
            running.remove((done_at, due))
            good = world.whole.setdefault(due.stamp, whole[due.stamp.mtime_ns % len(whole)])
            state: State = "whole" if good else "truncated"
            after = world.stamps.get(due.path)
            if settle.wanted(due.path, due.stamp):  # an attempt at what stood there before is not kept
                kept[due.path] = due.stamp
            if settle.measured(time, due.path, due.stamp, after, state):
                assert after == due.stamp
                assert good
                accepted.append((due.path, due.stamp))
        for release in settle.released():
            assert kept[release.path] == release.stamp == world.stamps[release.path]
            assert world.whole[release.stamp] is not release.left
            (left if release.left else accepted).append((release.path, release.stamp))
    assert len(set(accepted + left)) == len(accepted + left)
    for path, stamp in world.stamps.items():
        assert (path, stamp) in accepted + left
    assert settle.next_time() is None
    assert not running


@settings(deadline=None, max_examples=300)
@given(plan=PLAN, blind=st.booleans(), whole=st.booleans())
def test_sleeping_until_the_next_time_misses_nothing_that_looking_all_the_time_finds(
    plan: list[tuple[int, str, str]], blind: bool, whole: bool
) -> None:
    often, seldom = _told_times(plan, blind, whole, busy=True), _told_times(plan, blind, whole, busy=False)
    assert often == seldom


def _told_times(plan: list[tuple[int, str, str]], blind: bool, whole: bool, *, busy: bool) -> list[object]:
    """What happens when, for a loop that looks every 50 ms, and for one that sleeps as it is told."""
    world, settle = World(), Settle(Pace(quiet_s=0.5, held_s=(0.25,)))
    steps = [(sum(p[0] for p in plan[: i + 1]), p[1], p[2]) for i, p in enumerate(plan)]
    happened: list[object] = []
    for tick in range((steps[-1][0] if steps else 0) + 500):
        time = tick / 20
        news = [step for step in steps if step[0] == tick]
        for _, path, what in news:
            world.act(path, what)
        if news:
            look(world, settle, time)
        wake = settle.next_time()
        if not busy and not news and (wake is None or wake > time):
            continue
        for path in settle.asks(time):
            settle.seen(time, path, world.stamps[path])
            settle.writer(time, path, "unknown" if blind else "some" if path in world.held else "none")
        for due in settle.due():
            happened.append((tick, "due", due))
            state: State = "whole" if whole else "damaged"
            happened.append(settle.measured(time, due.path, due.stamp, due.stamp, state))
        happened += [(tick, release) for release in settle.released()]
        happened += [(tick, "told", path) for path in settle.tell(time)]
    return happened
