"""A rehearsed day holds the faults that were asked for and no others, and every writer ends with whole files."""

from __future__ import annotations

import itertools
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from qc.errors import UsageError
from qc.pipeline import measure_capture
from qc.reading import Level
from qc.rehearse import deliver
from qc.rehearse.day import FLASH_STOPS, HEADS, SERIAL, Delivered, day_sheet, main, plan, shoot_day
from qc.rehearse.deliver import WRITERS
from qc.rehearse.faults import Fault
from qc.rehearse.studio import Studio
from qc.sheet.read import parse_sheet

SMALL = (200, 300)
EVERY = plan(1, 66, tuple(Fault))


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Delivered, ...]:
    return tuple(shoot_day(EVERY, tmp_path_factory.mktemp("day"), size=SMALL))


def of(day: tuple[Delivered, ...], fault: Fault) -> list[int]:
    found = enumerate(d.planned.planted for d in day)
    return [number for number, planted in found if planted is not None and planted.fault is fault]


def test_the_same_seed_gives_the_same_day_and_another_another() -> None:
    assert plan(1, 66, tuple(Fault)) == EVERY
    assert plan(2, 66, tuple(Fault)) != EVERY


def test_frames_come_every_6_to_20_s_under_consecutive_names() -> None:
    taken = [datetime.fromisoformat(frame.taken) for frame in plan(5, 100)]
    gaps = [(later - earlier).total_seconds() for earlier, later in itertools.pairwise(taken)]
    assert 6 <= min(gaps) < 8 < 18 < max(gaps) <= 20
    assert all(moment.utcoffset() is not None for moment in taken)
    assert len({moment.microsecond for moment in taken}) > 50
    assert [frame.name for frame in plan(5, 100)] == [f"SB_{number:04d}.dng" for number in range(1, 101)]


def test_the_counter_goes_on_at_0001_after_9999_and_leaves_out_what_is_asked_for() -> None:
    names = [frame.name for frame in plan(1, 6, first=9996, left_out=(9998, 2))]
    assert names == ["SB_9996.dng", "SB_9997.dng", "SB_9999.dng", "SB_0001.dng", "SB_0003.dng", "SB_0004.dng"]
    assert [frame.taken for frame in plan(1, 6, first=9996)] == [frame.taken for frame in plan(1, 6)]


def test_faults_stand_as_close_as_asked_for() -> None:
    day = plan(1, 6 + 2 * (1 + 1), (Fault.MISFIRE, Fault.CUT), between=1)
    assert [number for number, frame in enumerate(day) if frame.planted] == [6, 8]
    with pytest.raises(UsageError, match="at least 10"):
        plan(1, 9, (Fault.MISFIRE, Fault.CUT), between=1)


@pytest.mark.parametrize("seed", range(8))
def test_every_fault_stands_among_ordinary_frames(seed: int) -> None:
    day = plan(seed, 70, tuple(Fault))
    planted = [frame.planted.fault if frame.planted else None for frame in day]
    assert {fault for fault in planted if fault} == set(Fault)
    assert planted[:6] == [None] * 6
    assert planted[-3:] == [None] * 3
    changes = [(a, b) for a, b in itertools.pairwise(planted) if a is not b]
    assert all(a is None or b is None for a, b in changes)


def test_a_day_without_faults_has_none() -> None:
    assert all(frame.planted is None and frame.level is Level.UNJUDGED for frame in plan(1, 200))


def test_a_day_too_short_for_its_faults_is_refused() -> None:
    with pytest.raises(UsageError, match="at least"):
        plan(1, 20, tuple(Fault))


def test_the_flash_of_ordinary_frames_stays_within_its_variation() -> None:
    stops = [np.log2(frame.heads[name] / HEADS[name]) for frame in plan(1, 200) for name in HEADS]
    assert 0.9 * FLASH_STOPS < max(np.abs(stops)) <= FLASH_STOPS


def test_bottles_are_swapped_turned_and_moved() -> None:
    sets = [frame.bottles for frame in plan(1, 200)]
    pairs = [(a[0], b[0]) for a, b in itertools.pairwise(sets) if a != b]
    assert any(a.glaze != b.glaze for a, b in pairs)
    assert any(a.glaze == b.glaze and a.turn != b.turn for a, b in pairs)
    assert any(a.glaze == b.glaze and a.x != b.x for a, b in pairs)
    assert {len(bottles) for bottles in sets} == {1, 2, 3}


def test_gloss_and_sweep_burn_in_ordinary_frames_and_the_label_does_not(day: tuple[Delivered, ...]) -> None:
    label, studio = Studio(size=SMALL).zone("label"), Studio(size=SMALL)
    ordinary = [d for d in day if d.planned.level_with_sheet is Level.CLEAR and d.planned.heads]
    assert len(ordinary) > 25
    for delivered in ordinary:
        assert delivered.truth.clipped_area(label) == 0
        assert delivered.truth.clipped_area() > 5
        assert delivered.truth.clipped_area(studio.zone("shoulder and rim")) > 0


def test_only_frames_without_flash_lack_flash(day: tuple[Delivered, ...]) -> None:
    dark = [number for number, d in enumerate(day) if not d.truth.flash.any()]
    missed = [*of(day, Fault.MISFIRE), *of(day, Fault.TWO_MISFIRES), of(day, Fault.AMBIENT)[0]]
    assert dark == sorted(missed)


def test_the_lamp_of_the_ambient_pair_lies_about_five_stops_under_the_flash(day: tuple[Delivered, ...]) -> None:
    lit = day[of(day, Fault.AMBIENT)[1]].truth
    assert 4 < lit.stops_under() < 7


def test_the_aperture_that_stays_stays_and_the_other_goes_back(day: tuple[Delivered, ...]) -> None:
    opened, closed = of(day, Fault.SETTING)
    (stays,) = of(day, Fault.SETTING_STAYS)
    apertures = [d.planned.aperture for d in day]
    assert set(apertures[opened:closed]) == {8.0} == set(apertures[stays:])
    assert set(apertures[:opened] + apertures[closed:stays]) == {11.0}


def test_a_copy_is_the_frame_before_bit_for_bit(day: tuple[Delivered, ...]) -> None:
    (copy,) = of(day, Fault.COPY)
    assert day[copy].path.name != day[copy - 1].path.name
    assert day[copy].path.read_bytes() == day[copy - 1].path.read_bytes()
    contents = [d.path.read_bytes() for d in day]
    assert len(set(contents)) == len(contents) - 1


def test_the_folder_holds_the_frames_and_one_jpeg(day: tuple[Delivered, ...]) -> None:
    (pair,) = of(day, Fault.PAIR)
    names = {path.name for path in day[0].path.parent.iterdir()}
    assert names == {d.path.name for d in day} | {f"{day[pair].path.stem}.jpg"}
    finished = measure_capture(day[pair].path.with_suffix(".jpg"))
    assert finished.file.state == "whole"
    assert datetime.fromisoformat(str(finished.camera.settings.taken)) == datetime.fromisoformat(
        day[pair].planned.taken
    ).replace(microsecond=0)


def test_only_the_cut_file_is_not_whole_and_all_come_from_one_camera(day: tuple[Delivered, ...]) -> None:
    results = [measure_capture(d.path) for d in day]
    assert [n for n, result in enumerate(results) if result.file.state != "whole"] == of(day, Fault.CUT)
    assert {result.camera.settings.serial for result in results} == {SERIAL}
    assert [result.camera.settings.taken for result in results if result.file.state == "whole"] == [
        d.planned.taken for d in day if d.planned.planted is None or d.planned.planted.fault is not Fault.CUT
    ]


@pytest.mark.parametrize("fault", [Fault.BURNT, Fault.SOFT])
def test_a_fault_of_taste_is_seen_under_the_sheet_alone(fault: Fault, tmp_path: Path) -> None:
    size = (800, 1200)
    sheet = parse_sheet(day_sheet(size))
    day = plan(3, 30, [fault])
    number = next(number for number, frame in enumerate(day) if frame.planted)
    for delivered in shoot_day(day[number - 1 : number + 1], tmp_path, size=size):
        assert measure_capture(delivered.path).verdict.level is Level.UNJUDGED
        verdict = measure_capture(delivered.path, sheet).verdict
        assert verdict.level is delivered.planned.level_with_sheet, verdict.causes


@pytest.mark.parametrize("how", WRITERS)
def test_every_writer_ends_with_the_whole_file_under_its_name(
    how: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(deliver, "PIECE_S", 0.0)
    monkeypatch.setattr(deliver, "STALL_S", 0.0)
    data = bytes(range(256)) * 41 + b"end"
    WRITERS[how](data, tmp_path / "SB_0001.dng")
    assert [path.name for path in tmp_path.iterdir()] == ["SB_0001.dng"]
    assert (tmp_path / "SB_0001.dng").read_bytes() == data


def test_days_wait_as_long_as_the_frames_were_apart(tmp_path: Path) -> None:
    waited: list[float] = []
    day = plan(1, 4)
    list(shoot_day(day, tmp_path, size=(64, 96), wait=waited.append))
    taken = [datetime.fromisoformat(frame.taken) for frame in day]
    assert waited == [0.0, *((b - a).total_seconds() for a, b in itertools.pairwise(taken))]


def test_by_hand_it_says_what_it_plants(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = tmp_path / "new" / "captures"
    arguments = [str(folder), "--frames", "12", "--faults", "misfire", "--pace", "0", "--write", "at once"]
    assert main([*arguments, "--columns", "120"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 12 == len(list(folder.iterdir()))
    assert [line for line in lines if "the flash missed" in line] != []


def test_by_hand_it_replaces_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "SB_0003.dng").write_bytes(b"somebody's")
    with pytest.raises(SystemExit):
        main([str(tmp_path), "--frames", "12", "--faults", ""])
    assert "SB_0003.dng is there already" in capsys.readouterr().err
    assert [path.read_bytes() for path in tmp_path.iterdir()] == [b"somebody's"]
