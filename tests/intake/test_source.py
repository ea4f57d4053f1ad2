"""Real files through a real file system: each settled exactly once, whole, none early, none lost."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from multiprocessing.connection import wait
from pathlib import Path
from typing import Any

import pytest
import watchfiles

from qc.event import Event
from qc.intake import source as source_module
from qc.intake.hints import MISSES, in_words
from qc.intake.scan import list_folder, stamp_of
from qc.intake.settle import Pace
from qc.intake.source import Source
from qc.intake.writer import peek, writer_of
from tests.intake.drive import Drive, capture, state_of
from tests.intake.writers import (
    STALL_S,
    WRITERS,
    away_and_back,
    deleted_and_recreated,
    folder_filled,
    folder_moved_in,
    in_pieces,
    stalled,
    traces,
)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    place = tmp_path / "day"
    place.mkdir()
    return place


@pytest.fixture
def drive(folder: Path) -> Iterator[Drive]:
    with Drive(folder) as made:
        yield made


def calm(source: Source) -> None:
    """Scan until no hint comes any more: one always comes when the listening begins, the folder being there."""
    end = time.monotonic() + 30
    source.scan()
    while wait([source.wakeup], 1.0) or not source._hints.listening:
        assert time.monotonic() < end, "hints without a cause"
        source.scan()


def kernel_knows(folder: Path) -> bool:
    probe = folder.parent / "probe"
    probe.write_bytes(b"x")
    return writer_of(probe) != "unknown"


@pytest.mark.parametrize("way", WRITERS)
@pytest.mark.parametrize("blind", [False, True], ids=["asked", "unasked"])
def test_a_file_is_accepted_once_and_whole_however_it_is_written(folder: Path, way: str, blind: bool) -> None:
    data = capture(1)
    with Drive(folder, blind=blind) as drive:
        drive.idle(0.2)
        target = folder / "SB_0001.DNG"
        drive.while_writing(lambda: WRITERS[way](target, data))
        assert [path for path, _ in drive.accepted] == [str(target)]
        assert drive.contents[str(target)] == data
        assert drive.left == []
        if not blind and kernel_knows(folder):
            # nothing incomplete was even looked at, but where nobody held the file between two pieces
            assert drive.attempts[str(target)] == 1 or way in ("reopened", "renamed_over")


def test_without_a_listener_scans_alone_find_everything(folder: Path) -> None:
    with Drive(folder, poll_s=0.3) as drive:
        drive.while_writing(lambda: stalled(folder / "SB_0001.dng", capture(1), stall_s=1.0))
        drive.while_writing(lambda: folder_filled(folder / "b", {"SB_0002.dng": capture(2)}))
        drive.until(lambda: len(drive.accepted) == 2)
        assert drive.kinds() == ["polling"]
        assert "as asked" in drive.events[0].text


def test_a_stalled_writer_is_told_as_arriving_once_and_its_file_then_accepted(folder: Path) -> None:
    with Drive(folder, pace=Pace(arriving_s=1.0)) as drive:
        drive.while_writing(lambda: stalled(folder / "SB_0001.dng", capture(1), stall_s=STALL_S))
        assert drive.told == [str(folder / "SB_0001.dng")]
        assert drive.names() == ["SB_0001.dng"]


def test_a_cut_file_is_left_incomplete_once_and_accepted_when_the_rest_comes(folder: Path) -> None:
    target, data = folder / "SB_0001.dng", capture(1)
    with Drive(folder, pace=Pace(patience_s=2.0, arriving_s=1.0, backoff_s=(0.5, 1.0))) as drive:
        drive.while_writing(lambda: target.write_bytes(data[:5000]))
        assert drive.told == drive.left == [str(target)]
        assert drive.accepted == []
        drive.idle(2.5)
        assert drive.left == [str(target)]
        drive.while_writing(lambda: target.write_bytes(data))
        assert drive.names() == ["SB_0001.dng"]


def test_new_content_under_a_known_name_is_accepted_anew(drive: Drive, folder: Path) -> None:
    target = folder / "SB_0001.dng"
    drive.while_writing(lambda: target.write_bytes(capture(1)))
    drive.while_writing(lambda: WRITERS["renamed"](target, capture(2)))
    assert [path for path, _ in drive.accepted] == [str(target)] * 2
    assert drive.contents[str(target)] == capture(2)


def test_a_folder_moved_in_and_one_filled_right_after_it_was_made_lose_nothing(drive: Drive, folder: Path) -> None:
    drive.idle(0.2)
    first = {f"SB_{n:04}.dng": capture(n) for n in range(20)}
    drive.while_writing(lambda: folder_moved_in(folder / "front", first))
    drive.while_writing(lambda: folder_filled(folder / "side" / "deep", first))
    drive.until(lambda: len(drive.accepted) == 40)
    assert drive.names() == sorted([f"front/{name}" for name in first] + [f"side/deep/{name}" for name in first])


def test_a_burst_of_500_is_accepted_each_once(drive: Drive, folder: Path) -> None:
    drive.idle(0.2)

    def burst() -> None:
        for number in range(500):
            (folder / f"SB_{number:04}.JPG").write_bytes(capture(number, 2000))

    drive.while_writing(burst)
    drive.until(lambda: len(drive.accepted) >= 500)
    assert drive.names() == [f"SB_{number:04}.JPG" for number in range(500)]
    assert max(drive.attempts.values()) == 1
    assert all(drive.contents[str(folder / f"SB_{n:04}.JPG")] == capture(n, 2000) for n in range(500))


def test_names_in_any_script_and_in_no_encoding_are_accepted(drive: Drive, folder: Path) -> None:
    names = ["glasur-größe.dng", "釉薬.ARW", "deux\nlignes.jpg", os.fsdecode(b"caf\xe9.Cr3")]
    drive.idle(0.2)
    for number, name in enumerate(names):
        drive.while_writing(lambda name=name, number=number: (folder / name).write_bytes(capture(number)))  # type: ignore[misc]
    drive.until(lambda: len(drive.accepted) == len(names))
    assert sorted(path for path, _ in drive.accepted) == sorted(str(folder / name) for name in names)
    said = [event.text for event in drive.events if event.kind == "polling"]
    assert len(said) <= 1
    assert all("UTF-8" in text for text in said)
    drive.while_writing(lambda: (folder / "after.dng").write_bytes(capture(9)))
    assert len(drive.accepted) == len(names) + 1


def test_a_folder_whose_own_name_is_in_no_encoding_can_be_watched(tmp_path: Path) -> None:
    folder = Path(os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9"))
    folder.mkdir()
    with Drive(folder) as drive:
        drive.while_writing(lambda: in_pieces(folder / "SB_0001.dng", capture(1)))
        assert drive.names() == ["SB_0001.dng"]
        assert drive.kinds() == ["polling"]
        assert drive.events[0].text.isprintable()


@pytest.mark.parametrize("away_s", [0.0, 1.5])
def test_a_folder_deleted_and_made_again_is_watched_again(drive: Drive, folder: Path, away_s: float) -> None:
    drive.while_writing(lambda: (folder / "SB_0001.dng").write_bytes(capture(1)))
    drive.while_writing(lambda: deleted_and_recreated(folder, away_s=away_s))
    drive.idle(0.5)
    for number in (2, 3):
        drive.while_writing(lambda number=number: (folder / f"SB_{number}.dng").write_bytes(capture(number)))  # type: ignore[misc]
    drive.until(lambda: len(drive.accepted) == 3)
    assert drive.names() == ["SB_0001.dng", "SB_2.dng", "SB_3.dng"]
    told = [kind for kind in drive.kinds() if kind.startswith("folder")]
    assert told == ["folder_lost", "folder_back"] or (away_s == 0 and told in ([], ["folder_back"]))


def test_a_folder_renamed_away_and_back_has_nothing_measured_twice(drive: Drive, folder: Path) -> None:
    drive.while_writing(lambda: (folder / "SB_0001.dng").write_bytes(capture(1)))
    drive.while_writing(lambda: away_and_back(folder, away_s=1.5))
    drive.until(lambda: "folder_back" in drive.kinds())
    drive.while_writing(lambda: (folder / "SB_0002.dng").write_bytes(capture(2)))
    assert drive.names() == ["SB_0001.dng", "SB_0002.dng"]
    assert drive.kinds() == ["folder_lost", "folder_back"]
    assert drive.vanished == []


def test_a_listener_set_up_again_after_the_folder_came_back_gives_hints(drive: Drive, folder: Path) -> None:
    drive.idle(0.5)
    drive.while_writing(lambda: deleted_and_recreated(folder, away_s=1.0))
    calm(drive.source)
    (folder / "SB_0001.dng").write_bytes(capture(1))
    assert wait([drive.source.wakeup], 20)
    assert drive.source.changed()


def test_another_folder_in_its_place_is_said_and_watched(drive: Drive, folder: Path) -> None:
    other = folder.with_name("other")
    other.mkdir()
    (other / "SB_0009.dng").write_bytes(capture(9))
    drive.while_writing(lambda: (folder / "SB_0001.dng").write_bytes(capture(1)))

    def swap() -> None:
        folder.rename(folder.with_name("old"))
        other.rename(folder)

    drive.while_writing(swap)
    drive.until(lambda: len(drive.accepted) == 2)
    assert drive.kinds()[-1] == "folder_back"


def test_a_file_in_place_of_the_folder_is_said_in_words(tmp_path: Path) -> None:
    folder = tmp_path / "day"
    folder.mkdir()
    source = Source(folder, poll_s=1)
    source.scan()
    folder.rmdir()
    assert [event.text for event in source.scan().events] == [
        f"{folder} cannot be read: there is no such folder any more. "
        "Nothing is lost; it is looked for all the time"
    ]
    folder.write_bytes(b"")
    assert source.scan().events == []
    assert not source.scan().folder_ok


def test_nothing_is_gone_while_the_folder_cannot_be_read(folder: Path) -> None:
    (folder / "SB_0001.dng").write_bytes(b"x")
    source = Source(folder, poll_s=1)
    assert list(source.scan().files) == [str(folder / "SB_0001.dng")]
    folder.rename(folder.with_name("away"))
    lost = source.scan()
    assert (lost.folder_ok, lost.gone, lost.files) == (False, (), {})
    folder.with_name("away").rename(folder)
    assert list(source.scan().files) == [str(folder / "SB_0001.dng")]
    (folder / "SB_0001.dng").unlink()
    assert source.scan().gone == (str(folder / "SB_0001.dng"),)


MOUNTED = """
import sys, os, subprocess
from qc.intake.source import Source
day = sys.argv[1]
subprocess.run(["mount", "-t", "tmpfs", "none", day], check=True)
open(day + "/SB_0001.dng", "wb").write(b"x")
source = Source(day, poll_s=1)
said = [source.scan()]
subprocess.run(["umount", day], check=True)
said += [source.scan(), source.scan()]
subprocess.run(["mount", "-t", "tmpfs", "none", day], check=True)
open(day + "/SB_0002.dng", "wb").write(b"x")
said += [source.scan(), source.scan()]
for scan in said:
    kinds = [event.kind for event in scan.events if event.kind != "polling"]
    print(scan.folder_ok, len(scan.files), len(scan.gone), *kinds)
"""


@pytest.mark.skipif(sys.platform != "linux", reason="namespaces are Linux's")
def test_a_disk_taken_away_is_told_from_an_empty_folder(folder: Path) -> None:
    can = subprocess.run(["unshare", "--mount", "true"], capture_output=True, check=False)
    if can.returncode:
        pytest.skip("no mount namespace may be made here")
    command = ["unshare", "--mount", sys.executable, "-c", MOUNTED, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.splitlines() == [
        "True 1 0",
        "False 0 0 folder_lost",
        "False 0 0",
        "True 1 1 folder_back",
        "True 1 0",
    ]


def test_linked_folders_our_output_and_hidden_ones_are_not_entered_and_linked_files_are_seen(folder: Path) -> None:
    for name in ("day.qc", ".cache", "front"):
        (folder / name).mkdir()
        (folder / name / "SB_0001.dng").write_bytes(b"x")
    (folder / "loop").symlink_to(folder)
    outside = folder.parent / "outside.dng"
    outside.write_bytes(b"xy")
    (folder / "SB_0002.dng").symlink_to(outside)
    (folder / "SB_0003.dng").symlink_to(folder / "missing")
    (folder / "looks.like.dng").mkdir()
    os.mkfifo(folder / "SB_0004.dng")
    files = list_folder(str(folder)).files
    assert sorted(files) == [str(folder / "SB_0002.dng"), str(folder / "front" / "SB_0001.dng")]
    assert files[str(folder / "SB_0002.dng")] == stamp_of(outside)


def test_a_closed_folder_inside_is_said_once_and_its_captures_are_not_gone(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    inside = folder / "front"
    inside.mkdir()
    (inside / "SB_0001.dng").write_bytes(b"x")
    source = Source(folder, poll_s=1)
    source.scan()
    real = os.scandir

    def closed(path: str) -> Any:
        if path == str(inside):
            raise PermissionError(errno.EACCES, "Permission denied")
        return real(path)

    monkeypatch.setattr("qc.intake.scan.os.scandir", closed)
    first, second = source.scan(), source.scan()
    assert [event.kind for event in first.events] == ["folder_closed"]
    assert "Permission denied" in first.events[0].text
    assert second.events == []
    assert first.gone == second.gone == ()
    monkeypatch.undo()
    assert list(source.scan().files) == [str(inside / "SB_0001.dng")]


def test_a_network_folder_is_polled_without_being_asked(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(source_module, "is_network", lambda _: True)
    with Drive(folder) as drive:
        assert drive.source.network
        drive.until(lambda: bool(drive.events))
        assert "network" in drive.events[0].text
        assert threading.active_count() == 1 or "qc hints" not in {t.name for t in threading.enumerate()}
        drive.while_writing(lambda: (folder / "SB_0001.dng").write_bytes(capture(1)))
        drive.until(lambda: drive.names() == ["SB_0001.dng"])


@pytest.mark.parametrize(
    ("error", "words"),
    [
        (OSError(errno.ENOSPC, "inotify watch limit reached"), "no lack of disk"),
        (RuntimeError('OS file watch limit reached. about ["/day"]'), "no lack of disk"),
        (OSError(errno.EMFILE, "Too many open files"), "too many programs"),
        (RuntimeError("Unable to decode path"), "not UTF-8"),
        (ValueError("something\nelse"), "ValueError: something\\nelse"),
    ],
)
def test_a_listener_that_fails_is_said_once_in_words_and_nothing_is_lost(
    folder: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, words: str
) -> None:
    def fail(*_: object, **__: object) -> Iterator[set[Any]]:
        yield set()
        raise error

    monkeypatch.setattr(watchfiles, "watch", fail)
    assert words in in_words(error)
    with Drive(folder) as drive:
        drive.while_writing(lambda: (folder / "SB_0001.dng").write_bytes(capture(1)))
        drive.idle(1.0)
        assert drive.names() == ["SB_0001.dng"]
        assert [event.kind for event in drive.events] == ["polling"]
        assert words in drive.events[0].text


LIMITED = """
import sys, time
from qc.intake.source import Source
source = Source(sys.argv[1])
source.start()
end = time.monotonic() + 30
while not (scan := source.scan()).events and time.monotonic() < end:
    time.sleep(0.1)
source.stop()
print(len(scan.files), *(event.text for event in scan.events))
"""


@pytest.mark.skipif(sys.platform != "linux", reason="namespaces are Linux's")
@pytest.mark.parametrize(
    ("limit", "words"),
    [("max_inotify_watches", "no lack of disk"), ("max_inotify_instances", "too many programs")],
)
def test_the_real_limits_of_the_system_are_said_in_words(folder: Path, limit: str, words: str) -> None:
    (folder / "SB_0001.dng").write_bytes(b"x")
    shell = f'echo 0 > /proc/sys/user/{limit} && exec "$@"'
    inside = ["unshare", "--user", "--map-root-user", "sh", "-c", shell, "sh"]
    if subprocess.run([*inside, "true"], capture_output=True, check=False).returncode:
        pytest.skip("no user namespace may be made here")
    command = [*inside, sys.executable, "-c", LIMITED, str(folder)]
    done = subprocess.run(command, capture_output=True, text=True, check=True)
    assert done.stdout.startswith("1 ")
    assert words in done.stdout
    assert done.stderr == ""


def test_a_folder_inside_that_may_not_be_read_does_not_stop_the_listening(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked, real = [], watchfiles.watch

    def strict(*args: Any, **kwargs: Any) -> Iterator[set[Any]]:
        asked.append(kwargs["ignore_permission_denied"])
        if not kwargs["ignore_permission_denied"]:
            raise PermissionError(errno.EACCES, "Permission denied")  # as watchfiles does, tried as another user
        yield from real(*args, **kwargs)

    monkeypatch.setattr(watchfiles, "watch", strict)
    with Drive(folder) as drive:
        calm(drive.source)
        (folder / "SB_0001.dng").write_bytes(capture(1))
        assert wait([drive.source.wakeup], 20)
        drive.until(lambda: len(drive.accepted) == 1)
        assert drive.events == []
    assert asked == [False, True]


def test_stopping_at_any_moment_ends_the_listener(folder: Path) -> None:
    for pause in (0.0, 0.001, 0.01, 0.1):
        for _ in range(5):
            source = Source(folder)
            source.start()
            time.sleep(pause)
            source.stop()
    assert "qc hints" not in {thread.name for thread in threading.enumerate()}


def test_looking_at_a_file_and_reading_it_give_no_hint(folder: Path) -> None:
    target = folder / "SB_0001.dng"
    target.write_bytes(capture(1))
    source = Source(folder)
    source.start()
    try:
        calm(source)
        assert peek(target)[1] == stamp_of(target)
        assert state_of(str(target)) == "whole"
        list_folder(str(folder))
        assert wait([source.wakeup], 0.5) == []
        target.touch()
        assert wait([source.wakeup], 20) == [source.wakeup]
    finally:
        source.stop()


def test_notices_that_never_come_are_noticed_and_said(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def silent(*_: object, stop_event: threading.Event, **__: object) -> Iterator[set[Any]]:
        yield set()
        while not stop_event.wait(0.05):
            pass

    monkeypatch.setattr(watchfiles, "watch", silent)
    monkeypatch.setattr("qc.intake.hints.Hints._ring", lambda _: None)
    source = Source(folder)
    source.start()
    try:
        events: list[Event] = []
        number = 0
        while not events and number < 100:
            time.sleep(0.3)
            number += 1
            (folder / f"SB_{number}.dng").write_bytes(b"x")
            events += source.scan().events
        assert number > MISSES
        (folder / "SB_last.dng").write_bytes(b"x")
        events += source.scan().events
    finally:
        source.stop()
    assert [event.kind for event in events] == ["polling"]
    assert "not announced" in events[0].text


def test_a_hint_wakes_whoever_waits_and_is_forgotten_by_the_scan(folder: Path) -> None:
    source = Source(folder)
    source.start()
    try:
        calm(source)
        (folder / "SB_0001.dng").write_bytes(b"x")
        assert wait([source.wakeup], 20) == [source.wakeup]
        assert source.changed()
        assert str(folder / "SB_0001.dng") in source.scan().files
        calm(source)
        assert not source.changed()
    finally:
        source.stop()


def test_a_watched_folder_is_left_exactly_as_it_was(folder: Path) -> None:
    (folder / "front").mkdir()
    for number, place in enumerate(["SB_0001.dng", "front/SB_0002.JPG", "SB_0003.dng.xmp"]):
        (folder / place).write_bytes(capture(number))
    (folder / "SB_0004.dng").write_bytes(b"cut")
    before = traces(folder)
    with Drive(folder, pace=Pace(patience_s=1.0)) as drive:
        drive.until(lambda: len(drive.accepted) == 2 and len(drive.left) == 1)
        drive.idle(0.5)
    assert traces(folder) == before


def test_what_the_test_takes_for_whole_is_never_cut_or_full_of_holes(tmp_path: Path) -> None:
    path = tmp_path / "x.dng"
    for data, state in ((capture(1), "whole"), (capture(1)[:-1], "truncated"), (b"\0" + capture(1), "damaged")):
        path.write_bytes(data)
        assert state_of(str(path)) == state
