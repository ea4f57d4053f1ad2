"""The retoucher's text: where and in which colours, ambient against flash, patch and gains, in plain sentences."""

from __future__ import annotations

from dataclasses import replace

import pytest

from qc.day import Day
from qc.measure import specs
from qc.reading import Box, Finding, Level, Reading, Reason, Region, Unit
from qc.result import Verdict
from qc.series.entry import Purpose
from qc.show.handoff.markdown import code, prose
from qc.show.handoff.places import spoken_place
from qc.show.handoff.retouch import retouch_md
from tests.log.made import content
from tests.show.handoff.days import SHEETS, burnt, cause, day, frame, patch
from tests.show.results import result

UPPER_LEFT: Box = (0.05, 0.05, 0.1, 0.1)


def text(of: Day) -> str:
    return b"".join(retouch_md(of, sheets=SHEETS, specs=specs())).decode()


def sentences(of: Day) -> list[str]:
    """Return what is said below the names of frames."""
    return [line[2:] for line in text(of).partition("###")[2].splitlines() if line.startswith("- ")]


def region(
    area: float, colours: str = "RGB", zone: str | None = None, box: Box = UPPER_LEFT, what: str = ""
) -> Region:
    what = what or ("burnt" if colours == "RGB" else "clipped")
    return Region(what=what, box=box, area=area, colours=colours, zone=zone)


@pytest.mark.parametrize(
    ("box", "said"),
    [
        ((0.0, 0.0, 0.1, 0.1), "upper left"),
        ((0.45, 0.0, 0.1, 0.1), "top"),
        ((0.9, 0.0, 0.1, 0.1), "upper right"),
        ((0.0, 0.45, 0.1, 0.1), "left"),
        ((0.45, 0.45, 0.1, 0.1), "middle"),
        ((0.9, 0.9, 0.1, 0.1), "lower right"),
        ((0.45, 0.9, 0.1, 0.1), "bottom"),
        ((0.1, 0.0, 0.8, 0.1), "along the top"),
        ((0.1, 0.45, 0.8, 0.1), "across the middle"),
        ((0.9, 0.1, 0.1, 0.8), "along the right side"),
        ((0.45, 0.1, 0.1, 0.8), "down the middle"),
        ((0.0, 0.0, 1.0, 1.0), "over the whole picture"),
    ],
)
def test_a_place_is_said_in_words(box: Box, said: str) -> None:
    assert spoken_place(box) == said


def test_a_zone_is_named_and_what_lies_in_none_is_said_by_its_place_largest_first() -> None:
    regions = (region(0.12, zone="label"), region(0.4, "RG"), region(0.3, "RG"), region(0.02, "G"))
    assert sentences(day(frame(1, regions=regions))) == [
        "Upper left: burnt in red and green; blue still holds detail, 2 places, together 0.70 % of the picture.",
        "**label**: burnt in every colour, no detail left, 0.12 % of the picture.",
        "Upper left: burnt in green; red and blue still hold detail, 0.02 % of the picture.",
    ]


def test_a_place_clipped_in_all_colours_here_and_there_is_not_called_empty() -> None:
    (line,) = sentences(day(frame(1, regions=(region(0.4, "RGB", what="clipped"),))))
    assert line == "Upper left: burnt in red, green and blue, not everywhere in all three, 0.40 % of the picture."


def test_no_coordinates_and_no_catalogue_names_are_said() -> None:
    said = text(day(burnt(1, 0.31)))
    assert "0.45" not in said
    assert "highlights." not in said


def test_small_places_outside_protected_zones_are_summed_and_alone_put_no_frame_on_the_list() -> None:
    small = region(0.004)
    of = day(frame(1, regions=(small, small)), frame(2, regions=(region(0.4), small, small, small)))
    assert "SB_0001" not in text(of)
    assert sentences(of)[1] == "Besides, small places, together 0.01 % of the picture."
    protected = day(frame(1, regions=(region(0.004, zone="label"),)))
    assert sentences(protected) == [
        "**label**: burnt in every colour, no detail left, under 0.01 % of the picture."
    ]


def test_what_was_meant_to_burn_is_told_only_beyond_its_budget() -> None:
    meant = frame(1, regions=(region(0.8, zone="rim"),))
    over = Verdict(
        level=Level.WARN, causes=(cause(Level.WARN, "rim burnt 1.20 %", "highlights.intended_area", "rim"),)
    )
    of = day(meant, frame(2, regions=(region(1.2, zone="rim"),), verdict=over))
    assert "SB_0001" not in text(of)
    assert sentences(of) == ["More than intended: rim burnt 1.20 %."]


def test_a_burnt_place_that_reaches_into_a_protected_zone_is_told_of_that_zone_too() -> None:
    reach = Reading(name="highlights.unintended_area", zone="label", unit=Unit.PERCENT_OF_CELLS, value=0.314)
    of = day(frame(1, regions=(region(0.8, zone="rim"),), readings=(reach,)))
    assert sentences(of) == ["**label**: 0.31 % of it burnt, by a place that lies mostly outside of it."]
    at_home = day(frame(1, regions=(region(0.1, zone="label"),), readings=(reach,)))
    assert len(sentences(at_home)) == 1


def test_frames_without_anything_to_say_are_counted_not_listed() -> None:
    said = text(day(frame(1), burnt(2, 0.31), frame(3)))
    assert said.count("### ") == 1
    assert said.endswith("\n2 frames of this set with nothing to say here.\n")


def test_frames_in_a_row_of_which_the_same_is_to_be_said_are_told_together() -> None:
    said = text(day(burnt(1, 0.311), burnt(2, 0.312), burnt(3, 0.4), burnt(4, 0.4)))
    headings = [line for line in said.splitlines() if line.startswith("###")]
    assert headings == ["### `SB_0001.dng`, `SB_0002.dng`, 09:00", "### `SB_0003.dng`, `SB_0004.dng`, 09:00"]


def test_roles_are_named_first_and_a_frame_left_out_is_not_told_of() -> None:
    of = day(
        burnt(1, 0.31),
        frame(2),
        frame(3),
        SB_0001={"purpose": Purpose.LEAVE_OUT},
        SB_0002={"purpose": Purpose.CLEAN_PLATE},
    )
    said = text(of)
    assert "- Left out, not part of the series: `SB_0001.dng`\n- Clean plate, the set without the product:" in said
    assert "###" not in said


def test_ambient_light_is_told_of_the_lit_frame_for_the_picture_and_each_zone() -> None:
    readings = (
        Reading(name="ambient.stops_under", unit=Unit.STOPS, value=5.14),
        Reading(name="ambient.worst_stops_under", unit=Unit.STOPS, value=3.8),
        Reading(name="ambient.stops_under", zone="label", unit=Unit.STOPS, value=7.2, bound="at least"),
        Reading(name="ambient.temperature", unit=Unit.KELVIN, value=3204.0),
        Reading(name="ambient.tint", unit=Unit.DUV, value=-0.003),
    )
    test = result(None, schema="qc.ambient/1", readings=readings, verdict=Verdict(level=Level.CLEAR))
    dark = replace(frame(1), ambient=test, ambient_lit=content(2))
    of = day(dark, frame(2), SB_0001={"purpose": Purpose.DARK})
    said = text(of)
    assert "### `SB_0002.dng`" in said
    assert "### `SB_0001.dng`" not in said
    assert sentences(of) == [
        "Ambient light, measured with `SB_0001.dng`: 5.1 stops under the flash, 3.8 stops under at worst.",
        "Its colour: room light 3 204 K, tint magenta 0.0030 Duv.",
        "Ambient light on **label**: at least 7.2 stops under the flash.",
    ]
    alone = day(dark, SB_0001={"purpose": Purpose.DARK})
    assert "### `SB_0001.dng`" in text(alone)


def test_an_ambient_test_without_a_number_says_why() -> None:
    why = Reason("flash_in_dark", "the flash fired in the dark frame")
    reading = Reading(name="ambient.stops_under", unit=Unit.STOPS, reason=why)
    test = result(None, schema="qc.ambient/1", readings=(reading,), verdict=Verdict(level=Level.HALT))
    dark = replace(frame(1), ambient=test, ambient_lit=content(2))
    (line,) = sentences(day(dark, frame(2), SB_0001={"purpose": Purpose.DARK}))
    assert line == "Ambient light, measured with `SB_0001.dng`: the flash fired in the dark frame."


def test_a_patch_frame_has_its_values_and_the_gains_that_make_it_neutral() -> None:
    of = day(frame(1, readings=patch(0.3, 1.004, 0.998)), frame(2, readings=patch(5.0, 1.1, 0.9)))
    of = day(*(taken.logged for taken in of.captures), SB_0001={"purpose": Purpose.PATCH})
    assert sentences(of)[0] == ("Patch **card**: cast 0.3. Red × 1.004, blue × 0.998 make it neutral, green kept.")


def test_a_patch_that_stays_in_the_picture_is_summed_up_and_told_where_a_frame_is_off() -> None:
    of = day(
        frame(1, readings=patch(0.3, 1.004, 0.998)),
        frame(2, readings=patch(0.1, 0.999, 1.0)),
        frame(3, readings=patch(3.2, 1.06, 0.95)),
    )
    assert (
        "- Patch **card** in 3 frames: cast 3.2 at most. Red × 0.999 to 1.060 and blue × 0.950 to 1.000 make it"
        " neutral, green kept. Frames with a cast of 1 and more are told below.\n"
    ) in text(of)
    assert sentences(of) == ["Patch **card**: cast 3.2. Red × 1.060, blue × 0.950 make it neutral, green kept."]


def test_a_chart_patch_is_brought_to_its_own_colour_and_a_bad_patch_says_why() -> None:
    chart = Finding(code="patch_reference", zone="card", text="x", data={"reference": "2005/light skin"})
    of = day(frame(1, readings=patch(3.0, 1.1, 0.9), findings=(chart,)), SB_0001={"purpose": Purpose.PATCH})
    assert sentences(of)[0].endswith("make it what it should be (2005/light skin), green kept.")
    uneven = Reading(
        name="cast.chroma", zone="card", unit=Unit.LAB, reason=Reason("uneven", "light falls off by 12 %")
    )
    of = day(frame(1, readings=(uneven,)), SB_0001={"purpose": Purpose.PATCH})
    assert sentences(of) == ["Patch **card** cannot be used: light falls off by 12 %."]


def test_a_file_that_is_not_whole_is_told() -> None:
    of = day(frame(1, state="truncated", detail="half is missing"))
    assert sentences(of) == ["The file is truncated: half is missing."]


def test_text_is_never_markup_and_names_stay_as_they_are() -> None:
    assert prose("<b>*x*</b> a_b _c_ #1 [l](u) `t`") == r"\<b\>\*x\*\</b\> a_b \_c\_ \#1 \[l\](u) \`t\`"
    assert [code("SB_1*.dng"), code("a`b``c"), code("`x`")] == ["`SB_1*.dng`", "```a`b``c```", "`` `x` ``"]
