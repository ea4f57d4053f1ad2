from __future__ import annotations

import re
from pathlib import Path
from typing import get_args

import pytest

import qc
from qc.event import KINDS
from qc.measure import specs
from qc.reading import Level
from qc.result import State
from qc.series import wrap
from tests.cli.conftest import Run


def test_without_a_name_every_reading_is_listed(run: Run) -> None:
    listed = run("explain").stdout
    assert all(reading.name in listed for spec in specs() for reading in spec.readings)


@pytest.mark.parametrize("name", ["highlights.headroom", "highlights", "flash_in_dark", "nearly_black", "clipped"])
def test_a_reading_a_measurement_or_a_code_is_explained(run: Run, name: str) -> None:
    done = run("explain", name)
    assert done.exit_code == 0
    assert done.stdout.startswith(name)


ROOT = Path(qc.__file__).parent


def codes_in_source() -> set[str]:
    """Codes of findings, reasons and causes as they stand in the library's source."""
    pattern = re.compile(r'(?:code=|Reason\(\s*|cause\(\s*|reading=)"([a-z_]+(?:\.[a-z_]+)?)"')
    return {code for path in ROOT.rglob("*.py") for code in pattern.findall(path.read_text(encoding="utf-8"))}


def test_every_code_that_a_result_or_an_event_can_hold_is_explained(run: Run) -> None:
    codes = (
        codes_in_source()
        | set(KINDS)
        | set(wrap.FINDINGS)
        | set(get_args(State))
        | {level.value for level in Level}
    )
    assert {"file.state", "nearly_black", "dark_like_flash", "few_edges", "sheet_bad", "unmeasured"} <= codes
    unknown = {code: run("explain", code).stderr for code in sorted(codes) if run("explain", code).exit_code}
    assert unknown == {}


def test_a_finding_with_a_level_of_its_own_says_it(run: Run) -> None:
    said = run("explain", "flash_in_dark").stdout
    assert "halt, whatever the limits are" in said


def test_an_unknown_name_is_one_line_with_what_is_near(run: Run) -> None:
    done = run("explain", "highlights.hedroom")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "highlights.headroom" in done.stderr
    assert len(done.stderr.splitlines()) == 1
