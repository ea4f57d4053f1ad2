"""Disks that fill up, go away and come back: the watch says so in words, goes on, and catches up.

What needs a disk of its own runs in a user and mount namespace (`unshare -Urm`), with small tmpfs disks; where the
system does not allow one, those tests skip with the reason.
"""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
from collections import Counter
from collections.abc import Callable
from pathlib import Path

import pytest

from qc.intake.updates import Heartbeat
from qc.log.log import Log
from tests.watch.running import Running, capture, snapshot, watching

pytestmark = pytest.mark.timeout(300)

ROOT = Path(__file__).resolve().parents[2]


def put(folder: Path, *numbers: int) -> None:
    for number in numbers:
        (folder / name(number)).write_bytes(capture(number))


def name(number: int) -> str:
    return f"SB_{number:04d}.dng"


def logged(out: Path) -> Counter[str]:
    with Log.open(out, create=False, read_only=True) as log:
        return Counter(entry.name for entry in log.entries())


def said(running: Running, kind: str, times: int = 1) -> str:
    """Wait until an event was told so often; return its words."""
    running.until(lambda: len(running.events(kind)) >= times, f"{kind} told")
    text = running.events(kind)[-1].text
    assert len(text.split()) > 2, text
    return text


def beat(running: Running) -> Heartbeat:
    return [update for update in list(running.updates) if isinstance(update, Heartbeat)][-1]


# -- the watched folder goes away and comes back; needs no disk of its own


def test_a_folder_deleted_and_made_again_is_watched_again(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    with watching(folder) as running:
        put(folder, 1, 2)
        running.wait_for(name(1), name(2))
        shutil.rmtree(folder)
        assert "captures" in said(running, "folder_lost")
        running.until(lambda: beat(running).folder == "lost", "a heartbeat that says so")
        folder.mkdir()
        said(running, "folder_back")
        put(folder, 3, 4)
        running.wait_for(name(3), name(4))
        running.until(lambda: beat(running).folder == "well", "a heartbeat that says so")
        running.settle_down()
        assert running.names() == Counter(map(name, (1, 2, 3, 4)))
    assert logged(tmp_path / "captures.qc") == Counter(map(name, (1, 2, 3, 4)))


def test_a_folder_replaced_between_two_looks_is_watched_again(tmp_path: Path) -> None:
    folder, other = tmp_path / "captures", tmp_path / "other"
    folder.mkdir()
    other.mkdir()
    put(other, 3)
    with watching(folder) as running:
        put(folder, 1)
        running.wait_for(name(1))
        folder.rename(tmp_path / "yesterday")
        other.rename(folder)
        running.wait_for(name(3))
        put(folder, 4)
        running.wait_for(name(4))
        put(tmp_path / "yesterday", 5)
        running.settle_down()
        assert running.names() == Counter(map(name, (1, 3, 4)))


def test_captures_that_come_back_with_their_folder_are_not_told_again(tmp_path: Path) -> None:
    folder = tmp_path / "captures"
    folder.mkdir()
    with watching(folder) as running:
        put(folder, 1, 2)
        running.wait_for(name(1), name(2))
        shutil.rmtree(folder)
        said(running, "folder_lost")
        folder.mkdir()
        put(folder, 1, 2, 3)  # the drive was copied back: other inodes and times, the same content
        running.wait_for(name(3))
        running.settle_down()
        assert running.names() == Counter(map(name, (1, 2, 3)))
        assert running.events("new_content") == []
        assert running.events("duplicate") == []


def test_a_log_that_is_taken_away_is_missed_and_made_again(tmp_path: Path) -> None:
    folder, out = tmp_path / "captures", tmp_path / "captures.qc"
    folder.mkdir()
    with watching(folder) as running:
        put(folder, 1, 2)
        running.wait_for(name(1), name(2))
        shutil.rmtree(out)
        put(folder, 3, 4)
        running.wait_for(name(3), name(4))
        running.settle_down()
    assert set(logged(out)) >= {name(3), name(4)}


# -- what needs a disk of its own: each of these runs inside the namespace, on an empty folder


def mount(place: Path, size: str) -> None:
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(place)], check=True)


def remount(place: Path, how: str) -> None:
    subprocess.run(["mount", "-o", f"remount,{how}", str(place)], check=True)


def unmount(place: Path) -> None:
    subprocess.run(["umount", str(place)], check=True)


def fill(folder: Path, first: int) -> int:
    """Write captures until the disk is full to its last byte; the last one is cut. Return its number."""
    for number in range(first, first + 1000):
        try:
            put(folder, number)
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            return number
    raise AssertionError("the disk never filled up")


def watched_disk_full(place: Path) -> None:
    """The disk that the captures come to fills up in the middle of one."""
    folder = place / "captures"
    folder.mkdir()
    mount(folder, "600k")
    with watching(folder) as running:
        cut = fill(folder, 1)
        whole = [name(number) for number in range(1, cut)]
        running.wait_for(*whole)
        assert "full" in said(running, "disk_full")
        running.until(lambda: beat(running).free_frames == 0, "a heartbeat that says so")
        before = snapshot(folder)
        running.wait_for(name(cut))
        assert running.states()[name(cut)] in ("truncated", "empty")
        assert snapshot(folder) == before
        (folder / name(1)).unlink()
        (folder / name(2)).unlink()
        put(folder, cut)
        running.until(lambda: running.states().get(name(cut)) == "whole", "the cut capture whole")
        running.settle_down()
        assert running.names() == Counter([*whole, name(cut), name(cut)])  # told cut once, and whole once
    assert set(logged(place / "captures.qc")) == {*whole, name(cut)}


def watched_disk_unmounted(place: Path) -> None:
    """The drive is pulled and plugged in again, with more captures on it."""
    folder = place / "captures"
    folder.mkdir()
    mount(folder, "4m")
    with watching(folder) as running:
        put(folder, 1, 2, 3)
        running.wait_for(*map(name, (1, 2, 3)))
        running.settle_down()
        unmount(folder)  # fails when the watch holds the disk
        said(running, "folder_lost")
        mount(folder, "4m")
        put(folder, 1, 2, 3, 4, 5)
        said(running, "folder_back")
        running.wait_for(*map(name, (4, 5)))
        put(folder, 6)
        running.wait_for(name(6))
        running.settle_down()
        assert running.names() == Counter(map(name, range(1, 7)))
    assert logged(place / "captures.qc") == Counter(map(name, range(1, 7)))


def output_disk_full(place: Path) -> None:
    """The disk of the log fills up, and is emptied again."""
    folder, disk = place / "captures", place / "disk"
    folder.mkdir()
    disk.mkdir()
    mount(disk, "400k")
    with watching(folder, out=disk / "out") as running:
        put(folder, *range(1, 31))
        running.wait_for(*map(name, range(1, 31)))
        assert "full" in said(running, "log_lost")
        running.until(lambda: beat(running).log == "lost", "a heartbeat that says so")
        remount(disk, "size=40m")
        said(running, "log_back")
        assert len(running.events("log_lost")) == 1
        put(folder, 31)
        running.wait_for(name(31))
        running.settle_down()
        assert running.names() == Counter(map(name, range(1, 32)))
    assert logged(disk / "out") == Counter(map(name, range(1, 32)))


def output_disk_full_from_the_start(place: Path) -> None:
    """There is no room for a log at all."""
    folder, disk = place / "captures", place / "disk"
    folder.mkdir()
    disk.mkdir()
    mount(disk, "64k")
    (disk / "ballast").write_bytes(bytes(os.statvfs(disk).f_bavail * os.statvfs(disk).f_frsize))
    with watching(folder, out=disk / "out") as running:
        put(folder, 1, 2, 3)
        running.wait_for(*map(name, (1, 2, 3)))
        said(running, "log_lost")
        remount(disk, "size=40m")
        said(running, "log_back")
        running.settle_down()
    assert logged(disk / "out") == Counter(map(name, (1, 2, 3)))


SCENES: tuple[Callable[[Path], None], ...] = (
    watched_disk_full,
    watched_disk_unmounted,
    output_disk_full,
    output_disk_full_from_the_start,
)


def refusal() -> str | None:
    """Return why this system allows no small disk of one's own, or None."""
    if not (shutil.which("unshare") and shutil.which("mount")):
        return "this system has no unshare"
    probe = ["unshare", "-Urm", "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
    done = subprocess.run(probe, capture_output=True, check=False, timeout=60)
    why = done.stderr.decode(errors="replace").strip()
    return None if done.returncode == 0 else f"no mount namespace here: {why}"


@pytest.mark.parametrize("scene", SCENES, ids=lambda scene: scene.__name__.replace("_", " "))
def test_the_watch_says_so_goes_on_and_catches_up(scene: Callable[[Path], None], tmp_path: Path) -> None:
    reason = refusal()
    if reason is not None:
        pytest.skip(reason)
    command = ["unshare", "-Urm", sys.executable, "-m", "tests.watch.test_disk", scene.__name__, str(tmp_path)]
    paths = os.pathsep.join([str(ROOT), str(ROOT / "cli"), *filter(None, [os.environ.get("PYTHONPATH")])])
    done = subprocess.run(
        command,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": paths},
        capture_output=True,
        text=True,
        check=False,
        timeout=280,
    )
    assert done.returncode == 0, done.stdout + done.stderr


if __name__ == "__main__":
    {scene.__name__: scene for scene in SCENES}[sys.argv[1]](Path(sys.argv[2]))
