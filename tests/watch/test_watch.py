"""The whole watch over real file systems: each capture told exactly once, whole, none early, none lost."""

from __future__ import annotations

import os
import shutil
import threading
from collections import Counter
from pathlib import Path

import pytest

import qc
from qc.errors import UsageError
from qc.event import Event
from qc.intake.actions import give
from qc.intake.updates import Early, Judged, Recalled
from qc.intake.watch import Watch
from qc.log.log import Log
from qc.reading import Level
from qc.series.entry import Purpose
from tests.intake import writers
from tests.loops import run
from tests.watch.running import capture, finished, snapshot, watching

HOW = writers.WRITERS


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    made = tmp_path / "bottles"
    made.mkdir()
    return made


def test_every_way_of_writing_gives_one_whole_measurement(folder: Path) -> None:
    with watching(folder) as running:
        threads = [
            threading.Thread(target=way, args=(folder / f"{name}.dng", capture(number)))
            for number, (name, way) in enumerate(HOW.items())
        ]
        for thread in threads:
            thread.start()
        names = [f"{name}.dng" for name in HOW]
        running.wait_for(*names)
        for thread in threads:
            thread.join()
        running.settle_down()
        assert running.names() == Counter(names)
        assert set(running.states().values()) == {"whole"}
    sizes = {u.result.file.name: u.result.file.bytes for u in running.measured()}
    assert sizes == {f"{name}.dng": len(capture(number)) for number, name in enumerate(HOW)}


def test_a_capture_renamed_over_another_is_a_new_capture(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "capt0000.dng").write_bytes(capture(1))
        running.wait_for("capt0000.dng")
        fresh = folder / "next.partial"
        fresh.write_bytes(capture(2))
        fresh.replace(folder / "capt0000.dng")
        running.until(lambda: running.names()["capt0000.dng"] == 2, "the second capture of that name")
        first, second = (u.result for u in running.measured())
        assert second.replaces == first.file.content
        assert len(running.events("new_content")) == 1


def test_captures_moved_in_inside_a_folder_are_found(folder: Path, tmp_path: Path) -> None:
    elsewhere = tmp_path / "card"
    elsewhere.mkdir()
    for number in range(3):
        (elsewhere / f"SB_{number:04d}.dng").write_bytes(capture(number))
    with watching(folder) as running:
        elsewhere.rename(folder / "card")
        running.wait_for("SB_0000.dng", "SB_0001.dng", "SB_0002.dng")
        running.settle_down()
        assert set(running.names().values()) == {1}


def test_twenty_at_once_right_after_their_folder_was_made_are_found(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "new").mkdir()
        for number in range(20):
            (folder / "new" / f"SB_{number:04d}.dng").write_bytes(capture(number))
        running.wait_for(*(f"SB_{number:04d}.dng" for number in range(20)))
        running.settle_down()
        assert running.names() == Counter(f"SB_{number:04d}.dng" for number in range(20))


def test_odd_names_are_captures_and_other_files_are_none(folder: Path) -> None:
    odd = [
        "SB_0001.DNG",
        "Fläschchen 0002.dng",
        "SB [bold]#%'\".dng",
        os.fsdecode(b"caf\xe9.dng"),
        "x" * 200 + ".dng",
    ]
    others = ["._SB_0001.dng", ".SB.dng", "SB_0001.xmp", "SB_0001.DNG.xmp", "Thumbs.db", "SB_0003.dng.partial"]
    with watching(folder) as running:
        for number, name in enumerate(odd):
            (folder / name).write_bytes(capture(number))
        for name in others:
            (folder / name).write_bytes(capture(90))
        running.wait_for(*odd)
        running.settle_down()
        assert running.names() == Counter(odd)


def test_a_burst_of_500_is_digested_without_loss(folder: Path) -> None:
    with watching(folder) as running:
        for number in range(500):
            (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
        running.wait_for(*(f"SB_{number:04d}.dng" for number in range(500)))
        running.settle_down()
        assert running.names() == Counter(f"SB_{number:04d}.dng" for number in range(500))


def test_what_lay_there_is_measured_after_what_comes(folder: Path) -> None:
    for number in range(60):
        (folder / f"old_{number:04d}.dng").write_bytes(capture(number))
    with watching(folder, workers=1) as running:
        (folder / "new.dng").write_bytes(capture(99))
        running.wait_for("new.dng", *(f"old_{number:04d}.dng" for number in range(60)))
        order = [u.result.file.name for u in running.measured()]
        assert order.index("new.dng") < 50
        assert len(order) == 61


def test_a_lossless_jpeg_with_a_zero_tail_is_never_called_whole(folder: Path) -> None:
    good = capture(1, size=(256, 256), ljpeg=True)
    cut = capture(2, size=(256, 256), ljpeg=True)
    cut = cut[: len(cut) // 2] + bytes(len(cut) - len(cut) // 2)
    with watching(folder, workers=1) as running:
        (folder / "good.dng").write_bytes(good)
        running.wait_for("good.dng")
        (folder / "cut.dng").write_bytes(cut)
        running.wait_for("cut.dng")
        running.settle_down()
        assert running.names() == Counter(["good.dng", "cut.dng"])
        assert running.states() == {"good.dng": "whole", "cut.dng": "damaged"}
        assert len(running.events("arriving")) == 1
        assert len(running.events("left_incomplete")) == 1


def test_a_cut_file_is_arriving_first_and_truncated_once(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "cut.dng").write_bytes(capture(1)[:9000])
        running.wait_for("cut.dng")
        running.settle_down()
        assert running.states() == {"cut.dng": "truncated"}
        assert running.measured()[0].standing.level is Level.HALT
        kinds = [u.kind for u in running.updates if isinstance(u, Event)]
        assert kinds.index("arriving") < kinds.index("left_incomplete")


def test_the_same_content_under_another_name_is_a_duplicate(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
        (folder / "SB_0002.dng").write_bytes(capture(1))
        running.until(lambda: bool(running.events("duplicate")), "a duplicate")
        assert running.events("duplicate")[0].text == "SB_0002.dng is SB_0001.dng once more: not measured again"
        assert running.names() == Counter(["SB_0001.dng"])


@pytest.mark.parametrize("first", ["raw", "finished"])
def test_raw_and_jpeg_are_one_capture_whichever_comes_first(folder: Path, first: str) -> None:
    jpeg = finished(1)
    with watching(folder) as running:
        if first == "finished":
            (folder / "SB_0001.JPG").write_bytes(jpeg)
            running.wait_for("SB_0001.JPG")
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
        if first == "raw":
            (folder / "SB_0001.JPG").write_bytes(jpeg)
        running.until(lambda: bool(running.events("joined")), "the pair joined")
        running.settle_down()
        told = running.events("joined")
    assert [event.text for event in told] == ["SB_0001.JPG belongs to SB_0001.dng"]
    raw = running.measured()[-1].result
    assert running.names() == Counter(["SB_0001.dng"] if first == "raw" else ["SB_0001.JPG", "SB_0001.dng"])
    if first == "finished":
        assert raw.file.companions == ("SB_0001.JPG",)
        assert raw.replaces == running.measured()[0].result.file.content
    with Log.open(folder.with_name("bottles.qc")) as log:
        assert [entry.name for entry in log.entries()] == ["SB_0001.dng"]


def test_a_second_watch_measures_nothing_again_and_goes_on(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
    with watching(folder) as running:
        (folder / "SB_0002.dng").write_bytes(capture(2))
        running.wait_for("SB_0002.dng")
        running.settle_down()
        assert running.names() == Counter(["SB_0002.dng"])
    with Log.open(folder.with_name("bottles.qc")) as log:
        assert sorted(entry.name for entry in log.entries()) == ["SB_0001.dng", "SB_0002.dng"]


def test_first_looks_come_before_results_and_hold_the_highlights(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
    told = [u for u in running.updates if isinstance(u, Early | Judged)]
    assert [type(u) for u in told] == [Early, Judged]
    assert {r.name.split(".")[0] for r in told[0].result.readings} == {"highlights"}


def test_nothing_is_written_into_the_watched_folder(folder: Path) -> None:
    for number in range(3):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    (folder / "notes.txt").write_text("of the photographer")
    before = snapshot(folder)
    with watching(folder, preset="series") as running:
        running.wait_for("SB_0000.dng", "SB_0001.dng", "SB_0002.dng")
        give(running.watch.out, Purpose.LEAVE_OUT, name="SB_0001.dng")
        running.until(lambda: bool(running.events("role")), "the role")
        running.settle_down()
    assert snapshot(folder) == before


def test_output_among_the_captures_is_refused(folder: Path) -> None:
    with pytest.raises(UsageError, match="among the captures"):
        Watch(folder, out=folder / "qc")
    with pytest.raises(UsageError, match="bogus"):
        qc.watch(folder, preset="bogus")
    with pytest.raises(UsageError, match="no such folder"):
        Watch(folder / "gone")


def test_a_folder_that_is_deleted_and_made_again_is_watched_on(folder: Path) -> None:
    with watching(folder) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
        shutil.rmtree(folder)
        running.until(lambda: bool(running.events("folder_lost")), "the folder lost")
        folder.mkdir()
        (folder / "SB_0002.dng").write_bytes(capture(2))
        running.wait_for("SB_0002.dng")
        assert len(running.events("folder_lost")) == len(running.events("folder_back")) == 1


def test_a_log_that_cannot_be_written_does_not_stop_the_measuring(folder: Path) -> None:
    out = folder.with_name("bottles.qc")
    out.write_text("a file where the log should be")
    with watching(folder) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        running.wait_for("SB_0001.dng")
        assert len(running.events("log_lost")) == 1
        out.unlink()
        running.until(lambda: bool(running.events("log_back")), "the log back")
    with Log.open(out) as log:
        assert [entry.name for entry in log.entries()] == ["SB_0001.dng"]


def test_a_frame_without_flash_is_a_warn_with_its_ambient_figures_until_it_is_declared(folder: Path) -> None:
    with watching(folder) as running:
        for number in range(3):
            (folder / f"SB_{number:04d}.dng").write_bytes(capture(number, level=0.3))
        running.wait_for("SB_0000.dng", "SB_0001.dng", "SB_0002.dng")
        (folder / "SB_0003.dng").write_bytes(capture(3, level=0.3 / 64))
        running.wait_for("SB_0003.dng")
        dark = running.measured()[-1]
        assert (dark.standing.level, dark.standing.causes[0].reading) == (Level.WARN, "no_flash")
        running.until(lambda: bool(running.restated()), "the ambient figures")
        figures = running.restated()[-1].standing.causes[0].text
        assert "no flash in this frame" in figures
        assert "6.0 stops under" in figures  # light 64 times less: log2(64 - 1) = 5.98
        give(running.watch.out, Purpose.DARK, name="SB_0003.dng")
        running.until(lambda: running.restated()[-1].standing.level is not Level.WARN, "the warn answered")
        assert running.restated()[-1].name == "SB_0003.dng"


def test_two_frames_without_flash_in_a_running_series_are_a_halt(folder: Path) -> None:
    with watching(folder) as running:
        for number in range(6):
            level = 0.3 if number < 4 else 0.3 / 64
            (folder / f"SB_{number:04d}.dng").write_bytes(capture(number, level=level))
            running.wait_for(f"SB_{number:04d}.dng")
        assert [u.standing.level for u in running.measured()][-2:] == [Level.WARN, Level.HALT]


def test_a_watch_for_the_test_takes_frames_without_flash_as_its_dark_frames(folder: Path) -> None:
    with watching(folder, test=True) as running:
        (folder / "SB_0001.dng").write_bytes(capture(1))
        (folder / "SB_0002.dng").write_bytes(capture(2, level=0.3 / 64))
        running.wait_for("SB_0001.dng", "SB_0002.dng")
        running.settle_down()
        levels = {u.result.file.name: u.standing.level for u in running.measured()}
        assert levels["SB_0002.dng"] not in (Level.WARN, Level.HALT)


def test_the_library_yields_each_result_once(folder: Path) -> None:
    for number in range(3):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    names = []
    for result in qc.watch(folder, preset="series"):
        names.append(result.file.name)
        if len(names) == 3:
            break
    assert sorted(names) == ["SB_0000.dng", "SB_0001.dng", "SB_0002.dng"]


def test_the_async_form_yields_the_same_and_ends_with_its_task(folder: Path) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))

    async def first() -> str:
        async for result in qc.awatch(folder):
            return result.file.name
        return "nothing"

    told = run(first())
    assert told == "SB_0001.dng"
    with Log.open(folder.with_name("bottles.qc")) as log:
        assert [entry.name for entry in log.entries()] == ["SB_0001.dng"]


def test_a_second_watch_of_a_folder_says_that_there_is_one(folder: Path) -> None:
    with watching(folder), watching(folder) as second:
        assert "watches it too" in second.events("started")[0].text


def test_what_was_logged_before_is_recalled_by_the_next_watch(folder: Path) -> None:
    for number in range(3):
        (folder / f"SB_{number:04d}.dng").write_bytes(capture(number))
    with watching(folder) as running:
        running.wait_for("SB_0000.dng", "SB_0001.dng", "SB_0002.dng")
    with watching(folder) as running:
        (recalled,) = [u for u in running.updates if isinstance(u, Recalled)]
        names = [recalled.names[standing.content] for standing in recalled.standings]
        assert names == ["SB_0000.dng", "SB_0001.dng", "SB_0002.dng"]
    # a first watch has nothing to recall


def test_a_sheet_with_mistakes_stands_in_every_heartbeat_until_it_is_mended(folder: Path) -> None:
    out = folder.with_name("bottles.qc")
    out.mkdir()
    sheet = out / "bottles.set.toml"
    sheet.write_text('[set]\npreset = "series"\n')
    with watching(folder) as running:
        sheet.write_text('[set]\npreset = "serious"\n')
        running.until(lambda: bool(running.beat().sheet_trouble), "the trouble")
        assert "bottles.set.toml" in str(running.beat().sheet_trouble)
        sheet.write_text('[set]\npreset = "strict"\n')
        running.until(lambda: running.beat().sheet_trouble is None, "the trouble mended")


def test_what_was_told_is_in_the_log_whatever_happens_next(folder: Path) -> None:
    (folder / "SB_0001.dng").write_bytes(capture(1))
    watch = Watch(folder)
    run = watch.run()
    started = next(run)
    with Log.open(watch.out) as log:
        assert [event for _, event in log.events()] == [started]
    told = next(update for update in run if isinstance(update, Judged))
    with Log.open(watch.out) as log:
        assert [entry.name for entry in log.entries()] == [told.result.file.name]
    watch.stop()
    assert not [update for update in run if isinstance(update, Judged)]
