"""When the watch says how it stands, and that its disk is full."""

from __future__ import annotations

from pathlib import Path

import pytest

from qc.intake import heart
from qc.intake.heart import Heart


def test_a_disk_without_room_for_one_more_capture_is_told_once_and_so_is_room_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    free = {"bytes": 10_000}
    monkeypatch.setattr(heart, "free_bytes", lambda _: free["bytes"])
    beating = Heart(tmp_path)
    beating.came("SB_0001.dng", 4_000)
    told = [list(beating.disk_news())]
    for left in (3_999, 100, 4_000):
        free["bytes"] = left
        told.append(list(beating.disk_news()))
    assert [[event.kind for event in events] for events in told] == [[], ["disk_full"], [], ["disk_room"]]


def test_a_disk_that_cannot_be_asked_is_not_called_full(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(heart, "free_bytes", lambda _: None)
    assert list(Heart(tmp_path).disk_news()) == []
