"""Which watched folder a command means, and how a running watch is found."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import platformdirs
import pytest

from qc.errors import UsageError
from qc.intake import place
from qc.intake.place import announce, default_out, running_watches, where
from qc.log.log import NAME

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A state folder of the test's own, and a current folder that is no watched one."""
    state = tmp_path / "state"
    monkeypatch.setattr(platformdirs, "user_state_path", lambda app: state / app)
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    monkeypatch.chdir(elsewhere)
    return state


def watched(folder: Path) -> Path:
    """Make a folder that was watched before."""
    folder.mkdir(parents=True)
    default_out(folder).mkdir()
    (default_out(folder) / NAME).touch()
    return folder


def pair(folder: Path) -> tuple[Path, Path]:
    return folder, default_out(folder)


# which folder


def test_a_named_folder_is_the_one_whatever_else_is_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    here, other = watched(tmp_path / "here"), tmp_path / "other"
    monkeypatch.chdir(here)
    with announce(here, default_out(here)):
        assert where(folder=other, capture=here / "SB_0001.dng") == pair(other)
        assert where(folder=other, out=tmp_path / "out") == (other, tmp_path / "out")
        assert where(folder=Path("../other")) == pair(other)


def test_an_output_folder_may_be_named_in_place_of_its_folder(tmp_path: Path) -> None:
    folder = watched(tmp_path / "bottles")
    assert where(folder=default_out(folder)) == pair(folder)
    assert where(out=default_out(folder)) == pair(folder)


def test_an_output_folder_elsewhere_is_known_of_a_running_watch_only(tmp_path: Path) -> None:
    folder, out = tmp_path / "bottles", tmp_path / "logs"
    folder.mkdir()
    with announce(folder, out):
        assert where(folder=folder) == (folder, out)
        assert where(out=out) == (folder, out)
        assert where(capture=folder / "inside" / "SB_0001.dng") == (folder, out)
    with pytest.raises(UsageError, match="with --folder"):
        where(out=out)


def test_a_capture_belongs_to_the_nearest_folder_above_it_that_has_a_log(tmp_path: Path) -> None:
    outer = watched(tmp_path / "day")
    inner = watched(outer / "bottles")
    assert where(capture=inner / "deep" / "SB_0001.dng") == pair(inner)
    assert where(capture=outer / "vases" / "SB_0001.dng") == pair(outer)


def test_a_bare_name_is_looked_up_from_the_current_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = watched(tmp_path / "bottles")
    (folder / "inside").mkdir()
    monkeypatch.chdir(folder / "inside")
    assert where(capture="SB_0001.dng") == pair(folder)


def test_the_current_folder_may_be_the_watched_one_or_its_output_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder, other = watched(tmp_path / "bottles"), tmp_path / "other"
    with announce(other, default_out(other)):
        for here in pair(folder):
            monkeypatch.chdir(here)
            assert where() == pair(folder)
            assert where(capture="SB_0001.dng") == pair(folder)


def test_elsewhere_the_running_watch_is_meant(tmp_path: Path) -> None:
    folder = tmp_path / "bottles"
    with announce(folder, default_out(folder)):
        assert where() == pair(folder)
        assert where(capture="SB_0001.dng") == pair(folder)
    with pytest.raises(UsageError, match="no watch is running and there is no log here"):
        where()


def test_two_running_watches_are_named_and_none_is_taken(tmp_path: Path) -> None:
    first, second = tmp_path / "bottles", tmp_path / "vases"
    with (
        announce(first, default_out(first)),
        announce(second, default_out(second)),
        pytest.raises(UsageError, match=f"2 watches are running, on {first} and {second}: name one with --folder"),
    ):
        where()


def test_a_folder_reached_through_a_link_is_the_same(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder, link = tmp_path / "bottles", tmp_path / "link"
    folder.mkdir()
    link.symlink_to(folder)
    with announce(link, tmp_path / "link.qc"):
        monkeypatch.chdir(folder)
        assert where() == (link, tmp_path / "link.qc")


def test_a_current_folder_that_was_deleted_does_no_harm(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    gone = tmp_path / "gone"
    gone.mkdir()
    monkeypatch.chdir(gone)
    gone.rmdir()
    with pytest.raises(UsageError, match="no watch is running"):
        where()


# the note of a running watch


def test_a_watch_is_found_while_it_runs_and_leaves_nothing_behind(tmp_path: Path, state: Path) -> None:
    folder = tmp_path / "b\udcff\n"
    with announce(folder, tmp_path / "out") as why:
        (watch,) = running_watches()
        assert why is None
        assert (watch.folder, watch.out, watch.pid) == (folder, tmp_path / "out", os.getpid())
    assert running_watches() == []
    assert [path for path in state.rglob("*") if path.is_file()] == []


def test_a_watch_that_fails_takes_its_note_away(tmp_path: Path, state: Path) -> None:
    with pytest.raises(RuntimeError, match="a defect"), announce(tmp_path / "a", tmp_path / "a.qc"):
        raise RuntimeError("a defect")
    assert [path for path in state.rglob("*") if path.is_file()] == []


def test_the_note_of_a_watch_that_was_killed_is_ignored_and_removed(tmp_path: Path, state: Path) -> None:
    code = (
        "import platformdirs, pathlib, sys, time\n"
        f"platformdirs.user_state_path = lambda app: pathlib.Path({str(state)!r}) / app\n"
        "from qc.intake.place import announce\n"
        f"with announce(pathlib.Path({str(tmp_path / 'a')!r}), pathlib.Path({str(tmp_path / 'a.qc')!r})):\n"
        "    print('runs', flush=True)\n"
        "    time.sleep(100)\n"
    )
    watch = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT, stdout=subprocess.PIPE)
    with watch:
        assert watch.stdout is not None
        assert watch.stdout.readline() == b"runs\n"
        assert [one.pid for one in running_watches()] == [watch.pid]
        watch.send_signal(signal.SIGKILL)
    assert len(list(state.rglob("*.json"))) == 1
    assert running_watches() == []
    assert list(state.rglob("*.json")) == []


def test_a_note_whose_process_number_another_process_has_by_now_is_ignored(tmp_path: Path, state: Path) -> None:
    note = state / "framegauge" / "watches" / "old.json"
    note.parent.mkdir(parents=True)
    facts = {"folder": str(tmp_path), "out": str(tmp_path / "out"), "pid": os.getpid(), "started": "2026-11-24"}
    note.write_text(json.dumps(facts))
    assert running_watches() == []
    assert not note.exists()


@pytest.mark.parametrize(("pid", "runs"), [(os.getpid(), True), (2**22 + 1, False)], ids=["ours", "nobody"])
def test_where_nothing_can_be_locked_the_process_number_tells(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, state: Path, pid: int, runs: bool
) -> None:
    monkeypatch.setattr(place, "_lock", lambda *_, **__: None)
    note = state / "framegauge" / "watches" / "one.json"
    note.parent.mkdir(parents=True)
    facts = {"folder": str(tmp_path), "out": str(tmp_path / "out"), "pid": pid, "started": "2026-11-25"}
    note.write_text(json.dumps(facts))
    assert bool(running_watches()) == runs
    assert note.exists() == runs


@pytest.mark.parametrize("text", ["", "{", "[]", '{"folder": 3}', '{"folder": "/a", "out": "/b", "pid": "x"}'])
def test_a_note_that_says_nothing_is_removed(state: Path, text: str) -> None:
    note = state / "framegauge" / "watches" / "odd.json"
    note.parent.mkdir(parents=True)
    note.write_text(text)
    assert running_watches() == []
    assert not note.exists()


def test_no_note_is_ever_written_into_the_watched_folder(tmp_path: Path, state: Path) -> None:
    before = sorted(tmp_path.rglob("*"))
    with announce(tmp_path, tmp_path.with_name("out")) as why:
        assert why == f"{state / 'framegauge' / 'watches'} lies in the watched folder"
        assert sorted(tmp_path.rglob("*")) == before


def test_a_state_folder_that_cannot_be_written_does_not_keep_the_watch_from_running(
    tmp_path: Path, state: Path
) -> None:
    state.write_text("a file where a folder should be")
    with announce(tmp_path / "a", tmp_path / "a.qc") as why:
        assert why is not None
        assert "Not a directory" in why
    assert running_watches() == []
