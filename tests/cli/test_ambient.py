from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from tests.cli.conftest import CAMERA, Run, scene, write


def test_the_pair_is_told_apart_measured_and_advised(run: Run, frames: Path) -> None:
    done = run("ambient", frames / "dark.dng", frames / "lit.dng")
    assert done.exit_code == 0
    assert done.stdout.startswith("10:00:00  lit.dng / dark.dng")
    assert "6.0 stops under the flash" in done.stdout


def test_json_has_the_ambient_schema_and_both_frames(run: Run, frames: Path) -> None:
    document = json.loads(run("ambient", frames / "dark.dng", frames / "lit.dng", "--json").stdout)
    assert document["schema"] == "qc.ambient/1"
    assert [one["file"]["name"] for one in document["dark"]] == ["dark.dng"]
    assert [one["file"]["name"] for one in document["lit"]] == ["lit.dng"]
    (stops,) = [r for r in document["readings"] if (r["name"], r["zone"]) == ("ambient.stops_under", None)]
    assert stops["value"] == pytest.approx(6.0, abs=0.1)


def test_the_dark_frame_may_be_named(run: Run, frames: Path) -> None:
    done = run("ambient", frames / "lit.dng", "--dark", frames / "dark.dng")
    assert done.stdout.startswith("10:00:00  lit.dng / dark.dng")


def test_a_preset_judges_the_test(run: Run, frames: Path) -> None:
    document = json.loads(
        run("ambient", frames / "lit.dng", frames / "dark.dng", "--preset", "strict", "--json").stdout
    )
    assert document["verdict"]["level"] in {"clear", "note", "warn", "halt"}


def test_a_sync_limit_reaches_the_advice(run: Run, frames: Path) -> None:
    with_limit = run("ambient", frames / "lit.dng", frames / "dark.dng", "--sync", "1/200").stdout
    assert "no sync limit is stated" not in with_limit


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["lit.dng"], "two frames"),
        (["lit.dng", "dark.dng", "--sync", "fast"], "--sync: must be a shutter time"),
        (["lit.dng", "other.dng"], "different camera bodies"),
        (["lit.dng", "dark.dng", "--dark", "lit.dng", "--dark", "dark.dng"], ""),
    ],
)
def test_wrong_use_is_one_clear_complaint_and_status_2(
    run: Run, frames: Path, tmp_path: Path, words: list[str], said: str
) -> None:
    write(tmp_path / "other.dng", scene() / 64, replace(CAMERA, model="Other"))
    places = [
        word if word.startswith("--") or not word.endswith(".dng")
        else (tmp_path if word == "other.dng" else frames) / word
        for word in words
    ]  # fmt: skip
    done = run("ambient", *places)
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_settings_that_differ_are_said(run: Run, frames: Path, tmp_path: Path) -> None:
    other = write(tmp_path / "wide.dng", scene() / 64, replace(CAMERA, aperture=8.0))
    done = run("ambient", frames / "lit.dng", other)
    assert "settings differ" in done.stdout.splitlines()[0]


def test_without_two_readable_frames_it_is_status_2_and_says_which(run: Run, frames: Path, tmp_path: Path) -> None:
    done = run("ambient", frames / "lit.dng", tmp_path / "gone.dng")
    assert done.exit_code == 2
    assert "gone.dng  # halt        no such file" in done.stdout


@pytest.mark.parametrize("sync", ["200", "1/0", "soon", "0"])
def test_a_sync_limit_that_is_no_time_is_wrong_use_and_no_fault(run: Run, frames: Path, sync: str) -> None:
    done = run("ambient", frames / "lit.dng", frames / "dark.dng", "--sync", sync)
    assert done.exit_code == 2
    assert "1/200" in done.stderr
    assert "internal fault" not in done.stderr


def test_a_test_without_any_number_is_status_2(run: Run, frames: Path, tmp_path: Path) -> None:
    other = write(tmp_path / "iso.dng", scene(0.003), replace(CAMERA, iso=400))
    assert run("ambient", frames / "lit.dng", other).exit_code == 2


def test_a_frame_that_was_left_out_is_status_1(run: Run, frames: Path, tmp_path: Path) -> None:
    done = run("ambient", frames / "lit.dng", frames / "dark.dng", tmp_path / "gone.dng")
    assert done.exit_code == 1
    assert "gone.dng was left out" in done.stdout


def test_a_lit_frame_named_as_dark_by_mistake_is_named_in_one_line(run: Run, frames: Path, tmp_path: Path) -> None:
    other = write(tmp_path / "lit_too.dng", scene(0.3))
    done = run("ambient", frames / "dark.dng", frames / "lit.dng", "--dark", other)
    assert done.exit_code == 2
    assert done.stdout == ""
    assert "lit_too.dng: named as dark" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_a_frame_named_as_dark_that_cannot_be_read_is_status_2_and_said(
    run: Run, frames: Path, tmp_path: Path
) -> None:
    done = run("ambient", frames / "lit.dng", frames / "dark.dng", "--dark", tmp_path / "gone.dng")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "gone.dng: no such file; no frame that is named as dark can be read" in done.stderr
    assert len(done.stderr.splitlines()) == 1


def test_drawings_of_an_ambient_test_do_not_lie_among_its_frames(run: Run, frames: Path) -> None:
    done = run("ambient", frames / "lit.dng", frames / "dark.dng", "--pictures", frames / "sub")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "among the captures" in done.stderr
