"""Zones that a person wrote as one list are changed in it, or it is said that they cannot be."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.errors import UsageError
from qc.sheet.edit import ZoneText, edited, seen, zones_of
from qc.sheet.spelling import notes_of, spelled

from .any_sheet import edits, facts_of, several

LIST = """\
# of the list
zone = [
  # the paper one
  {name = 'label', role="protect", box=[0.10, 0.1, 0.2, 0.2], limits."highlights.headroom".warn = 0.50},  # front
  # and the rest
  { name = "rim" , role = "allow", budget = 1.0, points = [[0,0],[1,0],[1,1]] }, # hot
]  # of zones

[set]
name = "bottles"
"""
NECK = ZoneText(name="neck", role="sharp", box=(0.5, 0.0, 0.25, 0.25))


def test_facts_are_changed_in_the_list() -> None:
    label, rim = before = zones_of(LIST)
    after = (replace(label, name="front", box=(0.1, 0.1, 0.3, 0.2)), replace(rim, budget=2.5))
    changed = LIST.replace("'label'", '"front"').replace("[0.10, 0.1, 0.2,", "[0.10, 0.1, 0.3,")
    assert edited(LIST, before, after) == changed.replace("budget = 1.0", "budget = 2.5")


def test_a_zone_comes_at_the_end_of_the_list() -> None:
    before = zones_of(LIST)
    text = edited(LIST, before, (*before, NECK))
    assert zones_of(text) == (*before, replace(NECK, was="neck"))
    assert "box = [0.5, 0, 0.25, 0.25]}" in text
    assert [line for line in LIST.splitlines() if line not in text] == []


def test_a_zone_taken_out_of_the_list_leaves_the_notes_above_it() -> None:
    label, _ = before = zones_of(LIST)
    text = edited(LIST, before, (label,))
    assert zones_of(text) == (label,)
    assert notes_of(text) == [note for note in notes_of(LIST) if note != "# hot"]


def test_an_empty_list_takes_a_zone() -> None:
    assert zones_of(edited("zone = [] # none yet\n", (), (NECK,))) == (replace(NECK, was="neck"),)


def test_a_list_that_cannot_be_changed_without_harm_is_refused_with_what_to_do() -> None:
    text = LIST.replace("}, # hot", "} # hot\n  # no more")
    before = zones_of(text)
    with pytest.raises(
        UsageError, match=r"^bottles: .*cannot be changed here without harm; write each as a \[\[zone"
    ):
        edited(text, before, (*before, NECK), path="bottles")
    noted = LIST.replace("[0,0],", "[0,0], # left\n")
    label, rim = before = zones_of(noted)
    with pytest.raises(UsageError, match="without harm"):
        edited(noted, before, (label, replace(rim, points=None, box=(0.0, 0.0, 1.0, 1.0))))


@st.composite
def lists(draw: st.DrawFn, zones: list[ZoneText]) -> str:
    """Return zones as a list on one line or several, with notes between."""
    items = ["{" + ", ".join(f"{k} = {spelled(v)}" for k, v in facts_of(zone).items()) + "}" for zone in zones]
    if draw(st.booleans()):
        return f"zone = [{', '.join(items)}]  # all\n[set]\n"
    lines = [f"\t{item},{draw(st.sampled_from(['', ' # behind']))}" for item in items]
    notes = [draw(st.sampled_from(["", "  # above\n"])) for _ in items]
    inside = "".join(note + line + "\n" for note, line in zip(notes, lines, strict=True))
    return f"zone = [\n{inside}]  # all\n[set]\n"


@given(st.data())
def test_any_edits_of_a_list_come_out_as_they_say_or_are_refused(data: st.DataObject) -> None:
    before = data.draw(several())
    text = data.draw(lists(before)).replace("\n", data.draw(st.sampled_from(["\n", "\r\n"])))
    there = zones_of(text)
    after = data.draw(edits(before))
    try:
        result = edited(text, there, after)
    except UsageError:
        assert "#" in text  # nothing but notes stands in the way
        return
    assert zones_of(result) == seen(after)
    gone = len(before) - sum(zone.was is not None for zone in after)
    assert len(notes_of(text)) - len(notes_of(result)) <= gone
