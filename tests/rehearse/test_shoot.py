"""The shoot holds what it says it holds, and its sheet is one that the project reads."""

from __future__ import annotations

import numpy as np
import pytest

from qc.rehearse.shoot import DARK, LAMP_STOPS_UNDER, LIT, SHEET_NAME, Taken, sheet_text, shoot, takes
from qc.rehearse.studio import Studio
from qc.sheet.read import parse_sheet, read_sheet


@pytest.fixture(scope="module")
def studio() -> Studio:
    return Studio(size=(320, 480))


@pytest.fixture(scope="module")
def shot(studio: Studio, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Taken]:
    folder = tmp_path_factory.mktemp("shoot") / "captures"
    return {taken.take.about: taken for taken in shoot(studio, folder)}


def test_every_take_is_written_in_order_beside_its_sheet(studio: Studio, shot: dict[str, Taken]) -> None:
    paths = [taken.path for taken in shot.values()]
    assert [path.name for path in paths] == [take.name for take in takes(studio)]
    folder = paths[0].parent
    assert {path.name for path in folder.iterdir()} == {SHEET_NAME, *(path.name for path in paths)}


def test_the_sheet_reads_back_to_the_zones_of_the_set(studio: Studio, shot: dict[str, Taken]) -> None:
    sheet = read_sheet(shot["approved"].path.parent / SHEET_NAME)
    for read, zone in zip(sheet.zones, studio.zones, strict=True):
        assert (read.name, read.role, read.budget) == (zone.name, zone.role, zone.budget)
        np.testing.assert_allclose(read.points, zone.points, atol=1e-6)
    assert sheet.magnification == pytest.approx(studio.lens.magnification)
    assert sheet.preset == "series"


def test_the_sheet_says_that_the_frames_are_simulated(studio: Studio) -> None:
    assert "simulated" in sheet_text(studio).splitlines()[0]
    assert parse_sheet(sheet_text(studio)).name == "Stoneware bottles, rehearsed"


def test_each_fault_is_in_its_frame_and_in_no_other(studio: Studio, shot: dict[str, Taken]) -> None:
    label, seal = studio.zone("label"), studio.zone("seal")
    burnt = {about for about, taken in shot.items() if taken.truth.clipped_area(label) > 1}
    assert burnt == {"spot slipped onto the label"}
    floor = studio.lens.floor(aperture=11, columns=480)
    soft = {about for about, taken in shot.items() if taken.truth.blur(seal) > 1.03 * floor}
    assert soft == {"focus moved back"}
    without = {about for about, taken in shot.items() if not taken.truth.flash.any()}
    assert without == {"flash missed", DARK}
    lamp = {about for about, taken in shot.items() if taken.truth.room.mean() > 0.002}
    assert lamp == {DARK, LIT}


def test_the_ambient_pair_differs_by_the_flash_alone(shot: dict[str, Taken]) -> None:
    dark, lit = shot[DARK], shot[LIT]
    np.testing.assert_allclose(dark.truth.room, lit.truth.room, rtol=1e-5, atol=1e-7)
    assert lit.truth.stops_under() == pytest.approx(LAMP_STOPS_UNDER, abs=0.01)
    assert dark.take.focus == lit.take.focus


def test_no_two_frames_share_their_noise(shot: dict[str, Taken]) -> None:
    from qc.decode import open_frame

    dark, missed = (open_frame(shot[about].path).mosaic for about in (DARK, "flash missed"))
    assert dark is not None
    assert missed is not None
    assert (dark == missed).mean() < 0.3
