"""The ambient test on frames that were written and decoded again, and on real ones."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
import pytest

from qc.decode import frame_from_mosaic, open_frame
from qc.frame import Cfa, Frame
from qc.measure.ambient import SPEC, arrange
from qc.reading import Measured, Reading
from qc.rehearse.sensor import Sensor
from qc.rehearse.studio import Shot, Studio
from qc.sheet.brief import Brief
from tests.measure.ambient_scene import CAMERA, COLOUR, Set

SIZE = (400, 600)
ROOM = {"lamp": 1.0, "screen": 0.3}
MARGINS = (12, 24, 12, 0)

XTRANS = Cfa(
    pattern=(
        (1, 0, 1, 1, 2, 1),
        (2, 1, 2, 0, 1, 0),
        (1, 0, 1, 1, 2, 1),
        (1, 2, 1, 1, 0, 1),
        (0, 1, 0, 2, 1, 2),
        (1, 2, 1, 1, 0, 1),
    )
)


@cache
def pair(stops: float, sensor: Sensor) -> tuple[Studio, Shot, Shot]:
    studio = Studio(seed=5, size=SIZE, sensor=sensor)
    room = studio.room_at(stops, ROOM)
    return studio, studio.frame(room=room), studio.frame(heads={}, room=room)


def decoded(folder: Path, *shots: Shot) -> list[Frame]:
    return [open_frame(shot.write(folder / f"SB_{number}.dng")) for number, shot in enumerate(shots)]


def run(studio: Studio, frames: list[Frame]) -> Measured:
    order = arrange(frames)
    companions = [frames[i] for i in order.companions]
    return SPEC(frames[order.lit[0]], zones=studio.zones, brief=Brief(), companions=companions)


def stops_under(measured: Measured, zone: str | None = None) -> Reading:
    return next(r for r in measured.readings if r.name == "ambient.stops_under" and r.zone == zone)


@pytest.mark.parametrize("stops", [3.0, 5.0, 7.0])
def test_written_and_decoded_frames_read_the_truth_of_the_studio(tmp_path: Path, stops: float) -> None:
    studio, lit, dark = pair(stops, Sensor())
    measured = run(studio, decoded(tmp_path, dark, lit))
    found = stops_under(measured)
    assert found.value == pytest.approx(lit.truth.stops_under(), abs=0.1)
    checked = 0
    for zone in studio.zones:
        for reading in measured.readings:
            if (reading.name, reading.zone) == ("ambient.stops_under", zone.name) and reading.bound is None:
                assert reading.value == pytest.approx(lit.truth.stops_under(zone), abs=0.1)
                checked += 1
    assert checked >= 2
    assert not {f.code for f in measured.findings} & {"flash_in_dark", "no_flash_in_lit"}
    source = next(f for f in measured.findings if f.code == "ambient_source" and f.zone is None)
    assert source.data["colour"] == "warm"


@pytest.mark.parametrize("stops", [4.0, 7.0])
def test_a_tag_3_dn_off_changes_nothing_where_a_masked_border_shows_it(tmp_path: Path, stops: float) -> None:
    studio, *right = pair(stops, Sensor())
    _, *wrong = pair(stops, Sensor(tagged_black=509.0, margins=MARGINS))
    (tmp_path / "right").mkdir()
    (tmp_path / "wrong").mkdir()
    good, bad = decoded(tmp_path / "right", *right), decoded(tmp_path / "wrong", *wrong)
    assert {frame.black.source for frame in bad} == {"masked pixels"}
    one, other = stops_under(run(studio, good)), stops_under(run(studio, bad))
    assert one.value is not None
    assert other.value is not None
    assert other.plus_minus is not None
    assert abs(other.value - right[0].truth.stops_under()) <= max(other.plus_minus, 0.02)
    assert abs(other.value - one.value) <= max(one.plus_minus or 0.0, other.plus_minus)


def test_without_a_border_the_plus_minus_says_that_black_is_less_sure(tmp_path: Path) -> None:
    studio, *tagged = pair(7.0, Sensor())
    _, *masked = pair(7.0, Sensor(margins=MARGINS))
    (tmp_path / "a").mkdir()
    (tmp_path / "b").mkdir()
    one = stops_under(run(studio, decoded(tmp_path / "a", *tagged)))
    other = stops_under(run(studio, decoded(tmp_path / "b", *masked)))
    assert (one.plus_minus or 0.0) > 1.5 * (other.plus_minus or 9.0)


def test_saturation_below_the_tag_does_not_change_the_answer(tmp_path: Path) -> None:
    top = 512 + 0.93 * (16383 - 512)
    studio, lit, dark = pair(5.0, Sensor(saturation=top))
    found = stops_under(run(studio, decoded(tmp_path, lit, dark)))
    assert found.value == pytest.approx(lit.truth.stops_under(), abs=0.1)


@pytest.mark.parametrize("stops", [4.0, 6.0])
def test_an_xtrans_mosaic_reads_the_same(stops: float) -> None:
    flash, ambient = Set(stops=stops).layers()
    frames = []
    for seed, light in enumerate((flash + ambient, ambient)):
        mosaic = Sensor().expose(light, XTRANS, np.random.default_rng(seed))
        frames.append(
            frame_from_mosaic(mosaic, cfa=XTRANS, black=512.0, white=16383.0, camera=CAMERA, colour=COLOUR)
        )
    found = stops_under(SPEC(frames[0], zones=(), brief=Brief(), companions=frames[1:]))
    assert found.value == pytest.approx(stops, abs=max(0.03, found.plus_minus or 0.0))


@pytest.mark.captures
def test_a_real_pair_of_finished_pictures_is_refused_and_its_settings_named(captures: Path) -> None:
    # their tone curve is unknown: what it does to the shadows is more than what is to be told apart
    frames = [open_frame(captures / f"jpg_{name}_g2.jpg") for name in ("ambient", "flash")]
    order = arrange(frames)
    assert [f.code for f in order.findings] == ["settings_differ"]
    assert "1/60 s and 1/50 s" in order.findings[0].text
    measured = SPEC(
        frames[order.lit[0]], zones=(), brief=Brief(), companions=[frames[i] for i in order.companions]
    )
    assert {r.reason.code for r in measured.readings if r.reason} == {"wrong_kind"}
