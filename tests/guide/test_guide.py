"""The README's guide does what it says, with the commands that stand in it."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

from qc import read_sheet
from tests.guide.walk import BUDGET, PICTURES, ZONES, Walk, walk

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

README = Path(__file__).parents[2] / "README.md"
LEAST_COLUMNS = 1200
"""Of a frame in which the sharpness of the print can be read."""


def guide() -> str:
    text = README.read_text(encoding="utf-8")
    return text.split("## The first ten minutes on a set")[1].split("\n## ")[0]


@pytest.mark.timeout(400)  # several processes, each of which decodes
def test_from_the_first_command_to_three_zones_and_a_passed_ambient_test(tmp_path: Path, browser: Browser) -> None:
    seen: dict[str, str] = {}

    def look(name: str, page: Page) -> None:
        seen[name] = page.inner_text("body")

    walk(Walk(tmp_path, browser, columns=LEAST_COLUMNS, look=look))
    sheet = read_sheet(tmp_path / "in" / "bottles.qc" / "bottles.set.toml")
    assert {zone.name: zone.role for zone in sheet.zones} == ZONES
    assert [zone.budget for zone in sheet.zones if zone.role == "allow"] == [float(BUDGET)]
    assert sheet.baseline == "SB_0001.dng"
    assert "stops under the flash" in seen["ambient"]
    assert "label burnt" in seen["halt"]
    assert sorted(path.name for path in (tmp_path / "in" / "bottles").iterdir()) == [
        f"SB_000{number}.dng" for number in range(1, 5)
    ]


def test_the_guide_has_the_commands_that_are_walked_and_every_picture_that_was_made() -> None:
    blocks = re.findall(r"```sh\n(.*?)```", guide(), re.DOTALL)
    lines = "".join(blocks).splitlines()
    assert lines == ["mkdir -p in/bottles", "qc watch in/bottles --page", "qc sheet draw"]
    shown = re.findall(r"\]\(testdata/guide/(\S+\.png)\)", guide())
    assert sorted(shown) == sorted(path.name for path in PICTURES.iterdir())
    assert all(path.stat().st_size < 250_000 for path in PICTURES.iterdir())
