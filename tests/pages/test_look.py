"""Can it be read, and are levels told apart? WCAG 2.2, 1.4.3 (contrast, level AA) and its relative luminance.

Red-green deficiency is simulated as `tests.show.vision` says; differences are CIEDE2000.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest

from qc.measure._colour import science
from qc.pages.assets import GROUND, look
from qc.reading import Level
from qc.show.palette import LEVELS, QUIET, RGB, TEXT
from tests.show.vision import VISIONS, seen

WORDS = {level: (TEXT if level is Level.UNJUDGED else colour) for level, colour in LEVELS.items()}
"""In what a page writes the word of each level."""


def luminance(rgb: RGB) -> float:
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in (v / 255 for v in rgb)]
    return float(np.dot([0.2126, 0.7152, 0.0722], linear))


def contrast(one: RGB, other: RGB) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_the_formula_gives_the_values_of_the_standard() -> None:
    assert contrast((255, 255, 255), (0, 0, 0)) == pytest.approx(21.0)
    assert contrast((119, 119, 119), (255, 255, 255)) == pytest.approx(4.48, abs=0.005)  # from memory: just fails


@pytest.mark.parametrize("letters", [TEXT, QUIET, *WORDS.values()])
def test_every_letter_of_a_page_reads_on_its_ground(letters: RGB) -> None:
    assert contrast(letters, GROUND) >= 4.5


def test_the_ground_is_dark_and_neutral() -> None:
    assert luminance(GROUND) < 0.01
    assert len(set(GROUND)) == 1


@pytest.mark.parametrize("vision", VISIONS)
def test_the_words_of_levels_are_told_apart_by_every_kind_of_colour_vision(vision: str) -> None:
    lab = seen(list(WORDS.values()), vision)
    worst = min(float(science().delta_E(a, b, method="CIE 2000")) for a, b in combinations(lab, 2))
    assert worst > 10  # a difference of 1 is just seen side by side; these are seen across a room


def test_the_shared_style_names_every_level_and_moves_nothing() -> None:
    text = look().decode()
    assert all(f"--{level}:" in text for level in Level)
    assert not any(word in text for word in ("animation", "transition", "url(", "@import"))
