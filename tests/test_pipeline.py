from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from qc import decode, judge, pipeline
from qc.contract import to_json
from qc.decode import BAYER, MosaicHint
from qc.errors import UsageError
from qc.frame import Camera
from qc.measure import specs
from qc.pipeline import measure_ambient, measure_capture, measure_stages, rejudge
from qc.reading import Level, Preset
from qc.rehearse.dng import write_dng
from qc.rehearse.sensor import Sensor
from qc.result import Result
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role, Zone

SIZE = (120, 180)
CAMERA = Camera(
    make="Own", model="Body", serial="1", iso=100, shutter_s=1 / 125, aperture=11.0, taken="2026-11-25T10:00:00"
)
SENSOR = Sensor()
LABEL = Zone.from_box("label", Role.PROTECT, (0.5, 0.5, 0.4, 0.4))
SHEET = Sheet(name="bottles", digest="blake2b:1", preset="series", zones=(LABEL,))


def scene(level: float = 0.3, burnt: bool = False) -> np.ndarray:
    rows, columns = SIZE
    light = np.full((3, *SIZE), level) * np.linspace(0.5, 1.5, columns)
    if burnt:
        light[:, rows * 6 // 10 : rows * 7 // 10, columns * 6 // 10 : columns * 7 // 10] = 3.0
    return light


def write(path: Path, light: np.ndarray, camera: Camera = CAMERA) -> Path:
    mosaic = SENSOR.expose(light, BAYER["RGGB"], np.random.default_rng(len(path.name)))
    return write_dng(path, mosaic, black=SENSOR.black, white=int(SENSOR.white), camera=camera)


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    return write(tmp_path / "SB_0001.dng", scene())


def value(result: Result, name: str, zone: str | None = None) -> float:
    reading = result.reading(name, zone)
    assert reading is not None
    assert reading.value is not None
    return reading.value


def test_a_capture_goes_the_whole_way(capture: Path) -> None:
    result = measure_capture(capture)
    assert (result.file.name, result.file.state, result.file.bytes) == (
        "SB_0001.dng",
        "whole",
        capture.stat().st_size,
    )
    assert (result.camera.kind, result.camera.width, result.camera.height) == ("mosaic", 180, 120)
    assert result.camera.settings.shutter_s == pytest.approx(1 / 125)
    assert value(result, "highlights.clipped_area") == 0.0
    assert result.verdict.level == Level.UNJUDGED
    assert result.digest is not None
    assert result.made_by.methods["highlights"] >= 1
    assert "ambient" not in result.made_by.methods


def test_a_sheet_judges_and_is_recorded(tmp_path: Path) -> None:
    result = measure_capture(write(tmp_path / "SB_0002.dng", scene(burnt=True)), SHEET)
    assert (result.sheet_name, result.sheet_digest) == ("bottles", "blake2b:1")
    assert result.verdict.level == Level.HALT
    assert (result.verdict.causes[0].reading, result.verdict.causes[0].zone) == (
        "highlights.unintended_area",
        "label",
    )
    assert value(result, "highlights.unintended_area", "label") > 1


def test_a_preset_of_the_call_goes_before_that_of_the_sheet(capture: Path) -> None:
    sheet = replace(SHEET, limits={"highlights.headroom": Preset(halt=9.0)})
    assert measure_capture(capture, sheet).verdict.causes[0].origin == "sheet"
    loose = measure_capture(capture, sheet, preset="loose")
    assert loose.verdict.level == Level.HALT


def test_a_preset_that_does_not_exist_is_a_wrong_call(capture: Path) -> None:
    with pytest.raises(UsageError, match="loose, series, strict"):
        measure_capture(capture, preset="nonsense")


def make_missing(path: Path) -> None:
    path.unlink()


def make_folder(path: Path) -> None:
    path.unlink()
    path.mkdir()


BAD = {
    "missing": (make_missing, "vanished"),
    "empty": (lambda path: path.write_bytes(b""), "empty"),
    "cut": (lambda path: path.write_bytes(path.read_bytes()[:30000]), "truncated"),
    "text": (lambda path: path.write_text("not a picture " * 50), "unreadable"),
    "folder": (make_folder, "unreadable"),
    "locked": (lambda path: path.chmod(0), "unreadable"),
}


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_capture_never_raises_and_says_its_state(capture: Path, kind: str) -> None:
    spoil, state = BAD[kind]
    spoil(capture)
    if kind == "locked" and os.access(capture, os.R_OK):
        pytest.skip("this user may read every file")
    result = measure_capture(capture, SHEET)
    assert result.file.state == state
    assert result.file.detail
    assert (result.readings, result.digest) == ((), None)
    assert result.verdict.level in (Level.HALT, Level.UNMEASURED)
    assert result.verdict.causes[0].reading == "file.state"


@pytest.mark.parametrize(("light", "code"), [(np.zeros((3, *SIZE)), "nearly_black"), (scene(20.0), "all_burnt")])
def test_a_frame_without_a_picture_is_told_without_any_sheet(tmp_path: Path, light: np.ndarray, code: str) -> None:
    result = measure_capture(write(tmp_path / "SB_0003.dng", light))
    assert [cause.reading for cause in result.verdict.causes] == [code]


def test_hot_photosites_do_not_pass_for_a_picture(tmp_path: Path) -> None:
    light = np.zeros((3, *SIZE))
    light[:, 20::50, 30::60] = 2.0
    result = measure_capture(write(tmp_path / "SB_0004.dng", light))
    assert "nearly_black" in {finding.code for finding in result.findings}


def test_a_name_that_is_not_utf8_is_measured_and_kept(capture: Path) -> None:
    odd = os.fsencode(capture.parent) + b"/caf\xe9.dng"
    os.rename(capture, odd)  # noqa: PTH104 - bytes
    for path in (odd, Path(os.fsdecode(odd))):
        result = measure_capture(path)
        assert (result.file.state, os.fsencode(result.file.name)) == ("whole", b"caf\xe9.dng")


def test_the_first_stage_holds_the_highlights_and_the_second_everything(capture: Path) -> None:
    first, whole = measure_stages(capture, preset="series")
    assert {reading.name.split(".")[0] for reading in first.readings} == {"highlights"}
    assert set(first.readings) < set(whole.readings)
    assert (first.file, first.camera) == (whole.file, whole.camera)
    assert first.made_by.methods.items() < whole.made_by.methods.items()
    assert first.digest is None
    assert whole.digest is not None
    again = measure_capture(capture, preset="series")
    assert replace(again, measured_at="") == replace(whole, measured_at="")


def test_a_bad_file_has_one_stage(tmp_path: Path) -> None:
    (lost,) = measure_stages(tmp_path / "gone.dng")
    assert lost.file.state == "vanished"


def test_an_unmarked_mosaic_is_opened_when_told_so(tmp_path: Path) -> None:
    import tifffile

    path = tmp_path / "m.tif"
    tifffile.imwrite(path, SENSOR.expose(scene(), BAYER["GRBG"], None), photometric="minisblack")
    hint = MosaicHint(cfa="GRBG", black=SENSOR.black, white=SENSOR.white)
    assert measure_capture(path, mosaic=hint).camera.kind == "mosaic"
    assert measure_capture(path).camera.kind == "rendered"


@pytest.mark.parametrize("call", [measure_capture, lambda p, s: measure_ambient([p, p], s)])
def test_a_path_given_for_a_sheet_is_refused_with_what_is_wanted(call: Any, capture: Path) -> None:
    with pytest.raises(UsageError, match=r"sheet must be a Sheet, not 'bottles.set.toml': qc.read_sheet\(path\)"):
        call(capture, "bottles.set.toml")
    with pytest.raises(UsageError, match="not dict"):
        call(capture, {})


def test_a_reading_is_none_only_where_it_exists_and_was_not_taken(capture: Path) -> None:
    result = measure_capture(capture)
    assert result.reading("highlights.headroom", "label") is None
    assert result.reading("ambient.stops_under") is None
    with pytest.raises(
        UsageError, match=r"no reading is called 'highlights.hedroom'; near it: highlights.headroom"
    ):
        result.reading("highlights.hedroom")
    with pytest.raises(UsageError, match="qc explain"):
        result.reading("nope")


def test_a_capture_is_left_as_it_was(capture: Path) -> None:
    before = capture.stat()
    measure_capture(capture)
    after = capture.stat()
    assert (before.st_mtime_ns, before.st_size, before.st_ino) == (after.st_mtime_ns, after.st_size, after.st_ino)


@pytest.fixture
def pair(tmp_path: Path) -> tuple[Path, Path]:
    lit, dark = scene(), scene() / 2**6
    return write(tmp_path / "lit.dng", lit + dark), write(tmp_path / "dark.dng", dark)


def test_the_ambient_test_finds_the_dark_frame_in_any_order(pair: tuple[Path, Path]) -> None:
    for paths in (pair, pair[::-1]):
        result = measure_ambient(paths)
        assert result.schema == "qc.ambient/1"
        assert [f.name for f, _ in result.lit] == ["lit.dng"]
        assert [f.name for f, _ in result.dark] == ["dark.dng"]
        assert result.file.name == "lit.dng"
        assert value(result, "ambient.stops_under") == pytest.approx(6.0, abs=0.1)


def test_the_dark_frame_may_be_named_alone(pair: tuple[Path, Path]) -> None:
    lit, dark = pair
    assert measure_ambient([lit], dark=[dark]).dark[0][0].name == "dark.dng"


def test_the_ambient_test_says_the_same_in_whatever_order_its_frames_are_given(tmp_path: Path) -> None:
    light, room = scene(), scene() / 2**6
    frames = [write(tmp_path / f"lit{n}.dng", part * light + room) for n, part in enumerate((1.0, 0.7, 0.97))]
    frames.append(write(tmp_path / "dark.dng", room))
    said = set()
    for order in ((0, 1, 2, 3), (3, 2, 1, 0), (1, 3, 0, 2)):
        result = replace(measure_ambient([frames[n] for n in order], preset="series"), measured_at="")
        said.add(json.dumps(to_json(result), sort_keys=True))
        assert result.file.name == "lit2.dng"
        assert value(result, "ambient.flash_spread") == pytest.approx(np.log2(1 / 0.7), abs=0.02)
        assert "ambient.flash_spread" in {cause.reading for cause in result.verdict.causes}
    assert len(said) == 1


def test_a_frame_named_as_dark_that_cannot_be_read_is_refused_and_not_replaced(pair: tuple[Path, Path]) -> None:
    gone = pair[0].with_name("gone.dng")
    with pytest.raises(UsageError, match=r"gone\.dng: .*; no frame that is named as dark can be read"):
        measure_ambient(pair, dark=[gone])


def test_advice_follows_the_limits_it_is_judged_by_again(pair: tuple[Path, Path]) -> None:
    result = measure_ambient(pair, preset="strict")
    (strict,) = [f for f in result.findings if f.code == "advice"]
    assert (strict.data["wanted_stops"], strict.data["wanted_by"]) == (7.0, "preset strict")
    assert [f for f in rejudge(result, preset="strict").findings if f.code == "advice"] == [strict]
    assert not [f for f in rejudge(result, preset="loose").findings if f.code == "advice"]


def test_one_frame_is_no_ambient_test(pair: tuple[Path, Path]) -> None:
    with pytest.raises(UsageError, match="two frames"):
        measure_ambient(pair[:1])
    with pytest.raises(UsageError, match="two frames"):
        measure_ambient([pair[0], pair[0]])


def test_frames_of_two_bodies_cannot_be_compared(pair: tuple[Path, Path], tmp_path: Path) -> None:
    other = write(tmp_path / "other.dng", scene(), replace(CAMERA, model="Other"))
    with pytest.raises(UsageError, match="different camera bodies"):
        measure_ambient([pair[1], other])


def test_continuous_light_has_no_ambient_test(pair: tuple[Path, Path]) -> None:
    with pytest.raises(UsageError, match="continuous"):
        measure_ambient(pair, Sheet(light="continuous"))


def test_a_frame_that_cannot_be_read_is_left_out_and_said(pair: tuple[Path, Path], tmp_path: Path) -> None:
    result = measure_ambient([*pair, tmp_path / "gone.dng"])
    assert value(result, "ambient.stops_under") == pytest.approx(6.0, abs=0.1)
    (left_out,) = [f for f in result.findings if f.code == "left_out"]
    assert left_out.text == "gone.dng was left out: no such file"


def test_an_ambient_test_without_two_readable_frames_is_a_result_that_says_so(
    pair: tuple[Path, Path], tmp_path: Path
) -> None:
    result = measure_ambient([pair[0], tmp_path / "gone.dng"])
    assert (result.schema, result.file.state, result.readings) == ("qc.ambient/1", "vanished", ())
    assert result.verdict.level == Level.HALT


def test_settings_that_differ_are_warned_of(pair: tuple[Path, Path], tmp_path: Path) -> None:
    other = write(tmp_path / "longer.dng", scene() / 2**6, replace(CAMERA, aperture=8.0))
    result = measure_ambient([pair[0], other])
    assert "settings_differ" in {cause.reading for cause in result.verdict.causes}


def test_what_decoding_says_of_a_frame_of_the_test_is_said_with_its_name(tmp_path: Path) -> None:
    import tifffile

    rng = np.random.default_rng(2)
    paths = []
    for name, level in (("lit", 0.4), ("dark", 0.0)):
        mosaic = Sensor(black=0, white=255, gain=0.5, read_noise=2).expose(
            np.full((3, *SIZE), level), BAYER["RGGB"], rng
        )
        tifffile.imwrite(tmp_path / f"{name}.tif", mosaic.astype(np.uint8), photometric="minisblack")
        paths.append(tmp_path / f"{name}.tif")
    result = measure_ambient(paths, mosaic=MosaicHint(cfa="RGGB", black=0, white=255))
    clipped = [f.text for f in result.findings if f.code == "black_clipped"]
    assert [text.partition(":")[0] for text in clipped] == ["dark.tif"]
    assert not [f for f in result.findings if f.code in pipeline.OF_ONE_FRAME]


def test_a_frame_too_small_to_measure_is_not_called_black(tmp_path: Path) -> None:
    import tifffile

    tifffile.imwrite(tmp_path / "dot.tif", np.full((1, 1), 200, dtype=np.uint8), photometric="minisblack")
    result = measure_capture(tmp_path / "dot.tif")
    assert "nearly_black" not in {finding.code for finding in result.findings}


def test_every_finding_that_has_a_level_is_declared_by_what_finds_it() -> None:
    assert set(judge.OF_CAPTURE) <= set(decode.FINDINGS) | set(pipeline.FINDINGS)
    for spec in specs():
        assert set(spec.alarms) <= set(spec.findings)


def test_judging_again_gives_what_measuring_again_would(capture: Path) -> None:
    plain = measure_capture(capture)
    again = rejudge(plain, preset="series")
    fresh = measure_capture(capture, preset="series")
    assert plain.verdict != fresh.verdict
    assert again.verdict == fresh.verdict
