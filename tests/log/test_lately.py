from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from qc.log.lately import Lately
from qc.log.log import Log
from qc.log.rows import Captured
from qc.reading import Level, Reading, Reason, Unit
from tests.log.made import LIGHT, captured, content, judged, stamp

NAME = "burnt.area"
READINGS = (
    Reading(name=NAME, unit=Unit.PERCENT, value=0.31, plus_minus=0.02, bound="at least"),
    Reading(name=NAME, unit=Unit.PERCENT, zone="label", reason=Reason("clipped", "nothing is left")),
    Reading(name="blur.px", unit=Unit.PIXELS, value=1.5),
)


def of_set(number: int, name: str | None, text: str = "") -> Captured:
    one = captured(number)
    result = replace(one.result, sheet_name=name, readings=READINGS)
    return replace(one, result=result, sheet_text=text or f'[set]\nname = "{name}"\n')


def lately(out: Path, captures: Iterable[Captured], number: int, most: int = 60) -> tuple[Lately, ...]:
    with Log.open(out) as log:
        for one in captures:
            log.add(one)
    with Log.open(out, create=False, read_only=True) as log:
        return log.lately(content(number), [NAME], most)


def numbers(told: Iterable[Lately]) -> list[int]:
    return [int(one.content.partition(":")[2], 16) for one in told]


def test_each_has_what_was_asked_for_and_no_more(tmp_path: Path) -> None:
    (one,) = lately(tmp_path, [judged(of_set(1, "bottles"), Level.WARN, "blake2b:33")], 1)
    assert one.readings == READINGS[:2]
    assert (one.name, one.level) == ("SB_0001.dng", Level.WARN)
    assert one.sheet_text == '[set]\nname = "bottles"\n'
    assert one.light is not None
    assert np.array_equal(one.light, LIGHT)


def test_they_stand_in_the_order_taken_whenever_they_arrived(tmp_path: Path) -> None:
    assert numbers(lately(tmp_path, [of_set(n, "bottles") for n in (3, 1, 4, 2)], 2)) == [1, 2, 3, 4]


def test_of_many_the_last_are_given_and_of_an_old_one_those_up_to_it(tmp_path: Path) -> None:
    captures = [of_set(n, "bottles") for n in range(12)]
    assert numbers(lately(tmp_path, captures, 10, most=4)) == [8, 9, 10, 11]
    assert numbers(lately(tmp_path, (), 8, most=4)) == [8, 9, 10, 11]
    assert numbers(lately(tmp_path, (), 7, most=4)) == [4, 5, 6, 7]
    assert numbers(lately(tmp_path, (), 1, most=4)) == [0, 1]


@pytest.mark.parametrize(("number", "expected"), [(1, [1, 3]), (2, [2]), (4, [4, 6]), (5, [5])])
def test_only_frames_of_the_same_set_are_given(tmp_path: Path, number: int, expected: list[int]) -> None:
    first, second = '[set]\ncaptures = "SA*"\n', '[set]\ncaptures = "SB*"\n'
    captures = [
        of_set(1, "bottles"),
        of_set(2, "bowls"),
        of_set(3, "bottles", first),  # another text, the same name
        of_set(4, None, first),
        of_set(5, None, second),
        of_set(6, None, first + 'preset = "strict"\n'),
    ]
    assert numbers(lately(tmp_path, captures, number)) == expected


def test_what_no_path_holds_any_more_is_not_given(tmp_path: Path) -> None:
    gone = of_set(1, "bottles")
    instead = replace(of_set(2, "bottles"), path=gone.path, stamp=stamp(2))
    assert numbers(lately(tmp_path, [gone, instead, of_set(3, "bottles")], 3)) == [2, 3]
    assert lately(tmp_path, (), 1) == ()
    assert lately(tmp_path, (), 99) == ()


def test_the_same_pixels_under_two_names_stand_once(tmp_path: Path) -> None:
    one = of_set(1, "bottles")
    copies = [replace(one, path=f"copy/{n}.dng", stamp=stamp(n)) for n in range(2)]
    assert numbers(lately(tmp_path, [one, of_set(2, "bottles"), *copies], 2)) == [1, 2]
