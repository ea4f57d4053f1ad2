from __future__ import annotations

import csv
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from qc.result import Result
from tests.cli.conftest import SHEET, Run, environment, write


def test_a_good_frame_is_status_0_with_every_reading(run: Run, frames: Path) -> None:
    done = run("check", frames / "good.dng")
    assert done.exit_code == 0
    assert done.stderr == ""
    assert done.stdout.splitlines()[0].startswith("10:00:00  good.dng    unjudged    burnt 0.00 %")
    assert "clipped 0.00 %" in done.stdout


def test_several_frames_are_a_line_each(run: Run, frames: Path) -> None:
    done = run("check", frames / "good.dng", frames / "burnt.dng")
    assert [line.split()[1] for line in done.stdout.splitlines()] == ["good.dng", "burnt.dng"]
    assert len(run("check", "-v", frames / "good.dng", frames / "burnt.dng").stdout.splitlines()) > 10


def test_a_frame_at_halt_is_status_1_and_says_the_zone(run: Run, frames: Path, sheet: Path) -> None:
    done = run("check", frames / "good.dng", frames / "burnt.dng", "--sheet", sheet)
    assert done.exit_code == 1
    good, burnt = done.stdout.splitlines()
    assert ". clear" in good
    assert "# halt        label burnt " in burnt


def test_a_preset_judges_without_a_sheet(run: Run, frames: Path) -> None:
    done = run("check", frames / "burnt.dng", "--preset", "strict")
    assert (done.exit_code, "(preset strict)" in done.stdout) == (0, True)


def test_a_sheet_near_the_capture_is_found_and_named(run: Run, frames: Path, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    shutil.copy(frames / "burnt.dng", folder)
    (folder / "s.set.toml").write_text(SHEET)
    done = run("check", folder / "burnt.dng")
    assert done.exit_code == 1
    assert done.stderr == f"set sheet: {folder}/s.set.toml\n"


def test_two_sheets_are_an_error_naming_both(run: Run, frames: Path, tmp_path: Path) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    shutil.copy(frames / "good.dng", folder)
    for name in ("one", "two"):
        (folder / f"{name}.set.toml").write_text(SHEET)
    done = run("check", folder / "good.dng")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "one.set.toml" in done.stderr
    assert "two.set.toml" in done.stderr


def test_json_is_one_line_of_the_contract_for_each_capture(run: Run, frames: Path, tmp_path: Path) -> None:
    done = run("check", frames / "good.dng", tmp_path / "gone.dng", "--json")
    good, gone = map(json.loads, done.stdout.splitlines())
    assert done.exit_code == 1
    assert (good["schema"], good["file"]["state"], good["verdict"]["level"]) == (
        "qc.capture/1",
        "whole",
        "unjudged",
    )
    assert (gone["file"]["state"], gone["readings"]) == ("vanished", [])
    assert done.stderr == ""


def spoilt(kind: str, folder: Path, frames: Path) -> Path:
    path = folder / f"{kind}.dng"
    good = (frames / "good.dng").read_bytes()
    if kind == "folder":
        path.mkdir()
    elif kind == "empty":
        path.write_bytes(b"")
    elif kind == "cut":
        path.write_bytes(good[: len(good) // 2])
    elif kind == "text":
        path.write_text("a shopping list, not a picture\n" * 20)
    elif kind != "missing":
        path.write_bytes(good)
    return path


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        ("missing", "# halt        no such file"),
        ("empty", "# halt        empty: the file is empty"),
        ("cut", "# halt        truncated: "),
        ("text", "? unmeasured  unreadable: its name ends in .dng, but its content is not a picture"),
        ("folder", "? unmeasured  unreadable: a folder, not a capture"),
        ("locked", "? unmeasured  unreadable: no permission to read it"),
    ],
)
def test_bad_input_is_one_line_and_every_other_file_is_measured(
    run: Run, frames: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, said: str
) -> None:
    bad = spoilt(kind, tmp_path, frames)
    if kind == "locked":
        open_file = os.open

        def refuse(path: os.PathLike[str], *how: int) -> int:
            if Path(path) == bad:
                raise PermissionError(13, "Permission denied")
            return open_file(path, *how)

        monkeypatch.setattr(os, "open", refuse)
    done = run("check", bad, frames / "good.dng")
    first, second = done.stdout.splitlines()
    assert said in first
    assert "good.dng" in second
    assert (done.exit_code, done.stderr) == (1, "")
    assert run("check", bad).exit_code == 2


def test_a_real_unsupported_raw_and_real_cut_files_are_named_refusals(run: Run, captures: Path) -> None:
    names = ("action_hero6.gpr", "trunc128.nef", "trunc_leica_m10.dng", "trunc_r6.cr3", "k50_0010S.kdc")
    done = run("check", *(captures / name for name in names))
    lines = done.stdout.splitlines()
    assert [line.split()[3] for line in lines[:4]] == ["unmeasured", "halt", "halt", "halt"]
    assert "unsupported: " in lines[0]
    assert all("truncated: " in line for line in lines[1:4])
    assert "unjudged" in lines[4]
    assert done.exit_code == 1


def test_every_real_capture_is_a_result_or_a_named_refusal_and_no_fault(run: Run, captures: Path) -> None:
    with (captures / "MANIFEST.csv").open(encoding="utf-8") as file:
        names = [row["file"] for row in csv.DictReader(file)]
    done = run("check", *(captures / name for name in names), "--json")
    results = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.stderr == ""
    assert [one["file"]["name"] for one in results] == names
    for one in results:
        file, level = one["file"], one["verdict"]["level"]
        measured = any(reading["value"] is not None for reading in one["readings"])
        assert measured == (file["state"] == "whole"), file["name"]
        assert (file["detail"] is None) == measured, file["name"]
        assert (level in ("halt", "unmeasured")) != measured, file["name"]


def test_a_file_without_a_matrix_gives_the_reason_for_its_cast(run: Run, tmp_path: Path) -> None:
    capture = write(tmp_path / "c.dng", np.full((3, 120, 180), 0.3))
    assert reason_of_patch(run, capture, tmp_path) == "no_colour_matrix"


def test_a_clipped_patch_gives_the_reason_for_its_cast(run: Run, tmp_path: Path) -> None:
    capture = write(tmp_path / "c.dng", np.full((3, 120, 180), 2.0))
    assert reason_of_patch(run, capture, tmp_path) == "clipped"


def reason_of_patch(run: Run, capture: Path, folder: Path) -> str:
    sheet = folder / "s.set.toml"
    sheet.write_text(
        '[set]\npreset = "series"\n[[zone]]\nname = "card"\nrole = "patch"\nbox = [0.2, 0.2, 0.6, 0.6]\n'
    )
    document = json.loads(run("check", capture, "--sheet", sheet, "--json").stdout)
    (cast,) = [r for r in document["readings"] if (r["name"], r["zone"]) == ("cast.chroma", "card")]
    assert cast["value"] is None
    return str(cast["reason"]).partition(":")[0]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[set]\nprest = 1\nlight = 'sun'\nneeds = 3\nmagnification = -1\nsync_limit = 'x'\n", 5),
        ('[[zone]]\nname = "label"\nrole = "protect"\nbox = [1.5, 0, 0.2, 0.2]\n', 1),
    ],
)
def test_a_sheet_with_mistakes_is_one_line_each_and_status_2(
    run: Run, frames: Path, tmp_path: Path, text: str, said: int
) -> None:
    sheet = tmp_path / "bad.set.toml"
    sheet.write_text(text)
    done = run("check", frames / "good.dng", "--sheet", sheet)
    assert (done.exit_code, done.stdout) == (2, "")
    lines = done.stderr.splitlines()
    assert len(lines) == said
    assert all(line.startswith(f"{sheet}: line ") for line in lines)


def test_a_bad_sheet_near_some_captures_is_told_once_and_the_others_are_measured(
    run: Run, frames: Path, tmp_path: Path
) -> None:
    folder = tmp_path / "set"
    folder.mkdir()
    for name in ("good.dng", "burnt.dng"):
        shutil.copy(frames / name, folder)
    (folder / "bad.set.toml").write_text("[sett]\n")
    done = run("check", folder / "good.dng", folder / "burnt.dng", frames / "good.dng")
    assert done.exit_code == 2
    assert len(done.stderr.splitlines()) == 1
    assert [line.split()[1] for line in done.stdout.splitlines()] == ["good.dng"]


def test_a_fault_of_ours_is_one_line_and_the_other_files_are_measured(
    run: Run, frames: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from qc import pipeline

    measure = pipeline.measure_capture

    def fail(path: Path, *rest: object, **how: object) -> Result:
        if path.name == "burnt.dng":
            raise ZeroDivisionError("division\nby zero")
        return measure(path, *rest, **how)  # type: ignore[arg-type]  # passed through as it came

    monkeypatch.setattr(pipeline, "measure_capture", fail)
    done = run("check", frames / "burnt.dng", frames / "good.dng")
    assert done.exit_code == 2
    assert done.stderr == (
        f"{frames}/burnt.dng: internal fault, please report it: ZeroDivisionError: division by zero\n"
    )
    assert "good.dng" in done.stdout
    assert "Traceback" in run("check", frames / "burnt.dng", "--debug").stderr


def test_pictures_are_saved_where_asked_and_nothing_beside_the_captures(
    run: Run, frames: Path, tmp_path: Path
) -> None:
    before = sorted(frames.iterdir())
    done = run("check", frames / "burnt.dng", "--pictures", tmp_path / "out")
    assert done.exit_code == 0
    assert any(path.suffix == ".png" for path in (tmp_path / "out").iterdir())
    assert "in " + str(tmp_path / "out") in done.stderr
    assert sorted(frames.iterdir()) == before


@pytest.mark.parametrize("place", ["", ".", "sub", "sub/more"])
def test_a_folder_among_the_captures_is_refused_before_anything_is_measured(
    run: Run, frames: Path, place: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(frames)
    done = run("check", frames / "good.dng", "--pictures", place)
    assert (done.exit_code, done.stdout) == (2, "")
    assert ("among the captures" in done.stderr) == bool(place)
    assert not (frames / "sub").exists()


def test_the_drawings_of_many_captures_are_counted_in_one_line(run: Run, frames: Path, tmp_path: Path) -> None:
    shutil.copy(frames / "burnt.dng", tmp_path / "again.dng")
    out = tmp_path.with_name(f"{tmp_path.name}.out")
    done = run("check", frames / "burnt.dng", frames / "good.dng", tmp_path / "again.dng", "--pictures", out)
    count = len(list(out.iterdir()))
    assert count > 1
    assert [line for line in done.stderr.splitlines() if "drawing" in line] == [f"{count} drawings in {out}"]


def test_a_name_that_is_no_file_is_said_to_be_none(run: Run, tmp_path: Path) -> None:
    done = run("check", tmp_path / "nope.dng")
    assert "no such file" in done.stdout
    assert "vanished" not in done.stdout


@pytest.mark.parametrize(
    ("option", "said"),
    [
        ("--preset", "no preset is called 'bogus': there are loose, series, strict"),
        ("--decoder", "no decoder is called 'bogus': there are auto, rawpy, flashraw"),
        ("--mosaic", "no pattern is called 'bogus': there are RGGB, BGGR, GRBG, GBRG, mono"),
    ],
)
def test_a_word_that_an_option_does_not_know_is_said_in_our_words(
    run: Run, frames: Path, option: str, said: str
) -> None:
    done = run("check", frames / "good.dng", option, "bogus")
    assert (done.exit_code, done.stdout) == (2, "")
    assert said in " ".join(done.stderr.split())
    assert "Value error" not in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full on this system")
@pytest.mark.parametrize(
    "words", [["check", "good.dng"], ["check", "good.dng", "good.dng", "--json"], ["explain"]]
)
def test_results_that_cannot_be_written_are_one_line_and_no_fault_of_ours(frames: Path, words: list[str]) -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "qc_cli.app", *words],
            cwd=frames,
            env=environment(),
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            timeout=120,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr == "cannot write results: No space left on device\n"


def test_an_unmarked_mosaic_is_read_as_one_only_when_told(run: Run, captures: Path) -> None:
    path = captures / "mv_chart_550nm_100ms.tif"
    told = json.loads(run("check", path, "--mosaic", "RGGB", "--white", "255", "--json").stdout)
    assert (told["camera"]["kind"], json.loads(run("check", path, "--json").stdout)["camera"]["kind"]) == (
        "mosaic",
        "rendered",
    )


def test_black_and_white_go_with_mosaic(run: Run, frames: Path) -> None:
    done = run("check", frames / "good.dng", "--black", "3")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "go with --mosaic" in done.stderr


@pytest.mark.parametrize("decoder", ["rawpy", "auto"])
def test_the_decoder_may_be_chosen_and_is_recorded(run: Run, frames: Path, decoder: str) -> None:
    document = json.loads(run("check", frames / "good.dng", "--json", "--decoder", decoder).stdout)
    assert document["made_by"]["decoder"].startswith("rawpy" if decoder == "rawpy" else ("rawpy", "flashraw"))


def test_the_parser_stops_no_run_at_a_file_that_may_not_be_read(
    run: Run, frames: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # whether a file may be read is found out when its turn comes, so that the others are measured
    monkeypatch.setattr(os, "access", lambda *_: False)
    done = run("check", frames / "lit.dng")
    assert done.exit_code == 0
    assert "lit.dng" in done.stdout
