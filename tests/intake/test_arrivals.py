"""What waits to be measured and what counts, over a real folder and a clock of the test's own."""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from qc.intake.arrivals import Arrivals
from qc.intake.placing import Arrived
from qc.intake.roster import same_shot
from qc.pipeline import measure_capture, unmeasured
from qc.result import Result
from tests.watch.running import capture, finished

LONG_S = 30.0


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "bottles"
    made.mkdir()
    return made


@pytest.fixture
def arrivals(folder: Path) -> Iterator[Arrivals]:
    made = Arrivals(folder, poll_s=0.05)
    assert [event.kind for event in made.start(time.monotonic())] == ["polling"]
    yield made
    made.stop()


def next_of(arrivals: Arrivals) -> tuple[Arrived, list[str]]:
    """Look until a capture is due; returns it with the kinds of the events on the way."""
    kinds: list[str] = []
    end = time.monotonic() + LONG_S
    while time.monotonic() < end:
        kinds += [event.kind for event in arrivals.look(time.monotonic())]
        if (arrived := arrivals.take()) is not None:
            return arrived, kinds
        time.sleep(0.02)
    raise AssertionError(f"nothing became due; {kinds}")


def whole(folder: Path, arrived: Arrived) -> Result:
    return measure_capture(folder / arrived.path)


def test_what_is_complete_is_due_and_its_result_counts(folder: Path, arrivals: Arrivals) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    assert (arrived.path, arrived.stamp.size) == ("SB_0001.dng", len(capture(1)))
    assert arrivals.accept(time.monotonic(), arrived, whole(folder, arrived))
    assert arrivals.take() is None


def test_a_folder_that_was_away_while_its_capture_was_measured_loses_nothing(
    folder: Path, arrivals: Arrivals
) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    result = whole(folder, arrived)
    folder.rename(folder.with_name("away"))
    assert not arrivals.accept(time.monotonic(), arrived, result)
    kinds = [event.kind for event in arrivals.look(time.monotonic() + 1)]
    folder.with_name("away").rename(folder)
    again, more = next_of(arrivals)
    assert "vanished" not in kinds + more
    assert again.path == "SB_0001.dng"
    assert arrivals.accept(time.monotonic(), again, result)


def test_a_capture_that_goes_away_before_it_was_measured_is_told(folder: Path, arrivals: Arrivals) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    (folder / "SB_0001.dng").unlink()
    assert not arrivals.accept(time.monotonic(), arrived, unmeasured(folder / "SB_0001.dng", "gone"))
    assert [event.kind for event in arrivals.look(time.monotonic())] == ["vanished"]


def test_a_capture_that_changed_while_it_was_measured_is_due_again_and_the_old_result_does_not_count(
    folder: Path, arrivals: Arrivals
) -> None:
    path = folder / "SB_0001.dng"
    path.write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    old = whole(folder, arrived)
    path.write_bytes(capture(2, size=(140, 180)))
    assert not arrivals.accept(time.monotonic(), arrived, old)
    again, _ = next_of(arrivals)
    assert again.stamp != arrived.stamp
    assert not arrivals.accept(time.monotonic(), arrived, old)
    assert arrivals.accept(time.monotonic(), again, whole(folder, again))


def test_a_result_of_what_stood_there_before_never_takes_the_place_of_a_newer_one(
    folder: Path, arrivals: Arrivals
) -> None:
    path = folder / "SB_0001.dng"
    path.write_bytes(capture(1)[:9000])
    arrived, _ = next_of(arrivals)
    cut = whole(folder, arrived)
    assert cut.file.state == "truncated"
    path.write_bytes(capture(2)[:9500])
    again, _ = next_of(arrivals)
    newer = whole(folder, again)
    assert not arrivals.accept(time.monotonic(), again, newer)  # incomplete: it waits
    assert not arrivals.accept(time.monotonic(), arrived, cut)
    end = time.monotonic() + LONG_S
    released: list[Result] = []
    while not released and time.monotonic() < end:
        list(arrivals.look(time.monotonic()))
        if (once_more := arrivals.take()) is not None:
            arrivals.accept(time.monotonic(), once_more, newer)
        released = [result for _, result, _ in arrivals.released()]
        time.sleep(0.02)
    assert released == [newer]


def test_what_lay_there_waits_behind_what_comes_unless_it_was_still_growing(folder: Path) -> None:
    (folder / "growing.dng").write_bytes(capture(1)[:9000])
    for number in range(2, 5):
        (folder / f"old_{number}.dng").write_bytes(capture(number))
    arrivals = Arrivals(folder, poll_s=0.05)
    list(arrivals.start(time.monotonic()))
    with (folder / "growing.dng").open("ab") as file:
        file.write(capture(1)[9000:])
    end = time.monotonic() + LONG_S
    while arrivals.waiting < 4 and time.monotonic() < end:
        list(arrivals.look(time.monotonic()))
        time.sleep(0.02)
    first = arrivals.take()
    assert first is not None
    assert first.path == "growing.dng"
    arrivals.stop()


def test_a_finished_picture_is_joined_to_its_raw_and_never_due(folder: Path, arrivals: Arrivals) -> None:
    (folder / "SB_0001.JPG").write_bytes(finished(1))
    (folder / "SB_0001.dng").write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    assert arrived.path == "SB_0001.dng"
    assert arrivals.roster.finished_of("SB_0001.dng") == ("SB_0001.JPG",)
    assert arrivals.accept(time.monotonic(), arrived, whole(folder, arrived))
    end = time.monotonic() + 2
    while time.monotonic() < end:
        list(arrivals.look(time.monotonic()))
        assert arrivals.take() is None
        time.sleep(0.02)


def test_pictures_of_one_stem_and_other_times_are_two_captures(folder: Path) -> None:
    (folder / "a.JPG").write_bytes(finished(1, taken="2026:11:25 10:00:11"))
    (folder / "a.dng").write_bytes(capture(1))  # 10:00:10.25
    (folder / "b.JPG").write_bytes(finished(1, taken="2026:11:25 12:00:00"))
    assert same_shot(folder / "a.JPG", folder / "a.dng")
    assert not same_shot(folder / "b.JPG", folder / "a.dng")


def test_names_that_are_not_utf8_are_captures(folder: Path, arrivals: Arrivals) -> None:
    name = os.fsdecode(b"caf\xe9.dng")
    (folder / name).write_bytes(capture(1))
    arrived, _ = next_of(arrivals)
    assert arrived.path == name
