"""What a verdict makes of a place that was to be sharp: blurred beyond reading it is never clear."""

from __future__ import annotations

import numpy as np
import pytest

from qc.judge import judge
from qc.measure.sharpness import SPEC
from qc.reading import Level
from qc.result import FileFacts, Verdict
from qc.sheet.brief import Brief
from qc.sheet.limits import resolve
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Zone
from tests.measure.sharpness_scene import expose, gaussian, motion, spread, strokes, to_pixels, weave

SEAL = Zone.from_box("seal", "sharp", (0.1, 0.1, 0.8, 0.8))
SHEET = Sheet(preset="series", zones=(SEAL,))
SIZE = 240


def verdict(light: np.ndarray) -> Verdict:
    measured = SPEC(expose(light), zones=SHEET.zones, brief=Brief())
    file = FileFacts(path="a.dng", name="a.dng")
    limits = resolve((SPEC,), SHEET)
    return judge(file, measured.readings, measured.findings, specs=(SPEC,), zones=SHEET.zones, limits=limits)


def printed(blurred: np.ndarray) -> np.ndarray:
    return 0.05 + 0.4 * to_pixels(blurred)


def test_a_sharp_print_is_clear_and_nothing_is_said_of_its_direction() -> None:
    found = verdict(printed(gaussian(strokes(SIZE, 8.0, seed=3), 0.8)))
    assert found == Verdict(level=Level.CLEAR)


@pytest.mark.parametrize("how", ["shaken by 40 px", "defocused by 12 px", "gone"])
def test_a_print_blurred_beyond_reading_is_at_least_a_warning(how: str) -> None:
    fine = strokes(SIZE, 8.0, seed=3)
    if how == "gone":
        fine = np.full_like(fine, 0.5)
    blurred = spread(fine, motion(40.0, 30.0)) if how.startswith("shaken") else gaussian(fine, 12.0)
    found = verdict(printed(blurred))
    assert found.level in (Level.WARN, Level.HALT)
    assert (found.causes[0].zone, found.causes[0].level) == ("seal", found.level)
    assert "seal" in found.causes[0].text


def test_a_weave_whose_blur_cannot_be_read_is_not_clear() -> None:
    found = verdict(weave(SIZE, 5.0, 20.0, 0.7))
    assert found.level == Level.WARN
    assert found.causes[0].text.startswith("seal: sharpness not read: ")
