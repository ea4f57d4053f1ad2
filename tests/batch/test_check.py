"""The check of a day: every capture once, nothing decoded that the log knows, whatever ends it in between."""

from __future__ import annotations

import gc
import os
import shutil
import time
import weakref
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from qc.batch.check import DayCheck, check_day
from qc.batch.progress import Progress
from qc.batch.work import Answer, work
from qc.errors import SheetError, UsageError
from qc.event import Event
from qc.intake.updates import Judged
from qc.log.log import Log
from qc.pipeline import measure_capture
from qc.reading import Level
from tests.batch.counting import Checked, check_beside, decodes
from tests.cli.conftest import CAMERA, scene, write
from tests.watch.running import PATIENCE_S, capture, finished, snapshot, watching

SHEET = """\
[set]
name = "Stoneware bottles"
preset = "series"
{more}
[[zone]]
name = "label"
role = "protect"
box = {box}
"""

BOX, OTHER_BOX = "[0.5, 0.5, 0.4, 0.4]", "[0.1, 0.1, 0.3, 0.3]"

FOUR = [f"SB_{number:04d}.dng" for number in range(4)]

pytestmark = pytest.mark.timeout(300)


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "bottles"
    made.mkdir()
    return made


@pytest.fixture
def four(folder: Path) -> Path:
    """The folder with four captures."""
    for number, name in enumerate(FOUR):
        (folder / name).write_bytes(capture(number))
    return folder


@pytest.fixture
def notes(tmp_path: Path) -> Path:
    return tmp_path / "decodes"


def sheet(folder: Path, name: str = "a", *, box: str = BOX, more: str = "") -> Path:
    path = folder.with_name(f"{folder.name}.qc") / f"{name}.set.toml"
    path.parent.mkdir(exist_ok=True)
    path.write_text(SHEET.format(box=box, more=more))
    return path


def logged(folder: Path) -> Log:
    return Log.open(folder.with_name(f"{folder.name}.qc"), create=False, read_only=True)


# -- the first time


def test_each_capture_of_the_folder_and_of_those_below_is_told_once_in_the_order_taken(folder: Path) -> None:
    (folder / "front").mkdir()
    for number in (3, 1, 4, 0, 2):
        below = folder / "front" if number % 2 else folder
        (below / f"SB_{9 - number:04d}.dng").write_bytes(capture(number))
    (folder / "notes.txt").write_text("no capture")
    told = list(check_day(folder, jobs=2))
    names = [one.result.file.name for one in told if isinstance(one, Judged)]
    assert names == ["SB_0009.dng", "SB_0008.dng", "SB_0007.dng", "SB_0006.dng", "SB_0005.dng"]
    assert [one for one in told if isinstance(one, Event)] == []


def test_what_is_logged_is_what_measuring_gives(four: Path, notes: Path) -> None:
    sheet(four)
    checked = Checked(four, notes)
    intent = checked.check.intent
    for name in FOUR:
        expected = measure_capture(four / name, intent.for_capture(four / name))
        result = checked.one(name).result
        assert result.file == expected.file
        assert (result.readings, result.verdict) == (expected.readings, expected.verdict)
    with logged(four) as log:
        assert all(log.digest(one.standing.content) is not None for one in checked.measured)


def test_captures_are_not_touched_and_nothing_is_written_among_them(four: Path, notes: Path) -> None:
    before = snapshot(four)
    Checked(four, notes)
    assert snapshot(four) == before


@pytest.mark.parametrize("kind", ["threads", "processes"])
def test_any_executor_will_do(kind: str, four: Path) -> None:
    pool = ThreadPoolExecutor(2) if kind == "threads" else ProcessPoolExecutor(2, mp_context=get_context("spawn"))
    with pool:
        told = [t.result.file.name for t in check_day(four, executor=pool, jobs=2) if isinstance(t, Judged)]
    assert told == FOUR


def test_damaged_empty_and_foreign_files_are_told_and_stop_nothing(four: Path, notes: Path) -> None:
    (four / "cut.dng").write_bytes(capture(7)[:9000])
    (four / "empty.dng").write_bytes(b"")
    (four / "text.jpg").write_text("no picture")
    checked = Checked(four, notes)
    assert {t.result.file.name: t.result.file.state for t in checked.measured} == dict.fromkeys(FOUR, "whole") | {
        "cut.dng": "truncated",
        "empty.dng": "empty",
        "text.jpg": "unreadable",
    }
    levels = {name: checked.one(name).standing.level for name in ("cut.dng", "empty.dng", "text.jpg")}
    assert levels == {"cut.dng": Level.HALT, "empty.dng": Level.HALT, "text.jpg": Level.UNMEASURED}
    again = Checked(four, notes)
    assert again.executor.submitted == []
    assert {one.result.file.name: one.standing.level for one in again.measured} == {
        one.result.file.name: one.standing.level for one in checked.measured
    }


def test_odd_names_survive(folder: Path, notes: Path) -> None:
    odd = ["a#b.dng", "50%.dng", "q\"u'o.dng", "<b>.dng", os.fsdecode(b"caf\xe9.dng"), "x" * 200 + ".dng"]
    for number, name in enumerate(odd):
        (folder / name).write_bytes(capture(number))
    assert Checked(folder, notes).names == odd
    assert not Checked(folder, notes).decoded


def test_a_finished_picture_belongs_to_its_raw(folder: Path, notes: Path) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    (folder / "SB_0001.JPG").write_bytes(finished(1, taken="2026:11:25 10:00:10"))
    (folder / "SB_0002.JPG").write_bytes(finished(2))
    checked = Checked(folder, notes)
    assert sorted(checked.names) == ["SB_0001.dng", "SB_0002.JPG"]
    assert checked.one("SB_0001.dng").result.file.companions == ("SB_0001.JPG",)


def test_an_empty_folder_tells_nothing(folder: Path, notes: Path) -> None:
    assert Checked(folder, notes).told == []


def test_a_folder_that_is_none_and_an_output_among_captures_are_refused(folder: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        DayCheck(folder / "nowhere")
    with pytest.raises(UsageError, match="among the captures"):
        DayCheck(folder, out=folder / "out")
    with pytest.raises(UsageError, match="no decoder"):
        DayCheck(folder, decoder="none")
    with pytest.raises(UsageError, match="no preset"):
        DayCheck(folder, preset="none")
    with pytest.raises(UsageError, match="jobs"):
        DayCheck(folder, jobs=-1)


def test_a_bad_sheet_is_refused_before_anything_is_measured(four: Path) -> None:
    sheet(four, box="[2, 0, 1, 1]")
    with pytest.raises(SheetError, match="label"):
        DayCheck(four)
    assert not (four.with_name("bottles.qc") / "log.sqlite3").exists()


# -- again


def test_the_second_time_nothing_is_decoded_or_read(four: Path, notes: Path) -> None:
    first = Checked(four, notes)
    assert first.decoded == Counter(FOUR)
    second = Checked(four, notes)
    assert second.executor.submitted == []
    assert [(m.result.file.name, m.standing) for m in second.measured] == [
        (m.result.file.name, m.standing) for m in first.measured
    ]
    assert second.check.progress == Progress(done=0, total=0, known=4, elapsed_s=0.0)


def test_what_the_watch_measured_is_not_decoded_again(four: Path, notes: Path) -> None:
    sheet(four)
    with watching(four) as running:
        running.wait_for(*FOUR)
    checked = Checked(four, notes)
    assert checked.names == FOUR
    assert checked.executor.submitted == []


def test_what_the_check_measured_is_not_told_again_by_a_watch(four: Path, notes: Path) -> None:
    Checked(four, notes)
    with watching(four) as running:
        (four / "SB_0009.dng").write_bytes(capture(9))
        running.wait_for("SB_0009.dng")
        running.settle_down()
        assert list(running.names()) == ["SB_0009.dng"]


def test_only_what_is_new_is_decoded(four: Path, notes: Path) -> None:
    Checked(four, notes)
    (four / "SB_0009.dng").write_bytes(capture(9))
    checked = Checked(four, notes)
    assert checked.decoded == Counter(["SB_0009.dng"])
    assert checked.names == [*FOUR, "SB_0009.dng"]


def test_after_a_change_of_one_limit_all_are_judged_anew_and_none_is_decoded(folder: Path, notes: Path) -> None:
    sheet(folder)
    write(folder / "SB_0001.dng", scene(burnt=True))
    first = Checked(folder, notes)
    assert first.one("SB_0001.dng").standing.level is Level.HALT
    bar = '[zone.limits."highlights.unintended_area"]\nwarn = 90\nhalt = 95\n'
    path = sheet(folder)
    path.write_text(path.read_text() + bar)
    second = Checked(folder, notes)
    assert second.executor.submitted == []
    causes = [c for c in second.one("SB_0001.dng").standing.causes if c.reading == "highlights.unintended_area"]
    assert [c for c in causes if c.level is Level.HALT] == []
    path.write_text(SHEET.format(box=BOX, more=""))
    third = Checked(folder, notes)
    assert third.executor.submitted == []
    assert third.one("SB_0001.dng").standing == first.one("SB_0001.dng").standing


def test_another_preset_judges_anew_and_decodes_nothing(four: Path, notes: Path) -> None:
    first = Checked(four, notes)
    assert {m.standing.level for m in first.measured} == {Level.UNJUDGED}
    second = Checked(four, notes, preset="strict")
    assert second.executor.submitted == []
    assert Level.UNJUDGED not in {m.standing.level for m in second.measured}


def test_of_several_sets_only_the_one_with_other_zones_is_decoded_again(folder: Path, notes: Path) -> None:
    for number in range(3):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
        (folder / f"ST_{number:04d}.dng").write_bytes(capture(10 + number))
    sheet(folder, "front", more='captures = "SB_*"')
    sheet(folder, "top", more='captures = "ST_*"')
    first = Checked(folder, notes)
    assert set(first.decoded.values()) == {1}
    with logged(folder) as log:
        texts = {one.result.file.name[:2]: one.sheet_text for one in log.captures()}
    assert 'captures = "SB_*"' in str(texts["SB"])
    assert 'captures = "ST_*"' in str(texts["ST"])
    sheet(folder, "top", more='captures = "ST_*"', box=OTHER_BOX)
    second = Checked(folder, notes)
    assert second.decoded == Counter([f"ST_{number:04d}.dng" for number in range(3)])
    sheet(folder, "top", more='captures = "ST_*"')
    assert Checked(folder, notes).executor.submitted == []


def test_a_touched_file_is_read_and_not_decoded(four: Path, notes: Path) -> None:
    Checked(four, notes)
    os.utime(four / "SB_0001.dng", ns=(1, 1_700_000_000_000_000_000))
    checked = Checked(four, notes)
    assert [Path(task.paths[0]).name for task in checked.executor.submitted] == ["SB_0001.dng"]
    assert not checked.decoded
    assert checked.names == FOUR
    assert Checked(four, notes).executor.submitted == []


def test_a_folder_copied_elsewhere_with_its_log_is_read_and_not_decoded(four: Path, notes: Path) -> None:
    Checked(four, notes)
    other = four.parent / "drive"
    shutil.copytree(four, other)
    shutil.copytree(four.with_name("bottles.qc"), other.with_name("drive.qc"))
    checked = Checked(other, notes)
    assert len(checked.executor.submitted) == 4
    assert not checked.decoded
    assert [m.result.file.path for m in checked.measured] == [str(other / name) for name in FOUR]


def test_another_content_under_a_known_name_is_measured_and_said(four: Path, notes: Path) -> None:
    Checked(four, notes)
    (four / "SB_0001.dng").write_bytes(capture(50))
    checked = Checked(four, notes)
    assert checked.decoded == Counter(["SB_0001.dng"])
    assert [e.name for e in checked.events()] == ["SB_0001.dng"]
    assert [e.kind for e in checked.events()] == ["new_content"]
    assert len(checked.measured) == 4


def test_the_same_content_under_another_name_is_said_and_not_decoded(four: Path, notes: Path) -> None:
    Checked(four, notes)
    shutil.copy2(four / "SB_0001.dng", four / "copy of SB_0001.dng")
    checked = Checked(four, notes)
    assert not checked.decoded
    assert [(e.kind, e.name) for e in checked.events()] == [("duplicate", "copy of SB_0001.dng")]
    assert len(checked.measured) == 4
    again = Checked(four, notes)
    assert again.executor.submitted == []
    assert again.events() == []


@pytest.mark.parametrize("workers", [1, 2, 3])
def test_copies_beside_each_other_are_called_by_the_first_name_and_decoded_once(
    workers: int, folder: Path, notes: Path
) -> None:
    names = [f"SB_{number:04d}.dng" for number in range(1, 5)]
    for name in names:
        (folder / name).write_bytes(capture(1))
    checked = Checked(folder, notes, workers=workers)
    assert checked.decoded == Counter([names[0]])
    assert checked.names == [names[0]]
    assert [(event.kind, event.name) for event in checked.events()] == [("duplicate", name) for name in names[1:]]
    assert checked.check.progress.read == 3


def test_a_capture_that_was_renamed_is_not_gone_and_is_told_under_its_new_name(four: Path, notes: Path) -> None:
    Checked(four, notes)
    (four / "front").mkdir()
    (four / "SB_0001.dng").rename(four / "front" / "moved.dng")
    checked = Checked(four, notes)
    assert not checked.decoded
    assert [(e.kind, e.name) for e in checked.events()] == [("duplicate", "moved.dng")]
    assert checked.names == ["SB_0000.dng", "moved.dng", "SB_0002.dng", "SB_0003.dng"]
    assert checked.one("moved.dng").result.file.path == str(four / "front" / "moved.dng")


def test_an_empty_folder_says_nothing_of_what_the_log_knows(four: Path, notes: Path) -> None:
    Checked(four, notes)
    for name in FOUR:
        (four / name).unlink()
    assert Checked(four, notes).told == []


def test_a_folder_that_goes_away_meanwhile_is_one_line(four: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def unplug(task: object) -> Answer:
        answer = work(task)  # type: ignore[arg-type]  # the task of a run
        if four.exists():
            four.rename(four.with_name("unplugged"))
        return answer

    monkeypatch.setattr("qc.batch.runs.work", unplug)
    with ThreadPoolExecutor(1) as pool, pytest.raises(UsageError, match="went away; what was measured is logged"):
        list(check_day(four, executor=pool, jobs=1))


def test_a_picture_that_comes_later_joins_its_raw_and_nothing_is_decoded(folder: Path, notes: Path) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    Checked(folder, notes)
    (folder / "SB_0001.JPG").write_bytes(finished(1, taken="2026:11:25 10:00:10"))
    checked = Checked(folder, notes)
    assert checked.executor.submitted == []
    assert checked.one("SB_0001.dng").result.file.companions == ("SB_0001.JPG",)
    assert [e.kind for e in checked.events()] == ["joined"]
    assert Checked(folder, notes).told == checked.measured


def test_a_picture_that_was_a_capture_before_its_raw_came_is_none_any_more(folder: Path, notes: Path) -> None:
    (folder / "SB_0001.JPG").write_bytes(finished(1, taken="2026:11:25 10:00:10"))
    assert Checked(folder, notes).names == ["SB_0001.JPG"]
    (folder / "SB_0001.dng").write_bytes(capture(1))
    assert Checked(folder, notes).names == ["SB_0001.dng"]
    assert Checked(folder, notes).names == ["SB_0001.dng"]


def test_a_capture_that_left_the_folder_is_said_once_and_stays_in_the_log(four: Path, notes: Path) -> None:
    Checked(four, notes)
    (four / "SB_0002.dng").unlink()
    checked = Checked(four, notes)
    assert [(e.kind, e.name) for e in checked.events()] == [("gone", "SB_0002.dng")]
    assert checked.names == ["SB_0000.dng", "SB_0001.dng", "SB_0003.dng"]
    with logged(four) as log:
        assert log.find("SB_0002.dng") is not None
    assert Checked(four, notes).events() == []


def test_what_could_not_be_read_is_tried_again(four: Path, notes: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with ThreadPoolExecutor(1) as pool:
        monkeypatch.setattr("qc.batch.runs.work", _loses_one)
        told = list(check_day(four, executor=pool, jobs=1))
    states = {t.result.file.name: t.result.file.state for t in told if isinstance(t, Judged)}
    assert states == dict.fromkeys(FOUR, "whole") | {"SB_0001.dng": "unreadable"}
    assert [t.kind for t in told if isinstance(t, Event)] == ["worker_lost"]
    monkeypatch.setattr("qc.batch.runs.work", work)
    checked = Checked(four, notes)
    assert checked.decoded == Counter(["SB_0001.dng"])
    assert set(m.result.file.state for m in checked.measured) == {"whole"}
    assert len(checked.measured) == 4


def _loses_one(task: object) -> Answer:
    answer = work(task)  # type: ignore[arg-type]  # the task of a run
    name = answer.result.file.name if answer.result else ""
    return Answer(lost="internal fault: planted") if name == "SB_0001.dng" else answer


# -- ambient tests


def ambient_day(folder: Path) -> None:
    from dataclasses import replace

    write(folder / "SB_0001.dng", scene() + scene() / 64, replace(CAMERA, taken="2026-11-25T10:00:00"))
    write(folder / "SB_0002.dng", scene() / 64, replace(CAMERA, taken="2026-11-25T10:00:10"))


def test_a_dark_frame_is_tested_once_against_its_lit_one(folder: Path, notes: Path) -> None:
    sheet(folder)
    ambient_day(folder)
    first = Checked(folder, notes)
    assert first.decoded == Counter({"SB_0001.dng": 2, "SB_0002.dng": 2})
    with logged(folder) as log:
        tested = [one for one in log.captures() if one.ambient is not None]
    assert [one.result.file.name for one in tested] == ["SB_0002.dng"]
    assert "against SB_0001.dng" in tested[0].ambient_text
    assert Checked(folder, notes).executor.submitted == []


def test_other_limits_judge_an_ambient_test_anew_and_decode_nothing(folder: Path, notes: Path) -> None:
    ambient_day(folder)
    Checked(folder, notes)
    assert Checked(folder, notes, preset="strict").executor.submitted == []
    with logged(folder) as log:
        tested = [one.ambient for one in log.captures() if one.ambient is not None]
    assert [one.verdict.level for one in tested] != [Level.UNJUDGED]


def test_under_continuous_light_no_ambient_test_is_run(folder: Path, notes: Path) -> None:
    sheet(folder, more='light = "continuous"')
    ambient_day(folder)
    checked = Checked(folder, notes)
    assert checked.decoded == Counter(["SB_0001.dng", "SB_0002.dng"])
    assert checked.events("worker_lost") == []


# -- whatever goes wrong


def test_a_worker_killed_in_the_middle_costs_nothing(four: Path, notes: Path) -> None:
    (four / "dies_1.dng").write_bytes(capture(8))
    checked = Checked(four, notes)
    assert checked.decoded == Counter({"dies_1.dng": 2} | dict.fromkeys(FOUR, 1))
    assert checked.one("dies_1.dng").result.file.state == "whole"
    assert checked.events() == []


def test_a_capture_that_kills_every_worker_is_told_as_lost_and_stops_nothing(four: Path, notes: Path) -> None:
    (four / "dies_9.dng").write_bytes(capture(8))
    checked = Checked(four, notes)
    assert checked.decoded == Counter({"dies_9.dng": 3} | dict.fromkeys(FOUR, 1))
    lost = checked.one("dies_9.dng").result.file
    assert lost.state == "unreadable"
    assert "killed" in str(lost.detail)
    assert [e.name for e in checked.events("worker_lost")] == ["dies_9.dng"]


def test_killed_half_way_it_goes_on_where_it_was_and_measures_nothing_twice(folder: Path, notes: Path) -> None:
    names = [f"SB_{number:04d}.dng" for number in range(40)]
    for number, name in enumerate(names):
        (folder / name).write_bytes(capture(number))
    process = check_beside(folder, notes)
    until = time.monotonic() + PATIENCE_S
    while len(decodes(notes)) < 20:
        assert process.poll() is None, "it ended before it was half way"
        assert time.monotonic() < until, "it never came half way"
        time.sleep(0.01)
    process.kill()
    process.wait()
    with logged(folder) as log:
        before = {one.result.file.name for one in log.captures()}
    assert 10 < len(before) < 40
    checked = Checked(folder, notes)
    assert checked.names == names
    assert checked.decoded == Counter(name for name in names if name not in before)


def test_an_executor_that_broke_is_one_line_and_what_was_measured_is_logged(four: Path, notes: Path) -> None:
    (four / "dies_9.dng").write_bytes(capture(8))
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        from tests.batch.counting import Counting

        with pytest.raises(UsageError, match="the workers are gone"):
            list(check_day(four, executor=Counting(pool, notes), jobs=1))
    with logged(four) as log:
        assert len(list(log.captures())) == 4


def test_a_file_that_changes_meanwhile_is_measured_as_it_is_in_the_end(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1)[:20_000])
    fresh: list[Answer] = []

    def grows(task: object) -> Answer:
        answer = work(task)  # type: ignore[arg-type]  # the task of a run
        if not fresh:
            (folder / "SB_0001.dng").write_bytes(capture(1))
        fresh.append(answer)
        return answer

    monkeypatch.setattr("qc.batch.runs.work", grows)
    with ThreadPoolExecutor(1) as pool:
        told = [t for t in check_day(folder, executor=pool, jobs=1) if isinstance(t, Judged)]
    assert [t.result.file.state for t in told] == ["whole"]
    with logged(folder) as log:
        assert len(list(log.captures())) == 1


def test_a_file_that_never_stays_the_same_is_said_and_not_logged(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    sizes = iter(range(1, 100))

    def grows(task: object) -> Answer:
        answer = work(task)  # type: ignore[arg-type]  # the task of a run
        (folder / "SB_0001.dng").write_bytes(capture(1) + bytes(next(sizes)))
        return answer

    monkeypatch.setattr("qc.batch.runs.work", grows)
    with ThreadPoolExecutor(1) as pool:
        told = list(check_day(folder, executor=pool, jobs=1))
    assert [t.kind for t in told if isinstance(t, Event)] == ["arriving"]
    assert len(told) == 1


def test_a_file_that_goes_away_meanwhile_is_said(four: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def loses(task: object) -> Answer:
        (four / "SB_0003.dng").unlink(missing_ok=True)
        return work(task)  # type: ignore[arg-type]  # the task of a run

    monkeypatch.setattr("qc.batch.runs.work", loses)
    with ThreadPoolExecutor(1) as pool:
        told = list(check_day(four, executor=pool, jobs=1))
    assert [t.name for t in told if isinstance(t, Event) and t.kind == "vanished"] == ["SB_0003.dng"]
    assert [t.result.file.name for t in told if isinstance(t, Judged)] == FOUR[:3]


def test_a_capture_that_no_worker_can_see_is_told_as_such(four: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    from dataclasses import replace

    monkeypatch.setattr(
        "qc.batch.runs.work", lambda task: work(replace(task, paths=(f"/elsewhere{task.paths[0]}",)))
    )
    with ThreadPoolExecutor(1) as pool:
        told = [t for t in check_day(four, executor=pool, jobs=1) if isinstance(t, Judged)]
    assert [t.result.file.detail for t in told] == ["cannot be seen from where it was to be measured"] * 4


def test_stopped_it_finishes_what_is_running_and_the_next_goes_on(folder: Path, notes: Path) -> None:
    for number in range(20):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    steps: list[Progress] = []

    def stop_after_five(progress: Progress) -> None:
        steps.append(progress)
        if progress.done >= 5:
            check.stop()

    check = DayCheck(folder, jobs=2, on_progress=stop_after_five)
    assert list(check.run()) == []
    assert 5 <= check.progress.done <= 5 + 3
    with logged(folder) as log:
        assert len(list(log.captures())) == check.progress.done
    again = Checked(folder, notes)
    assert len(again.decoded) == 20 - check.progress.done
    assert len(again.measured) == 20


# -- how far it is, and what it holds


def test_progress_counts_what_has_to_be_measured_and_ends_complete(four: Path) -> None:
    steps: list[Progress] = []
    list(check_day(four, jobs=2, on_progress=steps.append))
    assert {step.total for step in steps} == {4}
    assert sorted({step.done for step in steps}) == [step for step in range(5) if step in {s.done for s in steps}]
    assert steps[-1].done == 4
    assert steps[-1].left_s == 0


def test_rate_and_time_left_are_those_of_the_work_done() -> None:
    assert Progress(done=0, total=10, known=3, elapsed_s=2.0).rate is None
    assert Progress(done=0, total=10, known=3, elapsed_s=2.0).left_s is None
    assert Progress(done=4, total=10, known=3, elapsed_s=2.0).rate == 2.0
    assert Progress(done=4, total=10, known=3, elapsed_s=2.0).left_s == 3.0


def test_no_digest_is_held_once_it_is_logged(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for number in range(12):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    made: list[weakref.ref[object]] = []
    most = [0]

    def alive() -> int:
        gc.collect()
        return sum(one() is not None for one in list(made))

    def followed(task: object) -> Answer:
        answer = work(task)  # type: ignore[arg-type]  # the task of a run
        assert answer.result is not None
        assert answer.result.digest is not None
        made.append(weakref.ref(answer.result.digest.preview))
        return answer

    monkeypatch.setattr("qc.batch.runs.work", followed)
    with ThreadPoolExecutor(2) as pool:
        progress = lambda _: most.append(alive())  # noqa: E731 - one line
        told = list(check_day(folder, executor=pool, jobs=2, on_progress=progress))
    assert len(made) == len(told) == 12
    assert 0 < max(most) <= 5, "what is in hand (jobs and one), and the one that is being logged"
    assert alive() == 0
