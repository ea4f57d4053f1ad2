"""What each fold must do whatever the day: held against a plain model of it, or against the same day changed."""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.reading import Level
from qc.result import Cause
from qc.series import alarms
from qc.series.entry import Entry, Purpose
from tests.series.days import dark, folded, frame, limited, scene, with_camera

APERTURES = st.lists(st.sampled_from([8.0, 11.0, 11.3, None]), min_size=1, max_size=20)
PLAIN = settings(deadline=None, max_examples=80)


@PLAIN
@given(apertures=APERTURES)
def test_a_setting_is_told_in_just_those_frames_that_differ_from_the_one_before(
    apertures: list[float | None],
) -> None:
    day = [frame(n, settings=with_camera(aperture=aperture)) for n, aperture in enumerate(apertures)]
    marks = [None if a is None else round(a) for a in apertures]
    told = [any(c.reading == "settings_changed" for c in standing.causes) for standing in folded(*day)]
    pairs = itertools.pairwise(marks)
    assert told == [False, *(None not in pair and pair[0] != pair[1] for pair in pairs)]


@PLAIN
@given(values=st.lists(st.floats(-20, 20), min_size=1, max_size=30))
def test_an_alarm_is_up_from_its_limit_on_until_under_80_percent_of_it(values: list[float]) -> None:
    limit, up, expected = 10.0, False, []
    for value in values:
        up = abs(value) > limit or (up and abs(value) >= 0.8 * limit)
        expected.append(up)
    state, found = alarms.START, []
    cause = Cause(reading="r", zone=None, level=Level.WARN, limit=limit, origin="sheet", text="r")
    for number, value in enumerate(values):
        raised = [cause] if abs(value) > limit else []
        entry = frame(number, values={("r", None): value})
        state, easing = alarms.step(state, entry, raised, worse={"r": "either"}, silent=False)
        assert bool(easing) == (("r", None) in state and not raised)
        found.append(("r", None) in state)
    assert found == expected


@PLAIN
@given(values=st.lists(st.sampled_from([0.0, 4.5, 6.0, None]), max_size=25))
def test_a_row_counts_every_frame_since_its_first_in_which_the_alarm_was_up(values: list[float | None]) -> None:
    count = 0
    for value, standing in zip(values, folded(*(limited(n, v) for n, v in enumerate(values))), strict=True):
        if value is not None:
            count = count + 1 if value > 5 or (count and value >= 4) else 0
        assert standing.repeats == (count if standing.causes else 0)


PRESSES = st.lists(
    st.sampled_from(["lit", "lit", "lit", "dark", "dark", "declared", "answered", "left out"]), max_size=30
)


@PLAIN
@given(presses=PRESSES)
def test_misfires_are_warns_and_the_second_in_a_row_of_a_running_series_is_a_halt(presses: list[str]) -> None:
    make: Mapping[str, Callable[[int], Entry]] = {
        "lit": frame,
        "dark": dark,
        "declared": lambda n: dark(n, purpose=Purpose.DARK),
        "answered": lambda n: dark(n, answered=frozenset({("no_flash", None)})),
        "left out": lambda n: dark(n, purpose=Purpose.LEAVE_OUT),
    }
    lit = row = 0
    for press, standing in zip(presses, folded(*(make[p](n) for n, p in enumerate(presses))), strict=True):
        if press == "left out":
            assert standing.level == Level.UNJUDGED
            continue
        lit, row = lit + (press == "lit"), row + 1 if press == "dark" else 0
        if press == "answered":
            assert (standing.level, standing.repeats) == (Level.NOTE, 1)
            continue
        expected = {0: Level.UNJUDGED, 1: Level.WARN}.get(row, Level.HALT if lit >= 3 else Level.WARN)
        assert standing.level == expected


def lights(day: list[Entry], factor: float) -> list[Entry]:
    return [replace(e, light=e.light * np.float32(factor)) for e in day if e.light is not None]


@PLAIN
@given(
    stops=st.lists(st.sampled_from([0.0, 0.0, 0.0, 0.5, -0.25, -1.0]), min_size=1, max_size=25),
    factor=st.floats(0.5, 1.5),
)
def test_what_is_told_of_the_light_depends_on_ratios_alone(stops: list[float], factor: float) -> None:
    day = [frame(n, float(2.0**s)) for n, s in enumerate(stops)]
    before, after = (
        [standing.data.get("light_changed", {}).get("stops", 0.0) for standing in folded(*one)]
        for one in (day, lights(day, factor))
    )
    assert after == pytest.approx(before, abs=0.002)


@PLAIN
@given(swaps=st.lists(st.integers(0, 2**16), max_size=20), lighter=st.floats(0.2, 2.0))
def test_whatever_stands_on_the_middle_of_the_set_is_never_told_as_light(swaps: list[int], lighter: float) -> None:
    day = []
    for number, seed in enumerate(swaps):
        light = scene(seed)
        light[3:10, 5:11] *= np.float32(lighter ** (number % 2))
        day.append(frame(number, light))
    assert [standing.level for standing in folded(*day)] == [Level.UNJUDGED] * len(day)
