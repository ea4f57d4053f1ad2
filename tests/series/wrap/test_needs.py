"""What a set still needs by its sheet is told until it is there."""

from __future__ import annotations

from typing import Any

from qc.day import Day
from qc.log.rows import Logged
from qc.reading import Level, Reading, Reason, Unit
from qc.series.entry import Purpose
from qc.series.wrap.needs import lacking, needs
from qc.series.wrap.sheets import sets_of, sheets_of
from tests.log.made import content
from tests.series.days import with_camera
from tests.series.wrap.days import day, in_sets, logged

FRONT = "Stoneware bottles, front"
PATCH_ZONE = '\n[[zone]]\nname = "card"\nrole = "patch"\nbox = [0.1, 0.1, 0.1, 0.1]\n'


def needing(*words: str, number: int = 1, more: str = "", **changes: Any) -> Logged:
    """A capture of a set whose sheet needs something."""
    listed = ", ".join(f'"{word}"' for word in words)
    text = f'[set]\nname = "{FRONT}"\nneeds = [{listed}]\n{more}'
    return in_sets(logged(number, **changes), text, name=FRONT)


def told(one: Day) -> list[str]:
    return [found.text for found in needs(one, sheets_of(one))]


def test_what_is_not_there_is_told_in_words() -> None:
    one = day([needing("dark", "patch", "clean plate", "baseline")])
    found = list(needs(one, sheets_of(one)))
    assert [(f.code, f.level, f.data["need"]) for f in found] == [
        ("still_needed", Level.WARN, need) for need in ("dark", "patch", "clean plate", "baseline")
    ]
    assert [f.text for f in found] == [
        f"{FRONT} still needs a dark frame: the shot again with the flash trigger off",
        f"{FRONT} still needs a frame with the patch",
        f"{FRONT} still needs a clean plate: the set without the product",
        f"{FRONT} still needs a baseline: no frame was approved as one",
    ]


def test_without_a_sheet_or_its_needs_nothing_is_needed() -> None:
    assert told(day([logged(1)])) == []
    assert told(day([needing()])) == []


def test_a_declared_dark_frame_with_a_lit_one_is_enough() -> None:
    frames = [needing("dark"), needing("dark", number=2)]
    assert told(day(frames, SB_0002={"purpose": Purpose.DARK})) == []


def test_a_dark_frame_without_a_lit_one_of_its_settings_is_not_enough_and_is_told_once() -> None:
    frames = [needing("dark"), needing("dark", number=2, settings=with_camera(aperture=4.0))]
    (found,) = needs(one := day(frames, SB_0002={"purpose": Purpose.DARK}), sheets_of(one))
    assert (found.code, found.contents) == ("still_needed", (content(2),))
    assert found.text == (
        f"{FRONT} still needs a dark frame with its lit one: SB_0002.dng is there, and no lit frame "
        "has its settings"
    )


def test_a_dark_frame_without_a_lit_one_is_told_where_none_is_needed_too() -> None:
    frames = [logged(1), logged(2, settings=with_camera(aperture=4.0))]
    (found,) = needs(day(frames, SB_0002={"purpose": Purpose.DARK}), {})
    assert (found.code, found.level) == ("dark_without_lit", Level.WARN)
    assert found.text == "SB_0002.dng was shot without flash, and no lit frame has its settings"


def test_a_frame_that_was_tested_is_a_dark_frame() -> None:
    tested = needing("dark", number=2, ambient=logged(1).result, ambient_lit=content(1))
    assert told(day([needing("dark"), tested])) == []


def test_a_role_a_named_frame_or_a_patch_that_was_read_is_enough() -> None:
    frames = [needing("patch", "clean plate", "baseline", number=number) for number in (1, 2, 3)]
    roles: Any = {
        "SB_0001": {"purpose": Purpose.PATCH},
        "SB_0002": {"purpose": Purpose.CLEAN_PLATE},
        "SB_0003": {"purpose": Purpose.BASELINE},
    }
    assert told(day(frames, **roles)) == []


def test_a_baseline_that_the_sheet_names_must_be_among_the_captures() -> None:
    named = f'[set]\nname = "{FRONT}"\nneeds = ["baseline"]\nbaseline = "SB_0007.dng"\n'
    missing = day([in_sets(logged(1), named, name=FRONT)])
    assert told(missing) == [f"{FRONT} still needs its baseline: SB_0007.dng is not among its captures"]
    assert told(day([in_sets(logged(7), named, name=FRONT)])) == []


def test_a_patch_zone_counts_where_it_could_be_read() -> None:
    read = Reading(name="cast.chroma", unit=Unit.LAB, zone="card", value=1.2)
    unread = Reading(name="cast.chroma", unit=Unit.LAB, zone="card", reason=Reason("glare", "it glares"))
    for reading, lacks in ((read, ()), (unread, ("patch",))):
        one = day([needing("patch", more=PATCH_ZONE, readings=(reading,))])
        (group,) = sets_of(one, sheets_of(one))
        assert lacking(group) == lacks


def test_each_set_has_needs_of_its_own() -> None:
    back = in_sets(logged(2), '[set]\nname = "back"\nneeds = ["patch"]\n', digest="blake2b:02", name="back")
    one = day([needing("clean plate"), back], SB_0001={"purpose": Purpose.PATCH})
    assert told(one) == [
        f"{FRONT} still needs a clean plate: the set without the product",
        "back still needs a frame with the patch",
    ]
