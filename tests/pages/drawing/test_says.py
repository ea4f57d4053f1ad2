"""The lines of a card: as short as they can be, and of a zone only what it is."""

from __future__ import annotations

import pytest

from qc.pages.drawing.says import line
from qc.reading import Bound, Reading, Reason, Unit
from qc.sheet.zones import Role

UNKNOWN = Reason("no_noise_model", "the noise of the sensor is not known")


@pytest.mark.parametrize(
    ("bound", "plus_minus", "doubt", "said"),
    [
        ("at most", 0.003, None, "at most 2.27 stops under clipping"),
        ("at most", None, UNKNOWN, "at most 2.27 stops under clipping"),
        (None, 0.003, None, "2.27 stops under clipping ±<0.01"),
        (None, None, UNKNOWN, "2.27 stops under clipping ±?"),
    ],
)
def test_a_level_is_short_and_a_bound_needs_no_error(
    bound: Bound | None, plus_minus: float | None, doubt: Reason | None, said: str
) -> None:
    level = Reading(
        name="exposure.level",
        unit=Unit.STOPS,
        zone="label",
        value=2.27,
        bound=bound,
        plus_minus=plus_minus,
        doubt=doubt,
    )
    told = line("level", [level], role=Role.PROTECT)
    assert (told["said"], told["doubt"]) == (said, doubt.text if doubt else "")


@pytest.mark.parametrize("role", Role)
def test_only_a_patch_is_called_one(role: Role) -> None:
    why = Reason("clipped", "3.1 % of the patch is clipped")
    names = ("cast.chroma", "cast.warm_cool", "cast.green_magenta")
    readings = [Reading(name=name, unit=Unit.LAB, zone="label", reason=why) for name in names]
    told = line("cast", readings, role=role)
    what = "patch" if role is Role.PATCH else "zone"
    assert (told["said"], told["missing"]) == (f"3.1 % of the {what} is clipped", True)
