"""A save that is sent again does nothing twice and is no conflict; what is not in the sheet yet is still done."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import pytest

from qc.errors import QcError
from qc.pages.drawing.outstanding import outstanding
from qc.sheet.edit import ZoneText, edited, seen, zones_of
from qc.sheet.zones import Role

HEAD = '[set]\npreset = "series"\n'


def zone(name: str, left: float = 0.1, was: str | None = None) -> ZoneText:
    return ZoneText(name=name, role=Role.PROTECT, box=(left, 0.1, 0.2, 0.2), was=was)


def text_of(zones: Sequence[ZoneText]) -> str:
    return edited(HEAD, (), [replace(one, was=None) for one in zones])


LABEL, NECK = seen((zone("label"), zone("neck", 0.5)))
SAVES = {
    "added": (LABEL, NECK, zone("cap", 0.7)),
    "removed": (LABEL,),
    "moved": (replace(LABEL, box=(0.2, 0.1, 0.2, 0.2)), NECK),
    "renamed": (replace(LABEL, name="front"), NECK),
    "removed and drawn anew under its name": (zone("label", 0.6), NECK),
    "renamed and its name given to a new one": (replace(LABEL, name="front"), NECK, zone("label", 0.7)),
    "renamed to the name of one that is removed": (replace(LABEL, name="neck"),),
    "renamed and one moved": (replace(LABEL, name="front"), replace(NECK, box=(0.6, 0.2, 0.2, 0.2))),
    "all removed": (),
    "nothing": (LABEL, NECK),
}


@pytest.mark.parametrize("after", SAVES.values(), ids=SAVES)
def test_a_save_that_is_sent_again_does_nothing_more(after: tuple[ZoneText, ...]) -> None:
    before = (LABEL, NECK)
    first = edited(text_of(before), before, after)
    again = edited(first, *outstanding(zones_of(first), before, after))
    assert again == first
    assert {one.name for one in zones_of(first)} == {one.name for one in after}


@pytest.mark.parametrize("after", SAVES.values(), ids=SAVES)
def test_sent_again_with_one_more_that_one_is_added_and_what_others_typed_stays(
    after: tuple[ZoneText, ...],
) -> None:
    before = (LABEL, NECK)
    first = edited(text_of(before), before, after)
    typed = edited(first, (), [zone("by hand", 0.4)])
    more = (*after, zone("foot", 0.3))
    again = edited(typed, *outstanding(zones_of(typed), before, more))
    assert {one.name for one in zones_of(again)} == {one.name for one in more} | {"by hand"}


def test_what_is_not_in_the_sheet_is_done_as_if_nothing_were_compared() -> None:
    """Whatever two zones become, of the same facts or others."""
    ways = [None, *(zone(name, left) for name in ("label", "neck", "cap") for left in (0.1, 0.5))]
    tried = 0
    before = (LABEL, NECK)
    for one, other, new in itertools.product(ways, repeat=3):
        kept = [(one, "label"), (other, "neck"), (new, None)]
        after = tuple(replace(found, was=was) for found, was in kept if found is not None)
        text = text_of(before)
        try:
            plain = edited(text, before, after)
        except QcError:
            continue
        tried += 1
        result = edited(text, *outstanding(zones_of(text), before, after))
        assert facts(result) == facts(plain), after
    assert tried > 50


def facts(text: str) -> list[ZoneText]:
    return sorted(zones_of(text), key=lambda one: one.name)


def test_a_zone_that_was_never_seen_is_not_taken_for_a_saved_one() -> None:
    after = (replace(LABEL, was="gone"),)
    assert outstanding((LABEL,), (LABEL,), after)[1] == after
