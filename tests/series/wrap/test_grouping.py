"""Every cause of every standing stands under one heading, once, the most important first."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from qc.day import Day
from qc.log.rows import Logged
from qc.reading import Level
from qc.result import Cause, Verdict
from qc.series.levels import severity, worst
from qc.series.wrap.grouping import causes
from tests.log.made import content
from tests.series.days import with_camera
from tests.series.wrap.days import day, logged
from tests.sheet.toys import SPECS


def cause(reading: str, level: Level, zone: str | None = None, text: str = "") -> Cause:
    said = text or f"{reading} {level}"
    return Cause(reading=reading, zone=zone, level=level, limit=None, origin="sheet", text=said)


def judged(number: int, *found: Cause, **changes: Any) -> Logged:
    level = worst(found) or Level.CLEAR
    return logged(number, verdict=Verdict(level=level, causes=found), **changes)


def headings(one: Day) -> list[tuple[str, str | None, str, int]]:
    return [(g.reading, g.zone, str(g.level), len(g.frames)) for g in causes(one, specs=SPECS)]


def test_worst_comes_first_then_the_order_of_importance_then_the_most_frames() -> None:
    frames = [
        judged(1, cause("tint.shift", Level.WARN), cause("blur.width", Level.WARN, "neck")),
        judged(2, cause("burnt.area", Level.HALT, "label"), cause("tint.shift", Level.WARN)),
        judged(3, cause("burnt.area", Level.WARN), settings=with_camera(iso=200)),
        judged(4, cause("file.state", Level.HALT), state="truncated"),
        judged(5, cause("burnt.area", Level.WARN, "label"), settings=with_camera(iso=200)),
        judged(6, cause("tint.under", Level.NOTE), settings=with_camera(iso=200)),
    ]
    assert headings(day(frames)) == [
        ("file.state", None, "halt", 1),
        ("burnt.area", "label", "halt", 1),
        ("settings_changed", None, "warn", 1),
        ("burnt.area", "label", "warn", 1),
        ("blur.width", "neck", "warn", 1),
        ("tint.shift", None, "warn", 2),
        ("burnt.area", None, "warn", 1),
        ("tint.under", None, "note", 1),
    ]


def test_a_heading_has_its_frames_in_the_order_taken_with_what_is_said_of_each() -> None:
    frames = [judged(n, cause("tint.shift", Level.WARN, text=f"tint {n}")) for n in (3, 1, 2)]
    (group,) = causes(day(frames), specs=SPECS)
    assert group.contents == (content(1), content(2), content(3))
    assert [said.text for _, said in group.frames] == ["tint 1", "tint 2", "tint 3"]


def test_an_accepted_cause_has_no_heading_and_answered_ones_have_one_of_their_own() -> None:
    frames = [judged(n, cause("tint.shift", Level.NOTE if n == 3 else Level.WARN)) for n in (1, 2, 3)]
    place = frozenset({("tint.shift", None)})
    one = day(frames, SB_0001={"accepted": place}, SB_0002={"answered": place})
    assert [(g.level, g.answered, g.contents) for g in causes(one, specs=SPECS)] == [
        ("note", False, (content(3),)),
        ("note", True, (content(2),)),
    ]


def test_without_measurements_given_those_of_the_registry_count() -> None:
    found = cause("highlights.unintended_area", Level.WARN, "label"), cause("sharpness.blur", Level.WARN)
    assert [g.reading for g in causes(day([judged(1, *found)]))] == [
        "highlights.unintended_area",
        "sharpness.blur",
    ]


_CAUSES = st.builds(
    cause,
    st.sampled_from(["burnt.area", "blur.width", "tint.shift", "unknown.reading"]),
    st.sampled_from([Level.NOTE, Level.WARN, Level.HALT, Level.UNMEASURED]),
    st.sampled_from([None, "label", "neck"]),
)


@given(st.lists(st.lists(_CAUSES, max_size=4), max_size=6))
def test_nothing_is_lost_and_nothing_told_twice(found: list[list[Cause]]) -> None:
    one = day([judged(number, *row) for number, row in enumerate(found, start=1)])
    groups = causes(one, specs=SPECS)
    grouped = [(content, said) for group in groups for content, said in group.frames]
    standing = [(t.entry.content, said) for t in one.captures for said in t.standing.causes]
    assert sorted(grouped, key=repr) == sorted(standing, key=repr)
    assert len({(g.reading, g.zone, g.level) for g in groups}) == len(groups)
    severities = [severity(group.level) for group in groups]
    assert severities == sorted(severities, reverse=True)
