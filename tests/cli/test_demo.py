"""`qc demo`: its lines fit 80 columns, say that the frames are simulated, and its status tells the outcome."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import typer
from typer.testing import CliRunner, Result

import qc.rehearse.demo as library
from qc.reading import Level
from qc.rehearse._compare import Row, number, word
from qc.rehearse.demo import Section
from qc.result import CameraFacts, FileFacts, MadeBy, Verdict
from qc.result import Result as FrameResult
from qc_cli.demo import demo

app = typer.Typer()
app.command()(demo)


def section(about: str, *rows: Row) -> Section:
    """A section as the library gives it, with a result that says nothing."""
    name = "R_0001.dng"
    result = FrameResult(
        file=FileFacts(path=name, name=name),
        camera=CameraFacts(),
        verdict=Verdict(level=Level.CLEAR),
        made_by=MadeBy(tool="framegauge", decoder=None, methods={}),
        measured_at="2026-11-25T10:00:00+01:00",
    )
    return Section(names=(name,), about=about, result=result, rows=rows, pictures=(Path("one.png"),))


@pytest.fixture
def sections() -> list[Section]:
    return [
        section(
            "approved",
            number("grey card a* off neutral", -12.34, -12.3, 0.3),
            number("label clipped, % of cells", 100.0, 100.0, 10.05),
            Row(what="a reading with a long name, px", measured="no_temperature", true="12.34", holds=True),
        ),
        section("ambient test", word("reason given", "spot on the label", "spot on the label")),
    ]


def run(monkeypatch: pytest.MonkeyPatch, sections: list[Section], *arguments: str) -> Result:
    def prepared(folder: Path) -> Iterator[Section]:
        (folder / library.CAPTURES).mkdir(parents=True)
        (folder / library.PICTURES).mkdir()
        yield from sections

    monkeypatch.setattr(library, "demonstrate", prepared)
    return CliRunner().invoke(app, arguments)


def test_it_says_first_that_the_frames_are_simulated(
    monkeypatch: pytest.MonkeyPatch, sections: list[Section], tmp_path: Path
) -> None:
    outcome = run(monkeypatch, sections, "--keep", str(tmp_path / "kept"))
    assert "simulated" in outcome.stdout.splitlines()[0]
    assert outcome.exit_code == 0


def test_the_table_fits_eighty_columns(
    monkeypatch: pytest.MonkeyPatch, sections: list[Section], tmp_path: Path
) -> None:
    lines = run(monkeypatch, sections, "--keep", str(tmp_path / "kept")).stdout.splitlines()
    table = [line for line in lines if line.startswith("  ") and "R_000" not in line]
    assert len(table) == 6
    assert max(map(len, table)) <= 80


def test_a_value_off_the_truth_is_marked_and_gives_status_one(
    monkeypatch: pytest.MonkeyPatch, sections: list[Section], tmp_path: Path
) -> None:
    first = sections[0]
    off = replace(first, rows=(replace(first.rows[0], holds=False), *first.rows[1:]))
    outcome = run(monkeypatch, [off, *sections[1:]], "--keep", str(tmp_path / "kept"))
    assert outcome.exit_code == 1
    assert sum(line.endswith("  off") for line in outcome.stdout.splitlines()) == 1
    assert "1 does not" in outcome.stdout


def test_only_the_drawings_stay_when_nothing_is_to_be_kept(
    monkeypatch: pytest.MonkeyPatch, sections: list[Section], tmp_path: Path
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    outcome = run(monkeypatch, sections)
    left = list(tmp_path.iterdir())
    assert [path.name for path in left[0].iterdir()] == [library.PICTURES]
    assert str(left[0]) in outcome.stdout


def test_a_folder_in_use_is_one_line_and_status_two(tmp_path: Path) -> None:
    (tmp_path / "SB_0001.dng").write_bytes(b"somebody's")
    outcome = CliRunner().invoke(app, ["--keep", str(tmp_path)])
    assert outcome.exit_code == 2
    assert len(outcome.stderr.splitlines()) == 1
    assert "not empty" in outcome.stderr
