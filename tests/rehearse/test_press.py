from __future__ import annotations

from pathlib import Path

import pytest

from qc.errors import UsageError
from qc.pipeline import measure_ambient, measure_capture
from qc.rehearse.press import main, press

SMALL = 600


def test_each_press_is_a_whole_frame_of_its_own_under_the_next_name(tmp_path: Path) -> None:
    frames = [press(tmp_path, columns=SMALL) for _ in range(3)]
    assert [frame.name for frame in frames] == ["SB_0001.dng", "SB_0002.dng", "SB_0003.dng"]
    results = [measure_capture(frame) for frame in frames]
    assert {result.file.state for result in results} == {"whole"}
    assert len({result.file.content for result in results}) == 3
    assert results[0].camera.settings.taken is not None
    assert sorted(tmp_path.iterdir()) == frames


def test_a_frame_that_is_there_is_never_replaced(tmp_path: Path) -> None:
    (tmp_path / "SB_0001.dng").write_bytes(b"somebody's")
    assert press(tmp_path, columns=SMALL).name == "SB_0002.dng"
    assert (tmp_path / "SB_0001.dng").read_bytes() == b"somebody's"


def test_without_the_flash_the_room_lies_far_below_and_a_lamp_that_is_on_shows(tmp_path: Path) -> None:
    lit, dark = press(tmp_path, columns=SMALL), press(tmp_path, trigger=False, columns=SMALL)
    lamp = press(tmp_path, trigger=False, lamp=True, columns=SMALL)
    quiet, loud = measure_ambient([dark, lit]), measure_ambient([lamp, lit])
    stops = [result.reading("ambient.stops_under") for result in (quiet, loud)]
    assert stops[0] is not None
    assert stops[0].value is not None
    assert stops[0].value > 9
    assert stops[1] is not None
    assert stops[1].value == pytest.approx(5.0, abs=0.1)


def test_a_spot_that_slipped_burns_the_label(tmp_path: Path) -> None:
    areas = []
    for spot in (False, True):
        reading = measure_capture(press(tmp_path, spot=spot, columns=SMALL)).reading("highlights.clipped_area")
        assert reading is not None
        assert reading.value is not None
        areas.append(reading.value)
    assert areas[1] > areas[0] + 0.2


def test_a_folder_that_is_not_there_and_a_frame_too_small_are_refused(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no such folder"):
        press(tmp_path / "none")
    with pytest.raises(UsageError, match="10 columns: too few"):
        press(tmp_path, columns=10)


def test_the_command_says_where_the_frame_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([str(tmp_path), "--trigger-off", "--columns", str(SMALL)]) == 0
    assert capsys.readouterr().out == f"{tmp_path / 'SB_0001.dng'}\n"
