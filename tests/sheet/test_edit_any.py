"""Zones are changed in a sheet's text as by hand: any sheet, any edits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.sheet.edit import ZoneText, edited, seen, zones_of
from qc.sheet.read import parse_sheet

from .any_sheet import FACTS, Line, changed, edits, renamed, several, sheets, text_of

ENDS = st.sampled_from(["\n", "\r\n"])
LAST = st.sampled_from(["", "\n"])


def in_order(lines: Sequence[str], text: str) -> bool:
    rest = iter(text.replace("\r\n", "\n").split("\n"))
    return all(line in rest for line in lines)


def not_touched(lines: Sequence[Line], before: Sequence[ZoneText], after: Sequence[ZoneText]) -> list[str]:
    """Return the lines that no edit may touch: of no zone, or of a zone that stays and no changed fact."""
    now = {zone.was: zone for zone in after}
    stay = []
    for line in lines:
        if line.said.strip() and (line.zone is None or before[line.zone].name in now):
            old = None if line.zone is None else before[line.zone]
            if old is None or line.key is None or getattr(old, line.key) == getattr(now[old.name], line.key):
                stay.append(line.said)
    return stay


@given(st.data())
def test_the_result_of_any_edits_reads_as_they_say(data: st.DataObject) -> None:
    before = data.draw(several())
    lines = data.draw(sheets(before))
    text = text_of(lines, data.draw(ENDS), data.draw(LAST))
    assert zones_of(text) == seen(before)
    after = data.draw(edits(before))
    result = edited(text, seen(before), after)
    assert zones_of(result) == seen(after)
    assert in_order(not_touched(lines, before, after), result)
    ends = {result.count("\r\n"), 0} if "\r\n" in text else {0}
    assert result.count("\r\n") in ends | {result.count("\n")}
    _keeps_limits(text, result, after)


def _keeps_limits(text: str, result: str, after: Sequence[ZoneText]) -> None:
    old, new = parse_sheet(text), parse_sheet(result)
    assert (new.preset, new.limits) == (old.preset, old.limits)
    kept = {zone.name: old.zone_limits[zone.was] for zone in after if zone.was and zone.was in old.zone_limits}
    assert new.zone_limits == kept


@given(st.data())
def test_an_edit_of_facts_and_its_reverse_give_the_text_back(data: st.DataObject) -> None:
    """In a sheet whose values are spelled as they are written here; which facts there are stays."""
    before = seen(data.draw(several()))
    text = text_of(data.draw(sheets(before, plain=True)), data.draw(ENDS), data.draw(LAST))
    names = data.draw(renamed([zone.name for zone in before]))
    after = [
        zone if data.draw(st.booleans()) else _same_facts(data.draw(changed(zone, name, roles=False)), zone)
        for zone, name in zip(before, names, strict=True)
    ]
    if len({zone.name for zone in after}) < len(after):
        after = [replace(zone, name=old.name) for zone, old in zip(after, before, strict=True)]
    there = edited(text, before, after)
    back = [replace(zone, was=new.name) for zone, new in zip(before, after, strict=True)]
    assert edited(there, zones_of(there), back) == text


def _same_facts(zone: ZoneText, old: ZoneText) -> ZoneText:
    """Give no fact that was not there, and take none away; a place may still change its kind."""
    for key in ("budget", "reference", "lightness"):
        if (getattr(zone, key) is None) != (getattr(old, key) is None):
            zone = replace(zone, **{key: getattr(old, key)})
    return zone


@given(st.data())
def test_notes_inside_and_behind_changed_facts_are_all_kept(data: st.DataObject) -> None:
    before = data.draw(several())
    lines = data.draw(sheets(before))
    after = [data.draw(changed(zone, zone.name, roles=False)) for zone in before]
    gone = {
        (number, key)
        for number, (old, new) in enumerate(zip(before, after, strict=True))
        for key in FACTS[4:]
        if getattr(new, key) is None
    }
    result = edited(text_of(lines), seen(before), after)
    for line in lines:
        mark = line.said.rpartition("# in ")[2] if "# in " in line.said else line.said.rpartition("behind ")[2]
        if mark != line.said and (line.zone, line.key) not in gone:
            assert mark.strip() in result


@given(st.data())
def test_any_zones_added_and_removed_leave_the_text_as_it_was(data: st.DataObject) -> None:
    before = seen(data.draw(several()))
    text = text_of(data.draw(sheets(before)), data.draw(ENDS))
    new = [zone for zone in data.draw(several()) if zone.name not in {old.name for old in before}]
    there = edited(text, before, [*before, *new])
    assert there.startswith(text)
    assert edited(there, zones_of(there), before) == text


@pytest.mark.parametrize("value", [0.1 + 0.2, 1 / 3, 5e-324, 1e-5, 0.0, 1.0, 1e-17])
def test_a_number_reads_back_as_exactly_the_same(value: float) -> None:
    zone = ZoneText(name="a", role="allow", box=(value / 2, 0.0, 0.25, 1.0), budget=value)
    text = edited("", (), (zone,))
    assert zones_of(text) == seen([zone])
    assert zones_of(edited(text, seen([zone]), seen([replace(zone, budget=50.0)])))[0].budget == 50
