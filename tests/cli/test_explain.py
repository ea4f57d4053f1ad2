from __future__ import annotations

import pytest

from qc.measure import specs
from tests.cli.conftest import Run


def test_without_a_name_every_reading_is_listed(run: Run) -> None:
    listed = run("explain").stdout
    assert all(reading.name in listed for spec in specs() for reading in spec.readings)


@pytest.mark.parametrize("name", ["highlights.headroom", "highlights", "flash_in_dark", "nearly_black", "clipped"])
def test_a_reading_a_measurement_or_a_code_is_explained(run: Run, name: str) -> None:
    done = run("explain", name)
    assert done.exit_code == 0
    assert done.stdout.startswith(name)


def test_an_unknown_name_is_one_line_with_what_is_near(run: Run) -> None:
    done = run("explain", "highlights.hedroom")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "highlights.headroom" in done.stderr
    assert len(done.stderr.splitlines()) == 1
