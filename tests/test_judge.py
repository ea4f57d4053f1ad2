from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import get_args

import pytest

from qc.errors import CaptureError
from qc.judge import OF_CAPTURE, judge, passed, spoken
from qc.measure import specs
from qc.reading import Bound, Finding, Level, Preset, Reading, Reason, Worse
from qc.result import FileFacts, State, Verdict
from qc.sheet.limits import resolve
from qc.sheet.sheet import Sheet
from qc.words import spoken_number, spoken_stops
from tests.sheet.toys import BLUR, BURNT, LABEL, NECK, SPECS, TINT

WHOLE = FileFacts(path="SB_0007.dng", name="SB_0007.dng")
SHEET = Sheet(preset="series", zones=(LABEL, NECK))


def reading(name: str, value: float | None, zone: str | None = None, *, bound: Bound | None = None) -> Reading:
    spec = next(r for s in SPECS for r in s.readings if r.name == name)
    reason = Reason("texture", "texture: blur cannot be read") if value is None else None
    return Reading(name=name, unit=spec.unit, zone=zone, value=value, reason=reason, bound=bound)


def verdict(
    *readings: Reading,
    findings: Sequence[Finding] = (),
    sheet: Sheet | None = SHEET,
    file: FileFacts = WHOLE,
    preset: str | None = None,
) -> Verdict:
    limits = resolve(SPECS, sheet, preset)
    zones = sheet.zones if sheet else ()
    return judge(file, readings, findings, specs=SPECS, zones=zones, limits=limits)


def test_without_sheet_or_preset_nothing_of_taste_is_judged() -> None:
    assert verdict(reading("burnt.area", 80.0), sheet=None) == Verdict(level=Level.UNJUDGED)


def test_a_preset_without_a_sheet_is_judged_by() -> None:
    assert verdict(reading("burnt.area", 2.5), sheet=None, preset="series").level == Level.WARN


def test_within_all_limits_is_clear() -> None:
    assert verdict(reading("burnt.area", 0.0, "label"), reading("tint.shift", -4.9)).level == Level.CLEAR


@pytest.mark.parametrize(
    ("value", "level"),
    [(0.0, Level.CLEAR), (0.01, Level.CLEAR), (0.011, Level.NOTE), (0.06, Level.WARN), (0.31, Level.HALT)],
)
def test_the_level_is_that_of_the_worst_limit_passed(value: float, level: Level) -> None:
    assert verdict(reading("burnt.area", value, "label")).level == level


@pytest.mark.parametrize(
    ("value", "said"), [(0.2004, "0.2004"), (0.2047, "0.205"), (0.21, "0.21"), (0.35, "0.35"), (0.20001, "0.20")]
)
def test_a_number_that_passed_its_limit_is_said_so_finely_that_it_can_be_seen(value: float, said: str) -> None:
    (cause,) = verdict(reading("burnt.area", value, "label")).causes
    assert cause.limit == 0.2
    assert cause.text == f"label burnt {said} %"


def test_a_cause_says_limit_origin_and_words() -> None:
    (cause,) = verdict(reading("burnt.area", 0.31, "label")).causes
    assert (cause.reading, cause.zone, cause.level) == ("burnt.area", "label", Level.HALT)
    assert (cause.limit, cause.origin, cause.text) == (0.2, "preset series", "label burnt 0.31 %")


def test_a_bare_fact_never_has_a_level() -> None:
    assert verdict(reading("burnt.fact", 100.0), reading("burnt.area", 0.0)).level == Level.CLEAR


def test_a_reading_of_a_zone_without_a_limit_is_not_judged_by_that_of_the_frame() -> None:
    sheet = replace(SHEET, zones=(NECK,))
    assert (
        verdict(reading("burnt.area", 50.0, "neck"), reading("burnt.area", 0.0), sheet=sheet).level == Level.CLEAR
    )


@pytest.mark.parametrize(
    ("worse", "value", "level"),
    [
        ("high", 6.0, None), ("high", 6.1, "warn"), ("low", 6.0, None), ("low", 5.9, "warn"),
        ("either", -6.1, "warn"), ("either", 6.1, "warn"), ("either", -6.0, None),
    ],
)  # fmt: skip
def test_a_value_at_the_limit_is_within_it(worse: Worse, value: float, level: str | None) -> None:
    over = passed(value, Preset(warn=6.0), worse)
    assert (over[0] if over else None) == level


@pytest.mark.parametrize(("value", "level"), [(7.2, Level.CLEAR), (5.1, Level.WARN)])
def test_of_a_bound_the_verdict_takes_the_pessimistic_end(value: float, level: Level) -> None:
    found = verdict(reading("tint.under", value, bound="at least"))
    assert found.level == level
    assert [c.text for c in found.causes] == (["room at least 5.1 stops under"] if level == Level.WARN else [])


def test_when_no_reading_with_a_limit_had_a_value_it_is_unmeasured_and_says_why() -> None:
    found = verdict(reading("blur.width", None, "neck"), reading("burnt.fact", 3.0))
    assert found.level == Level.UNMEASURED
    assert [c.text for c in found.causes] == ["neck: blur not read: texture: blur cannot be read"]


def test_a_zone_that_was_to_be_looked_at_and_could_not_be_is_not_clear() -> None:
    found = verdict(reading("blur.width", None, "neck"), reading("tint.shift", 0.0))
    assert found.level == Level.NOTE
    assert [(c.level, c.zone, c.limit) for c in found.causes] == [(Level.NOTE, "neck", None)]
    assert found.causes[0].text == "neck: blur not read: texture: blur cannot be read"


def test_a_reason_that_looks_like_the_fault_itself_is_a_warning() -> None:
    suspicious = replace(BLUR, suspect=frozenset({"texture"}))
    limits = resolve((suspicious, TINT), SHEET)
    read = (reading("blur.width", None, "neck"), reading("tint.shift", 0.0))
    found = judge(WHOLE, read, (), specs=(suspicious, TINT), zones=SHEET.zones, limits=limits)
    assert (found.level, found.causes[0].zone) == (Level.WARN, "neck")
    alone = judge(WHOLE, read[:1], (), specs=(suspicious,), zones=SHEET.zones, limits=limits)
    assert alone.level == Level.WARN


def test_what_could_not_be_read_outside_such_a_zone_is_said_and_gives_no_level() -> None:
    found = verdict(reading("tint.shift", None), reading("burnt.area", 0.0, "label"))
    assert found.level == Level.CLEAR
    assert [(c.level, c.text) for c in found.causes] == [
        (Level.UNMEASURED, "frame: tint not read: texture: blur cannot be read")
    ]


def test_what_could_not_be_read_comes_after_every_worse_cause() -> None:
    found = verdict(reading("blur.width", None, "neck"), reading("tint.shift", 9.0))
    assert [c.level for c in found.causes] == [Level.WARN, Level.NOTE]


def test_an_empty_picture_is_the_only_thing_said_of_what_is_not_in_it() -> None:
    black = Finding(code="nearly_black", text="nearly black")
    suspicious = replace(BLUR, suspect=frozenset({"texture"}))
    read = (reading("blur.width", None, "neck"),)
    limits = resolve((suspicious,), SHEET)
    found = judge(WHOLE, read, (black,), specs=(suspicious,), zones=SHEET.zones, limits=limits)
    assert [(c.reading, c.level) for c in found.causes] == [
        ("nearly_black", Level.WARN),
        ("blur.width", Level.UNMEASURED),
    ]


def test_a_reading_that_refines_another_is_not_missed_where_that_one_was_read() -> None:
    along = replace(BLUR.readings[0], name="blur.along", refines="blur.width")
    spec = replace(BLUR, readings=(*BLUR.readings, along))
    limits = resolve((spec,), SHEET)
    few = Reason("few_directions", "no direction")
    missing = Reading(name="blur.along", unit=along.unit, zone="neck", reason=few)
    read = (reading("blur.width", 0.6, "neck"), missing)
    assert judge(WHOLE, read, (), specs=(spec,), zones=SHEET.zones, limits=limits) == Verdict(level=Level.CLEAR)
    unread = (reading("blur.width", None, "neck"), missing)
    found = judge(WHOLE, unread, (), specs=(spec,), zones=SHEET.zones, limits=limits)
    assert [c.reading for c in found.causes] == ["blur.width", "blur.along"]


@pytest.mark.parametrize(("bar", "level"), [(4.0, Level.WARN), (8.0, Level.WARN)])
def test_more_than_can_be_read_is_never_within_a_limit(bar: float, level: Level) -> None:
    sheet = replace(SHEET, zone_limits={"neck": {"blur.width": Preset(warn=bar)}})
    found = verdict(reading("blur.width", 5.0, "neck", bound="at least"), reading("tint.shift", 0.0), sheet=sheet)
    assert found.level == level
    assert "at least 5.0 px" in found.causes[0].text


def test_a_bound_on_the_good_side_is_within_a_limit() -> None:
    found = verdict(reading("blur.width", 0.5, "neck", bound="at most"), reading("tint.shift", 0.0))
    assert found == Verdict(level=Level.CLEAR)


def test_a_kind_that_cannot_be_read_at_all_is_said_for_the_zone_that_has_the_limit() -> None:
    found = verdict(reading("blur.width", None), reading("tint.shift", 0.0))
    assert [c.text for c in found.causes] == ["neck: blur not read: texture: blur cannot be read"]


def test_one_reason_of_one_measurement_in_one_zone_is_one_cause() -> None:
    found = verdict(reading("tint.shift", None), reading("tint.under", None), reading("burnt.area", 0.0))
    assert [c.reading for c in found.causes] == ["tint.shift"]


MANY = (
    reading("burnt.area", 9.0),
    reading("burnt.area", 0.06, "label"),
    reading("blur.width", 2.0, "neck"),
    reading("tint.shift", -8.0),
    reading("tint.under", 3.0),
)


def test_causes_come_in_the_order_of_importance() -> None:
    misfire = Finding(code="no_flash_in_lit", text="the flash did not fire")
    settings = Finding(code="settings_differ", text="shutter differs")
    texts = [c.text for c in verdict(*MANY, findings=(misfire, settings)).causes]
    assert texts == [
        "the flash did not fire",  # the only one at halt goes first
        "shutter differs",
        "label burnt 0.06 %",
        "neck blur 2.0 px",
        "room 3.0 stops under",  # as the measurement lists its readings
        "warm −8 mired",
        "burnt 9.00 %",  # not in a protected zone: with the rest
    ]


def test_the_verdict_does_not_depend_on_the_order_of_measuring() -> None:
    assert len({verdict(*order) for order in itertools.permutations(MANY)}) == 1


ALARMS = dict(OF_CAPTURE) | {code: alarm for spec in specs() for code, alarm in spec.alarms.items()}


@pytest.mark.parametrize("code", sorted(ALARMS))
def test_what_always_has_a_level_has_it_without_a_sheet(code: str) -> None:
    found = judge(WHOLE, (), (Finding(code=code, text="words"),), specs=specs(), limits={})
    assert (found.level, found.causes[0].reading, found.causes[0].origin) == (ALARMS[code].level, code, "always")


def test_any_other_finding_has_no_level() -> None:
    assert verdict(findings=(Finding(code="glint", text="words"),), sheet=None).level == Level.UNJUDGED


STATES: Mapping[str, Level] = {
    "arriving": Level.UNMEASURED,
    "damaged": Level.HALT,
    "truncated": Level.HALT,
    "empty": Level.HALT,
    "vanished": Level.HALT,
    "unsupported": Level.UNMEASURED,
    "unreadable": Level.UNMEASURED,
}


def test_every_state_but_whole_has_a_level_here() -> None:
    assert {*STATES, "whole"} == set(get_args(State))
    assert {kind.state for kind in CaptureError.__subclasses__()} <= set(STATES)


@pytest.mark.parametrize("state", STATES)
def test_a_file_that_is_not_whole_has_its_state_as_the_only_cause(state: State) -> None:
    found = verdict(file=replace(WHOLE, state=state, detail="half is missing"), sheet=None)
    assert found.level == STATES[state]
    told = "half is missing" if state == "vanished" else f"{state}: half is missing"
    assert [c.text for c in found.causes] == [told]


def test_a_phrase_with_its_own_place_for_the_zone_has_it_once() -> None:
    spec = replace(BURNT.readings[0], phrase="{value} % of {zone} is burnt")
    assert spoken(reading("burnt.area", 0.5, "label"), spec) == "0.50 % of label is burnt"
    assert spoken(reading("burnt.area", 0.5), spec) == "0.50 % of frame is burnt"


@pytest.mark.parametrize(
    ("value", "said"), [(8.0, "warm by 8 mired"), (-8.0, "cool by 8 mired"), (0.0, "warm by 0 mired")]
)
def test_which_way_is_said_in_words_where_there_are_words_for_it(value: float, said: str) -> None:
    spec = replace(TINT.readings[1], phrase="warm by {value} mired", phrase_below="cool by {value} mired")
    assert spoken(reading("tint.shift", value), spec) == said


def test_a_missing_number_is_said_in_words() -> None:
    assert spoken(reading("blur.width", None, "neck"), BLUR.readings[0]) == "neck width not measured"
    named = replace(BLUR.readings[0], called="blur")
    assert spoken(reading("blur.width", None), named) == "blur not measured"


def test_what_goes_neither_way_is_said_so() -> None:
    spec = replace(TINT.readings[1], phrase_below="cool {value} mired", phrase_zero="neither warm nor cool")
    assert spoken(reading("tint.shift", -0.4), spec) == "neither warm nor cool"
    assert spoken(reading("tint.shift", -0.6), spec) == "cool 1 mired"


def test_a_bound_turns_where_its_number_is_said_the_other_way() -> None:
    spec = replace(TINT.readings[0], phrase="{value} {stops} under", phrase_below="{value} {stops} brighter")
    assert spoken(reading("tint.under", -4.0, bound="at least"), spec) == "at most 4.0 stops brighter"
    assert spoken(reading("tint.under", -1.0), spec) == "1.0 stop brighter"


@pytest.mark.parametrize(
    ("value", "said"),
    [(0.3, "0.3 stop"), (1.0, "1.0 stop"), (1.04, "1.0 stop"), (1.1, "1.1 stops"), (0.0, "0.0 stops")],
)
def test_one_stop_or_a_part_of_it_is_a_stop(value: float, said: str) -> None:
    assert spoken_stops(value) == said


@pytest.mark.parametrize(
    ("value", "decimals", "signed", "said"),
    [
        (0.314, 2, False, "0.31"),
        (-0.3, 1, True, "−0.3"),
        (8, 0, True, "+8"),
        (-0.004, 2, True, "0.00"),
        (12345.6, 0, False, "12 346"),
    ],
)
def test_numbers_are_said_with_a_true_minus_and_no_signed_nought(
    value: float, decimals: int, signed: bool, said: str
) -> None:
    assert spoken_number(value, decimals, signed=signed) == said
