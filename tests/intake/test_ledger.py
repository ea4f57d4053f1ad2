"""Losing the log never stops the measuring, and nothing that was measured is missing from it afterwards."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from qc.event import Event
from qc.intake import ledger
from qc.intake.ledger import DIGESTS_KEPT, Ledger
from qc.log.log import Log
from qc.reading import Level
from tests.log.made import captured


@pytest.fixture
def out(tmp_path: Path) -> Path:
    return tmp_path / "bottles.qc"


def state(kept: Ledger) -> str:
    return kept.state


def names(out: Path) -> list[str]:
    with Log.open(out) as log:
        return [one.result.file.name for one in log.captures()]


def test_what_could_not_be_written_is_written_in_order_when_the_log_is_well(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ledger, "RETRY_S", 0.0)
    out.write_text("a file where the log should be")
    kept = Ledger(out)
    told = [event.kind for number in range(3) for event in kept.add(captured(number))]
    assert told == ["log_lost"]
    assert state(kept) == "lost"
    assert kept.event(Event(kind="started", at="2026-11-25T10:00:00.000+01:00", text="watching")) == []
    out.unlink()
    assert [event.kind for event in kept.flush()] == ["log_back"]
    assert state(kept) == "well"
    kept.close()
    assert names(out) == [captured(number).result.file.name for number in range(3)]
    with Log.open(out) as log:
        assert [event.kind for _, event in log.events()] == ["started", "log_lost", "log_back"]


def test_a_lost_log_is_not_tried_again_at_once_but_at_the_end(out: Path) -> None:
    out.write_text("a file where the log should be")
    kept = Ledger(out)
    assert len(kept.add(captured(1))) == 1
    out.unlink()
    assert kept.flush() == []  # too soon
    assert kept.read(lambda log: log.last()) == (None, [])
    assert [event.kind for event in kept.close()] == ["log_back"]
    assert names(out) == [captured(1).result.file.name]


def test_pictures_of_captures_that_wait_are_let_go_before_the_memory_is_full(out: Path) -> None:
    out.write_text("a file where the log should be")
    kept = Ledger(out)
    count = DIGESTS_KEPT + 5
    for number in range(count):
        kept.add(captured(number))
    out.unlink()
    kept.close()
    with Log.open(out) as log:
        digests = [log.digest(one.content) is not None for one in log.captures()]
    assert digests == [False] * 5 + [True] * DIGESTS_KEPT


def test_a_question_is_answered_with_what_the_log_says(out: Path) -> None:
    kept = Ledger(out)
    kept.add(replace(captured(1), took_s=1.0))
    last, told = kept.read(lambda log: log.last())
    assert told == []
    assert last is not None
    assert last[0].file.name == captured(1).result.file.name
    kept.close()


def test_a_log_that_was_removed_begins_anew_and_nobody_says_that_nothing_is_missing(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(ledger, "RETRY_S", 0.0)
    kept = Ledger(out)
    kept.event(Event(kind="started", at="2026-11-25T10:00:00.000+01:00", text="watching"))
    kept.add(captured(1))
    shutil.rmtree(out)
    told = [*kept.add(captured(2)), *kept.flush()]
    kept.close()
    back = next(event for event in told if event.kind == "log_back")
    assert "a new log begins" in back.text
    assert back.level is Level.WARN
    assert names(out) == [captured(2).result.file.name]
