from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from qc.measure._colour import science
from qc.reading import Level, Region
from qc.show.draw._text import SMALL
from qc.show.draw.outlines import BURNT, PARTLY, PLAIN, look_of
from qc.show.palette import LEVELS, QUIET, RGB, SURROUND, TEXT
from tests.show.vision import VISIONS, seen


@pytest.mark.parametrize("vision", VISIONS)
def test_levels_are_told_apart_by_every_kind_of_colour_vision(vision: str) -> None:
    lab = seen(list(LEVELS.values()), vision)
    for (a, first), (b, second) in combinations(zip(LEVELS, lab, strict=True), 2):
        difference = float(science().delta_E(first, second, method="CIE 2000"))
        assert difference > 10, f"{a} and {b}"


@pytest.mark.parametrize("vision", VISIONS)
def test_burnt_and_partly_clipped_outlines_are_told_apart_by_colour_too(vision: str) -> None:
    burnt, partly, other = seen([BURNT, PARTLY, PLAIN], vision)
    for first, second in combinations((burnt, partly, other), 2):
        assert float(science().delta_E(first, second, method="CIE 2000")) > 10


def test_outlines_are_told_apart_without_any_colour() -> None:
    styles = {
        look_of(Region(what="clipped", box=(0, 0, 1, 1), area=1.0, colours=colours), "RGB")[1]
        for colours in ("RGB", "RG", "B")
    }
    assert len(styles) == 3


def test_the_surround_is_dark_and_neutral_and_text_reads_on_it() -> None:
    """WCAG 2.2, success criterion 1.4.3: contrast of text at least 4.5 to 1, 3 to 1 from 24 pixels up."""
    assert SMALL >= 24
    assert len(set(SURROUND)) == 1

    def luminance(colour: RGB) -> float:
        return float(science().models.eotf_sRGB(np.array(colour) / 255) @ (0.2126, 0.7152, 0.0722))

    assert luminance(SURROUND) < 0.02
    for colour, least in ((TEXT, 4.5), (QUIET, 4.5), *((level, 3.0) for level in LEVELS.values())):
        assert (luminance(colour) + 0.05) / (luminance(SURROUND) + 0.05) >= least


def test_every_level_has_a_colour_of_its_own() -> None:
    assert set(LEVELS) == set(Level)
    assert len(set(LEVELS.values())) == len(Level)
