"""The demonstration tells the truth: what it calls within tolerance is, what is not it says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from qc.errors import UsageError
from qc.rehearse import demo
from qc.rehearse._compare import number, word
from qc.rehearse.demo import CAPTURES, PICTURES, Section, demonstrate, make_studio

SIZE = (1088, 1632)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("demo")


@pytest.fixture(scope="module")
def sections(folder: Path) -> list[Section]:
    # A small picture keeps this quick.
    return list(demonstrate(folder, studio=replace(make_studio(), size=SIZE)))


def test_every_measured_value_lies_within_its_tolerance(sections: list[Section]) -> None:
    rows = [(section.about, row) for section in sections for row in section.rows]
    assert len(rows) > 20
    assert [(about, row) for about, row in rows if not row.holds] == []


def test_each_frame_and_the_ambient_pair_have_a_section(sections: list[Section]) -> None:
    assert [section.about for section in sections] == [
        "approved",
        "spot slipped onto the label",
        "focus moved back",
        "flash missed",
        "lamp left on",
        "ambient test",
    ]
    assert sections[-1].names == ("R_0005.dng", "R_0006.dng")


def test_drawings_are_left_beside_the_captures_not_among_them(sections: list[Section], folder: Path) -> None:
    pictures = [path for section in sections for path in section.pictures]
    assert len(pictures) > 5
    assert all(path.parent == folder / PICTURES and path.stat().st_size > 0 for path in pictures)
    assert {path.suffix for path in (folder / CAPTURES).iterdir()} == {".dng", ".toml"}


def test_a_folder_with_something_in_it_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "SB_0001.dng").write_bytes(b"somebody's")
    with pytest.raises(UsageError, match="not empty"):
        next(demonstrate(tmp_path))
    assert [path.name for path in tmp_path.iterdir()] == ["SB_0001.dng"]


def test_a_folder_that_cannot_be_made_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(UsageError, match="file"):
        next(demonstrate(tmp_path / "file"))


@pytest.mark.parametrize(
    ("measured", "holds", "shown"),
    [(5.09, True, "5.09"), (5.11, False, "5.11"), (4.91, True, "4.91"), (None, False, "not measured")],
)
def test_a_number_holds_within_its_tolerance_only(measured: float | None, holds: bool, shown: str) -> None:
    row = number("frame, stops under", measured, 5.0, 0.1)
    assert (row.holds, row.measured, row.true, row.within) == (holds, shown, "5.00", "0.10")


def test_zero_has_no_minus() -> None:
    assert number("a*", -0.001, -0.004, 0.3).measured == "0.00"


def test_a_word_holds_when_it_is_the_same() -> None:
    assert word("side", "right", "right").holds
    assert not word("side", "left", "right").holds


def test_it_says_that_the_frames_are_simulated() -> None:
    assert "simulated" in demo.SIMULATED
