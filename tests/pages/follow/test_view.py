"""What follows a watch for its page: each update is told; what is asked for is done once, if it is still so."""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from qc.errors import LogError, QcError, UsageError
from qc.event import Event
from qc.intake.updates import Early, Heartbeat, Recalled, Restated, Update
from qc.log.log import Log
from qc.pages.follow.hub import Hub
from qc.pages.follow.state import token_of
from qc.pages.follow.store import Store
from qc.pages.follow.view import ANSWERED, ENDED, NOT_TAKEN_UP, OFFERED, SAID_S, PageView
from qc.reading import Level
from qc.series.entry import Standing
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.deeds import Deeds
from qc.show.watching.menu import Act, Wish
from qc.show.watching.words import Said
from tests.log.made import captured
from tests.pages.follow.pictured_day import pictured
from tests.sheet.toys import LABEL, SPECS
from tests.show.scripted_day import BURNT, NO_FLASH, SOFT, cause, event, measured, shot

PATIENCE_S = 30.0

HALT = measured(shot(12, causes=[cause(BURNT, Level.HALT)]))
WARN = measured(shot(11, causes=[SOFT]))


class Following:
    """A page's view beside a terminal that keeps what it is told, over a watch that is told by the test."""

    def __init__(self, tmp_path: Path, *, hint: Callable[[], Sequence[str]] = lambda: ()) -> None:
        self.wishes: list[Wish] = []
        self.offered: list[Standing] = []
        self.told: list[Said] = []
        self.woken = threading.Event()
        self.states: list[dict[str, Any]] = []
        self.error: Exception | None = None
        self.seconds = 100.0
        self.does: list[Event] = []
        """What is done; made up for each wish while it is empty."""
        self.hub = Hub()
        self.hub.put = self._put  # type: ignore[method-assign]  # what is put is looked at
        self.board = Board(SPECS, clock=lambda: "10:14:05")
        self.deeds = Deeds(self.board, self._perform)
        self.store = Store(tmp_path, tmp_path / "bottles.qc", SPECS)
        self.view = PageView(
            self.board,
            store=self.store,
            hub=self.hub,
            do=self.deeds,
            offer=self._offer,
            wake=self.woken.set,
            zones=lambda _: (LABEL,),
            hint=hint,
            now=lambda: self.seconds,
        )
        self.deeds.heard_by += [self.told.append, self.view.say]

    def take(self, *updates: Update) -> dict[str, Any]:
        for update in updates:
            said = self.board.take(update)
            self.told += said
            self.view.take(update, said)
        return self.states[-1]

    def ask(self, act: Act, about: Sequence[str] = ()) -> Callable[[], str]:
        """Ask as the page does, from another thread; returns what waits for the answer."""
        answer: queue.SimpleQueue[str | Exception] = queue.SimpleQueue()

        def asking() -> None:
            try:
                answer.put(self.view.ask(act, about, patience_s=PATIENCE_S))
            except QcError as error:
                answer.put(error)

        threading.Thread(target=asking, daemon=True).start()
        assert self.woken.wait(PATIENCE_S)
        self.woken.clear()

        def answered() -> str:
            got = answer.get(timeout=PATIENCE_S)
            if isinstance(got, Exception):
                raise got
            return got

        return answered

    def _put(self, state: Any) -> None:
        self.states.append(state)

    def _perform(self, wish: Wish) -> list[Event]:
        if self.error is not None:
            raise self.error
        self.wishes.append(wish)
        if self.does:
            return self.does
        kind = "undone" if wish.act is Act.UNDO else "answered"
        return [event(kind, f"{kind}: {wish.act.name} {number}") for number in range(max(len(wish.about), 1))]

    def _offer(self, standing: Standing) -> str:
        self.offered.append(standing)
        return "accept label burnt up to 11.7 %"


@pytest.fixture
def following(tmp_path: Path) -> Following:
    return Following(tmp_path)


def about(state: dict[str, Any], number: int = 0) -> list[str]:
    told: list[str] = state["alarms"][number]["about"]
    return told


def test_each_update_gives_a_state_with_picture_and_mark(following: Following) -> None:
    state = following.take(pictured(HALT, 100, 150))
    frame = state["frame"]
    assert (frame["number"], frame["size"]) == ("0012", [150, 100])
    assert following.store.picture(frame["key"]) is not None
    assert frame["mark"].startswith(f"/mark/{frame['key']}.svg?")
    assert following.store.mark(frame["key"]) is not None


def test_what_is_asked_for_is_done_in_the_watchs_thread_said_once_everywhere_and_offered_no_more(
    following: Following,
) -> None:
    state = following.take(WARN, HALT)
    answered = following.ask(Act.ACCEPT, about(state))
    assert following.wishes == []
    state = following.take(Heartbeat())
    assert answered() == "answered: ACCEPT 0"
    assert following.wishes == [Wish(act=Act.ACCEPT, about=(HALT.standing,))]
    assert [one["question"][:11] for one in state["alarms"]] == ["SB_0011.dng"]
    assert [one["text"] for one in state["said"]] == ["answered: ACCEPT 0"]
    assert [one.reason for one in following.told].count("answered: ACCEPT 0") == 1


def test_its_event_is_not_said_again_when_it_comes_back_from_the_log(following: Following) -> None:
    state = following.take(HALT)
    done = event("answered", "answered: label burnt")
    following.does = [done]
    answered = following.ask(Act.ANSWER, about(state))
    following.take(Heartbeat())
    answered()
    state = following.take(done)
    assert [one.reason for one in following.told].count("answered: label burnt") == 1
    assert [one["text"] for one in state["said"]] == ["answered: label burnt"]


def test_what_another_command_did_is_said_too(following: Following) -> None:
    state = following.take(event("role", "role: SB_0008.dng is a dark frame", name="SB_0008.dng"))
    assert [one["text"] for one in state["said"]] == ["role: SB_0008.dng is a dark frame"]


@pytest.mark.parametrize("kind", ["sheet_changed", "sheet_bad", "accepted", "undone", "role", "answered"])
def test_what_happened_to_what_is_judged_is_said(following: Following, kind: str) -> None:
    following.take(measured(shot(1)))
    state = following.take(event(kind, "set sheet bottles.set.toml found; holds from the next frame"))
    assert [one["text"] for one in state["said"]] == [
        "set sheet bottles.set.toml found; holds from the next frame"
    ]


@pytest.mark.parametrize("kind", ["started", "polling", "gone", "duplicate", "joined"])
def test_what_concerns_nothing_that_is_judged_is_not_said(following: Following, kind: str) -> None:
    assert following.take(event(kind, "something happened"))["said"] == []


@pytest.mark.parametrize("next_frame", [Early(result=shot(2)), measured(shot(2))])
def test_what_was_said_goes_when_the_next_frame_is_shown(following: Following, next_frame: Update) -> None:
    following.take(measured(shot(1)))
    said = event("role", "role: SB_0001.dng is a dark frame", name="SB_0001.dng")
    assert len(following.take(said, Heartbeat())["said"]) == 1
    assert following.take(next_frame)["said"] == []


def test_what_was_said_stays_when_an_older_frame_is_told_late(following: Following) -> None:
    following.take(measured(shot(3)))
    state = following.take(event("sheet_changed", "set sheet bottles.set.toml found"), measured(shot(1)))
    assert len(state["said"]) == 1


def test_what_was_said_goes_after_a_minute(following: Following) -> None:
    following.take(measured(shot(1)), event("role", "role: SB_0001.dng is a dark frame"))
    following.seconds += SAID_S - 1
    assert len(following.take(Heartbeat())["said"]) == 1
    following.seconds += 2
    assert following.take(Heartbeat())["said"] == []


def test_what_is_done_on_the_page_while_a_frame_comes_is_said_beside_that_frame(following: Following) -> None:
    state = following.take(HALT)
    answered = following.ask(Act.ANSWER, about(state))
    state = following.take(measured(shot(13)))
    answered()
    assert [one["text"] for one in state["said"]] == ["answered: ANSWER 0"]


def test_a_good_frame_is_left_out_or_made_the_baseline_also_when_others_have_come_since(
    following: Following,
) -> None:
    good = measured(shot(2))
    state = following.take(measured(shot(1)), good)
    assert state["newest"]["question"] == "SB_0002.dng, clear"
    for act in (Act.LEAVE_OUT, Act.BASELINE):
        answered = following.ask(act, state["newest"]["about"])
        following.take(measured(shot(3)))
        answered()
    assert following.wishes == [Wish(act=act, about=(good.standing,)) for act in (Act.LEAVE_OUT, Act.BASELINE)]


def test_a_good_frame_that_stands_otherwise_by_now_is_not_acted_on(following: Following) -> None:
    good = measured(shot(2))
    state = following.take(good)
    answered = following.ask(Act.BASELINE, state["newest"]["about"])
    following.take(Restated(name="SB_0002.dng", standing=replace(good.standing, level=Level.WARN, causes=(SOFT,))))
    with pytest.raises(UsageError, match=ANSWERED):
        answered()
    assert following.wishes == []


@pytest.mark.parametrize(
    ("act", "why"), [(Act.ACCEPT, "no limit"), (Act.DARK, "without flash"), (Act.ANSWER, "for an alarm")]
)
def test_what_makes_no_sense_for_a_good_frame_is_refused(following: Following, act: Act, why: str) -> None:
    state = following.take(measured(shot(2)))
    answered = following.ask(act, state["newest"]["about"])
    following.take(Heartbeat())
    with pytest.raises(UsageError, match=why):
        answered()


def test_a_frame_at_halt_that_became_the_baseline_is_asked_about_again(following: Following) -> None:
    state = following.take(HALT)
    answered = following.ask(Act.BASELINE, about(state))
    after = following.take(Heartbeat())
    answered()
    assert after["alarms"] == state["alarms"]


def test_an_answer_is_about_all_frames_that_were_shown_and_no_others(following: Following) -> None:
    state = following.take(*(measured(shot(number, causes=[BURNT])) for number in (1, 2)))
    answered = following.ask(Act.ANSWER, about(state))
    following.take(measured(shot(3, causes=[BURNT])))
    assert answered() == "answered: ANSWER 0, and for 1 more"
    assert [one.content for one in following.wishes[0].about] == ["blake2b:0002", "blake2b:0001"]


def test_what_is_said_of_one_frame_is_about_the_newest_that_was_shown(following: Following) -> None:
    state = following.take(*(measured(shot(number, causes=[BURNT])) for number in (1, 2)))
    answered = following.ask(Act.LEAVE_OUT, about(state))
    following.take(measured(shot(3, causes=[BURNT])))
    answered()
    assert [one.content for one in following.wishes[0].about] == ["blake2b:0002"]


@pytest.mark.parametrize("meanwhile", ["answered", "another cause", "another level", "half of it answered"])
def test_an_alarm_that_does_not_wait_any_more_as_it_was_shown_is_not_acted_on(
    following: Following, meanwhile: str
) -> None:
    one, other = (measured(shot(number, causes=[BURNT])) for number in (1, 2))
    state = following.take(one, other)
    answered = following.ask(Act.ACCEPT, about(state))
    became = {
        "answered": replace(other.standing, level=Level.CLEAR, causes=()),
        "another cause": replace(other.standing, causes=(SOFT,)),
        "another level": replace(other.standing, level=Level.HALT),
        "half of it answered": replace(one.standing, level=Level.CLEAR, causes=()),
    }[meanwhile]
    name = "SB_0001.dng" if became.content == one.standing.content else "SB_0002.dng"
    following.take(Restated(name=name, standing=became))
    with pytest.raises(UsageError, match=ANSWERED):
        answered()
    assert following.wishes == []


def test_what_makes_no_sense_for_an_alarm_is_refused_with_what_it_is_for(following: Following) -> None:
    state = following.take(measured(shot(1, causes=[NO_FLASH])))
    answered = following.ask(Act.ACCEPT, about(state))
    following.take(Heartbeat())
    with pytest.raises(UsageError, match="no limit to raise"):
        answered()


def test_an_error_is_told_to_whoever_asked_and_the_alarm_goes_on_waiting(following: Following) -> None:
    state = following.take(HALT)
    following.error = LogError("bottles.qc", "no space left on the disk")
    answered = following.ask(Act.ANSWER, about(state))
    state = following.take(Heartbeat())
    with pytest.raises(LogError, match="no space left"):
        answered()
    assert len(state["alarms"]) == 1
    assert state["said"] == []


def test_an_undo_is_about_nothing_and_offers_again_what_was_answered(following: Following) -> None:
    state = following.take(HALT)
    answered = following.ask(Act.ANSWER, about(state))
    assert following.take(Heartbeat())["alarms"] == []
    answered()
    answered = following.ask(Act.UNDO)
    assert len(following.take(Heartbeat())["alarms"]) == 1
    assert answered() == "undone: UNDO 0"


def test_what_was_not_taken_up_in_time_is_given_up_and_never_done(following: Following) -> None:
    state = following.take(HALT)
    with pytest.raises(UsageError, match=NOT_TAKEN_UP):
        following.view.ask(Act.ANSWER, about(state), patience_s=0.01)
    following.take(Heartbeat())
    assert following.wishes == []


def test_after_the_end_nothing_is_done(following: Following) -> None:
    state = following.take(HALT)
    answered = following.ask(Act.ANSWER, about(state))
    following.view.close()
    with pytest.raises(UsageError, match=ENDED):
        answered()
    with pytest.raises(UsageError, match=ENDED):
        following.view.ask(Act.ANSWER, about(state))
    assert following.wishes == []


def test_the_end_of_the_watch_is_told(following: Following) -> None:
    assert following.take(HALT)["watch"] == "on"
    assert following.take(event("ended", "the watch ended"))["watch"] == "ended"


def test_up_to_where_would_be_accepted_is_asked_once_for_the_newest_alarms(following: Following) -> None:
    alarms = [measured(shot(number, causes=[replace(BURNT, zone=f"label {number}")])) for number in range(1, 9)]
    following.take(*alarms)
    following.offered.clear()
    state = following.take(*(Heartbeat() for _ in range(5)))
    assert following.offered == []
    told = [one["answers"][0]["said"] for one in state["alarms"]]
    assert told[:OFFERED] == ["intended: accept label burnt up to 11.7 %"] * OFFERED
    assert set(told[OFFERED:]) == {"intended: accept up to this value"}


@pytest.mark.parametrize("kind", ["sheet_changed", "accepted", "undone"])
def test_up_to_where_would_be_accepted_is_asked_again_when_limits_may_have_changed(
    following: Following, kind: str
) -> None:
    following.take(HALT)
    before = len(following.offered)
    following.take(event(kind, "something changed"))
    assert len(following.offered) == before + 1


def test_the_hint_stands_until_something_can_be_judged(tmp_path: Path) -> None:
    hints = [words.unjudged(), ()]
    following = Following(tmp_path, hint=lambda: hints[0])
    assert len(following.take(Heartbeat())["hint"]) == 3
    hints.pop(0)
    assert following.take(Heartbeat())["hint"] == []


def test_frames_of_an_earlier_watch_say_why_they_have_no_picture(following: Following) -> None:
    own = HALT.standing
    state = following.take(Recalled(standings=(own,), names={own.content: "SB_0012.dng"}))
    assert state["frame"]["without"].startswith("its picture cannot be read")


def test_a_picture_that_could_not_be_read_is_there_once_the_log_is_back(
    following: Following, tmp_path: Path
) -> None:
    own = replace(HALT.standing, content=captured(7).content)
    following.take(Recalled(standings=(own,), names={own.content: "SB_0007.dng"}))
    with Log.open(tmp_path / "bottles.qc") as log:
        log.add(captured(7))
    assert following.take(Heartbeat())["frame"]["picture"] is None
    assert following.take(event("log_back", "the log is written again"))["frame"]["picture"] is not None


def test_300_frames_leave_the_same_bytes_and_a_state_of_the_same_size(following: Following) -> None:
    sizes, lengths = [], []
    for number in range(1, 301):
        alarm = [cause(BURNT, Level.HALT)] if number % 10 == 0 else []
        following.take(pictured(measured(shot(number, causes=alarm)), 60, 90))
        following.take(Heartbeat())
        if alarm:
            following.take(Restated(name=f"SB_{number:04}.dng", standing=following.board.alarms()[0][0][1]))
            following.board.handled([following.board.alarms()[0][0][1]], [])
        sizes.append(following.store.size)
        lengths.append(len(str(following.states[-1])))
        following.states.clear()
    assert max(sizes[100:]) <= max(sizes[:100])
    assert max(lengths[100:]) <= max(lengths[:100]) + 20


def test_tokens_are_short_so_that_a_day_of_one_alarm_fits_into_one_act() -> None:
    assert len(token_of(HALT.standing)) * 1000 < 65_536 / 2
