"""Zones are changed in a sheet's text as by hand: the cases that a person would look at."""

from __future__ import annotations

from dataclasses import replace

import pytest

from qc.errors import SheetError, UsageError
from qc.sheet.edit import ZoneText, edited, zones_of
from qc.sheet.read import parse_sheet
from qc.sheet.write import new_sheet_text

HAND = """\
# Bottles, front view.  Asked for by the studio on Monday.

[set]   # what it is
preset = 'strict'\t# the client looks closely
name = "bottles"

# Zones of the front view: all agreed with the photographer.
[[zone]]   # the paper one
name = "label"   # front label
  role = "protect"
box = [0.410, 0.38, 1.8e-1, 0.22]   # measured twice
# its own bar:
[zone.limits."highlights.unintended_area"]
warn = 0.05   # as agreed

# The rim catches the lamp: this much is meant.
# Seen on the first test frame.
[[zone]]
role = "allow"
budget = 0.50   # generous
points = [
    [0.10, 0.1],  # left
    [0.30, 0.1],  # right
    [0.2, 0.25],  # low
]
name = "rim"

# [[zone]]
# name = "foot"
# role = "sharp"
# box = [0.3, 0.8, 0.1, 0.1]

[[zone]]
name = 'card'
role = 'patch'
box = [0, 0.90, 0.1, 0.1]
reference = "neutral"
# lightness = 50   # once it is known

# until here
"""

BEFORE = zones_of(HAND)
LABEL, RIM, CARD = BEFORE


def test_zones_are_read_as_they_are_written() -> None:
    label = ZoneText(was="label", name="label", role="protect", box=(0.41, 0.38, 0.18, 0.22))
    assert label == LABEL
    assert (RIM.box, RIM.points) == (None, ((0.1, 0.1), (0.3, 0.1), (0.2, 0.25)))
    assert (CARD.reference, CARD.lightness, RIM.budget) == ("neutral", None, 0.5)


def test_nothing_changed_is_the_same_text() -> None:
    assert edited(HAND, BEFORE, BEFORE) == HAND


def test_a_number_is_changed_alone_and_the_others_keep_their_spelling() -> None:
    moved = replace(LABEL, box=(0.41, 0.4, 0.18, 0.22))
    assert edited(HAND, BEFORE, (moved, RIM, CARD)) == HAND.replace("[0.410, 0.38,", "[0.410, 0.4,")


def test_a_corner_is_moved_between_its_notes() -> None:
    moved = replace(RIM, points=((0.1, 0.1), (0.3, 0.1234), (0.2, 0.25)))
    assert edited(HAND, BEFORE, (LABEL, moved, CARD)) == HAND.replace("[0.30, 0.1],", "[0.30, 0.1234],")


def test_a_rename_keeps_the_limits_of_the_zone_and_what_stands_behind_the_name() -> None:
    text = edited(HAND, BEFORE, (replace(LABEL, name="front"), RIM, CARD))
    assert text == HAND.replace('name = "label"   #', 'name = "front"   #')
    assert parse_sheet(text).zone_limits["front"]["highlights.unintended_area"].warn == 0.05


def test_two_zones_may_change_their_names_about() -> None:
    after = (replace(LABEL, name="rim"), replace(RIM, name="label"), CARD)
    assert [zone.name for zone in zones_of(edited(HAND, BEFORE, after))] == ["rim", "label", "card"]


def test_a_box_that_becomes_points_stays_in_its_place_with_its_note() -> None:
    after = (replace(LABEL, box=None, points=((0.1, 0.1), (0.3, 0.1), (0.2, 0.25))), RIM, CARD)
    old = "box = [0.410, 0.38, 1.8e-1, 0.22]   # measured twice\n"
    new = "points = [[0.1, 0.1], [0.3, 0.1], [0.2, 0.25]]   # measured twice\n"
    assert edited(HAND, BEFORE, after) == HAND.replace(old, new)


def test_notes_inside_points_that_become_a_box_come_to_stand_above_it() -> None:
    text = edited(HAND, BEFORE, (LABEL, replace(RIM, box=(0.1, 0.1, 0.2, 0.15), points=None), CARD))
    assert "budget = 0.50   # generous\n# left\n# right\n# low\nbox = [0.1, 0.1, 0.2, 0.15]\nname" in text


def test_notes_inside_points_stay_when_there_is_a_corner_more() -> None:
    corners = ((0.1, 0.1), (0.3, 0.1), (0.3, 0.2), (0.2, 0.25))
    text = edited(HAND, BEFORE, (LABEL, replace(RIM, points=corners), CARD))
    assert (
        "# generous\n# left\n# right\n# low\npoints = [[0.1, 0.1], [0.3, 0.1], [0.3, 0.2], [0.2, 0.25]]\n" in text
    )


def test_a_fact_that_is_gone_takes_its_line_with_it() -> None:
    text = edited(HAND, BEFORE, (LABEL, replace(RIM, role="protect", budget=None), CARD))
    assert text == HAND.replace('"allow"', '"protect"').replace("budget = 0.50   # generous\n", "")
    assert parse_sheet(text).zones[1].budget is None


def test_a_new_fact_comes_behind_the_one_it_follows_with_its_indent() -> None:
    text = edited(HAND, BEFORE, (LABEL, RIM, replace(CARD, lightness=50.0)))
    assert text == HAND.replace('reference = "neutral"\n', 'reference = "neutral"\nlightness = 50\n')


def test_a_new_fact_takes_the_indent_of_the_line_above() -> None:
    text = '[[zone]]\n\tname = "rim"\n\trole = "sharp"\n\tbox = [0, 0, 1, 1]'
    (rim,) = before = zones_of(text)
    after = (replace(rim, role="allow", budget=1.5),)
    assert edited(text, before, after) == text.replace("sharp", "allow") + "\n\tbudget = 1.5\n"


def test_new_zones_come_after_the_last_line_in_their_order() -> None:
    neck = ZoneText(name="neck", role="sharp", box=(0.45, 0.1, 0.1, 0.125))
    floor = ZoneText(name="floor", role="backdrop", points=((0.0, 1.0), (1.0, 1.0), (0.5, 0.875)))
    assert edited(HAND, BEFORE, (neck, *BEFORE, floor)) == HAND + (
        '\n[[zone]]\nname = "neck"\nrole = "sharp"\nbox = [0.45, 0.1, 0.1, 0.125]\n'
        '\n[[zone]]\nname = "floor"\nrole = "backdrop"\npoints = [[0, 1], [1, 1], [0.5, 0.875]]\n'
    )


def test_a_zone_that_was_added_and_is_removed_leaves_the_text_as_it_was() -> None:
    added = edited(HAND, BEFORE, (*BEFORE, ZoneText(name="neck", role="sharp", box=(0.0, 0.0, 1.0, 1.0))))
    assert edited(added, zones_of(added), BEFORE) == HAND


def test_the_order_of_the_zones_in_the_sheet_is_kept() -> None:
    assert edited(HAND, BEFORE, (CARD, LABEL, RIM)) == HAND


def test_a_removed_zone_takes_its_tables_but_not_the_notes_above_the_first_zone() -> None:
    text = edited(HAND, BEFORE, (RIM, CARD))
    first = HAND.index("[[zone]]   # the paper one")
    assert text == HAND[:first] + HAND[HAND.index("\n# The rim catches") :]


def test_notes_above_the_first_zone_go_with_it_where_they_say_its_name() -> None:
    text = HAND.replace("# Zones of the front view:", "# The LABEL is paper:")
    assert edited(text, BEFORE, (RIM, CARD)).partition("# The rim")[0] == text.partition("# The LABEL")[0]
    other = HAND.replace("# Zones of the front view:", "# No labels here:")
    assert "# No labels here:" in edited(other, BEFORE, (RIM, CARD))


def test_a_removed_zone_takes_the_notes_directly_above_it() -> None:
    text = edited(HAND, BEFORE, (LABEL, CARD))
    assert text == HAND[: HAND.index("# The rim")] + HAND[HAND.index("# [[zone]]") :]


def test_a_removed_zone_leaves_what_is_commented_out_above_and_what_stands_below() -> None:
    text = edited(HAND, BEFORE, (LABEL, RIM))
    start, end = HAND.index("[[zone]]\nname = 'card'"), HAND.index("# lightness")
    assert text == HAND[:start] + HAND[end:]
    glued = HAND.replace("0.1, 0.1]\n\n[[zone]]", "0.1, 0.1]\n[[zone]]")
    assert "# box = [0.3, 0.8, 0.1, 0.1]\n# lightness" in edited(glued, BEFORE, (LABEL, RIM))


def test_a_note_that_hangs_on_the_zone_above_stays() -> None:
    text = HAND.replace("warn = 0.05   # as agreed\n\n#", "warn = 0.05   # as agreed\n#")
    assert "# The rim catches the lamp" in edited(text, BEFORE, (LABEL, CARD))


def test_a_removed_zone_takes_a_table_of_its_own_that_stands_elsewhere() -> None:
    text = (
        '[[zone]]\nname = "a"\nrole = "protect"\nbox = [0, 0, 1, 1]\n\n[set]\nname = "s"\n\n'
        '[zone.limits."highlights.headroom"]\nwarn = 0.5\n\n[limits]\n'
    )
    assert edited(text, zones_of(text), ()) == '[set]\nname = "s"\n\n[limits]\n'


def test_all_zones_may_go() -> None:
    text = edited(HAND, BEFORE, ())
    assert zones_of(text) == ()
    assert [line for line in text.splitlines() if line and not line.startswith("#")] == HAND.splitlines()[2:5]


@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_lines_end_as_those_of_the_sheet(end: str) -> None:
    text = HAND.replace("\n", end)
    new = ZoneText(name="neck", role="sharp", box=(0.45, 0.1, 0.1, 0.125))
    box = replace(RIM, points=None, box=(0.1, 0.1, 0.2, 0.2))
    after = edited(text, zones_of(text), (box, replace(CARD, lightness=60.0), new))
    assert after.count(end) == after.count("\n")
    assert [zone.name for zone in zones_of(after)] == ["rim", "card", "neck"]


def test_a_sheet_without_a_last_line_end_is_added_to() -> None:
    text = HAND.rstrip("\n")
    new = ZoneText(name="neck", role="sharp", box=(0.45, 0.1, 0.1, 0.125))
    assert edited(text, BEFORE, (*BEFORE, new)).startswith(text + "\n\n[[zone]]\n")


def test_text_with_dotted_and_quoted_keys_is_changed_in_its_place() -> None:
    text = (
        'set.name = "s"\nset.preset = "loose"\n[[ "zone" ]]\n"name" = "a"\n\'role\' =\t"protect"\n'
        'limits."highlights.headroom".warn = 0.5 # own\nbox=[0,0,1,1]#all\n'
    )
    (zone,) = before = zones_of(text)
    after = (replace(zone, name="b", role="protect", box=(0.0, 0.0, 1.0, 0.5)),)
    assert edited(text, before, after) == text.replace('"a"', '"b"').replace("[0,0,1,1]", "[0,0,1,0.5]")


@pytest.mark.parametrize(
    "name",
    [
        'a "quoted" \\ one',
        "'",
        '"""',
        "<script>alert(1)</script>",
        "two\nlines\r\n",
        "tab\t",
        "Hälfte ½ 瓶",
        "\u2028",
        "del\x7f\x00\x85",
        "[[zone]]",
        "# no note",
        "name = 1",
        " ",
    ],
)
def test_any_text_may_be_a_name(name: str) -> None:
    new = ZoneText(name=f"{name}2", role="sharp", box=(0.0, 0.0, 1.0, 1.0))
    text = edited(HAND, BEFORE, (replace(LABEL, name=name), RIM, CARD, new))
    before = zones_of(text)
    assert [zone.name for zone in before] == [name, "rim", "card", f"{name}2"]
    back = edited(text, before, (replace(before[0], name="label"), *before[1:3]))
    assert back == HAND


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("", "bottles: a zone has no name"),
        ("neck\ud800", "neck\\ud800: a name that is not text"),
        ("caf\udce9", "not text"),
    ],
)
def test_a_name_that_is_none_is_refused_in_one_line(name: str, said: str) -> None:
    for after in ((replace(LABEL, name=name), RIM, CARD), (*BEFORE, replace(LABEL, was=None, name=name))):
        with pytest.raises(UsageError) as caught:
            edited(HAND, BEFORE, after, path="bottles")
        assert said in str(caught.value)
        assert str(caught.value).isprintable()


def test_every_mistake_of_the_result_is_told_with_its_line_and_field() -> None:
    after = (
        replace(LABEL, box=(0.9, 0.0, 0.2, 0.2)),
        replace(RIM, role="shrp", budget=101.0),
        replace(CARD, name="two\nlines", lightness=float("nan")),
        ZoneText(name="two\nlines", role="sharp"),
    )
    with pytest.raises(SheetError) as caught:
        edited(HAND, BEFORE, after, path="bottles")
    told = str(caught.value).split("\n")
    assert [line.partition(" ")[0] for line in told] == ["bottles:"] * len(told)
    for number, said in (
        (11, 'zone "label", box: lies partly outside'),
        (19, 'zone "rim", role: "shrp" is none of'),
        (20, 'zone "rim", budget: '),
        (38, 'zone "two\\nlines", lightness: must be a number'),
        (44, 'zone "two\\nlines", name: another zone has this name'),
        (43, 'zone "two\\nlines": needs a box or points'),
    ):
        assert any(line.startswith(f"bottles: line {number}, {said}") for line in told), (number, said, told)


def test_a_zone_with_a_box_and_points_is_refused_as_the_sheet_would_be() -> None:
    with pytest.raises(SheetError, match="has both a box and points"):
        edited(HAND, BEFORE, (replace(LABEL, points=RIM.points), RIM, CARD))
    with pytest.raises(SheetError, match="needs a box or points"):
        edited(HAND, BEFORE, (replace(LABEL, box=None), RIM, CARD))


def test_limits_that_a_new_role_does_not_have_are_told() -> None:
    with pytest.raises(SheetError, match=r'line 13, zone "label", limits.*is not measured in a "moving" zone'):
        edited(HAND, BEFORE, (replace(LABEL, role="moving"), RIM, CARD))


def test_a_sheet_with_mistakes_is_not_edited() -> None:
    with pytest.raises(SheetError, match="did you mean"):
        edited(HAND.replace("preset", "preest"), BEFORE, BEFORE)


def test_a_zone_that_was_never_there_or_is_there_twice_is_refused() -> None:
    with pytest.raises(UsageError, match='zone "neck" was not in the sheet'):
        edited(HAND, BEFORE, (replace(LABEL, was="neck"),))
    with pytest.raises(UsageError, match='zone "label" is there twice'):
        edited(HAND, BEFORE, (LABEL, replace(LABEL, name="copy")))
    with pytest.raises(UsageError, match='zone "label" is not in the sheet'):
        edited("[set]\n", BEFORE, (RIM, CARD))


def test_the_text_of_a_new_sheet_takes_zones_and_gives_them_back() -> None:
    text = new_sheet_text("bottles", preset="loose")
    zone = ZoneText(name="label", role="protect", box=(0.1, 0.1, 0.25, 0.25))
    after = edited(text, (), (zone,))
    assert after.startswith(text)
    assert zones_of(after) == (replace(zone, was="label"),)
    assert edited(after, zones_of(after), ()) == text
