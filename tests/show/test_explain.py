from __future__ import annotations

import re

import pytest

from qc.errors import UsageError
from qc.show.explain import explain, overview
from tests.sheet.toys import SPECS

FINDINGS = {"nearly_black": "no picture"}


def text(name: str) -> str:
    return "\n".join(re.sub(r"  +", " | ", line.strip()) for line in explain(name, SPECS, FINDINGS))


def test_the_overview_names_every_reading_with_its_unit() -> None:
    lines = list(overview(SPECS))
    for reading in (r for spec in SPECS for r in spec.readings):
        assert any(line.split()[:1] == [reading.name] and line.endswith(reading.unit) for line in lines)


def test_a_reading_is_explained_with_everything_its_spec_says() -> None:
    assert text("burnt.area").splitlines() == [
        "burnt.area | (% of cells)",
        "means | what it is",
        "said as | burnt N %",
        "smallest | none",
        "largest | all",
        "worse | the higher, the worse",
        "measured in | the frame; zones: protect, sharp",
        "method | how",
        "source | invented for tests",
        "limits for | protect zones",
        "series | note 0.01, warn 0.05, halt 0.2",
        "strict | halt 0",
        "limits for | the frame",
        "series | warn 2",
        "their source | invented for tests",
    ]


def test_a_bare_fact_says_that_it_has_no_limit() -> None:
    assert "a bare fact without a limit" in text("burnt.fact")
    assert "limits for" not in text("burnt.fact")


def test_a_measurement_is_explained_with_its_findings_reasons_and_readings() -> None:
    said = text("burnt")
    assert said.startswith("burnt, version 3")
    for part in ("glint: a small burnt place", "no_such_colour: the sensor lacks it", "burnt.area", "burnt.fact"):
        assert part in said


@pytest.mark.parametrize(
    ("code", "meaning"),
    [("glint", "a small burnt place"), ("nearly_black", "no picture"), ("clipped", "saturation")],
)
def test_a_code_is_explained(code: str, meaning: str) -> None:
    assert meaning in text(code)


def test_an_unknown_name_is_an_error_that_names_what_is_near() -> None:
    with pytest.raises(UsageError, match=r"burnt\.area"):
        text("burnt.aera")
    with pytest.raises(UsageError, match="lists what there is"):
        text("zzzzzz")
