"""The set sheets of a day come back from the texts that its log kept, with what was accepted."""

from __future__ import annotations

from qc.series.wrap.sheets import UNNAMED, set_of, sets_of, sheet_of, sheets_of, unread_of
from tests.series.wrap.days import SHEET, day, in_sets, logged

ACCEPTED = """\
# What captures of this set showed.

[[accepted]]
reading = "highlights.unintended_area"
value = 0.31
bar = 0.4
at = 2026-11-25T10:00:00.000+00:00
capture = "SB_0002.dng"
"""

ON_ONE_LINE = (
    'accepted = [{reading = "highlights.unintended_area", value = 0.31, bar = 0.4, '
    'at = 2026-11-25T10:00:00.000+00:00, capture = "SB_0002.dng"}]\n'
)


ZONE = '\n[[zone]]\nname = "a"\nrole = "protect"\nbox = [0, 0, 1, 1]\n\n'


def test_a_sheet_is_read_from_the_text_the_log_kept_and_known_by_its_digest() -> None:
    one = day([in_sets(logged(1), name="Stoneware bottles, front")])
    sheets = sheets_of(one)
    assert list(sheets) == ["blake2b:5e"]
    sheet = sheets["blake2b:5e"]
    assert (sheet.name, sheet.digest, sheet.path) == ("Stoneware bottles, front", "blake2b:5e", None)
    assert sheet_of(one.captures[0], sheets) is sheet
    assert unread_of(one) == {}


def test_what_was_accepted_stands_behind_the_typed_part() -> None:
    for accepted in (ACCEPTED, ON_ONE_LINE):
        one = day(
            [
                in_sets(
                    logged(1),
                    SHEET + '\n[[zone]]\nname = "a"\nrole = "protect"\nbox = [0, 0, 1, 1]\n\n' + accepted,
                )
            ]
        )
        (sheet,) = sheets_of(one).values()
        assert [zone.name for zone in sheet.zones] == ["a"]
        assert [(a.reading, a.bar, a.capture) for a in sheet.accepted] == [
            ("highlights.unintended_area", 0.4, "SB_0002.dng")
        ]


def test_what_was_accepted_without_a_sheet_is_a_sheet_of_its_own() -> None:
    one = day([in_sets(logged(1), ACCEPTED)])
    (sheet,) = sheets_of(one).values()
    assert (sheet.name, len(sheet.accepted)) == (None, 1)
    assert set_of(one.captures[0], sheets_of(one)) == UNNAMED


def test_a_text_that_is_no_sheet_any_more_is_said_in_one_line_and_its_set_keeps_its_name() -> None:
    one = day([in_sets(logged(1), '[set]\nname = "Bottles"\nlamps = 3\nneeds = ["ladder"]\n', name="Bottles")])
    assert sheets_of(one) == {}
    (reason,) = unread_of(one).values()
    assert reason.startswith("Bottles: line 3")
    assert "lamps" in reason
    assert "\n" not in reason
    assert set_of(one.captures[0], {}) == "Bottles"


def test_captures_without_a_sheet_are_one_set() -> None:
    one = day([logged(1), logged(2)])
    assert sheets_of(one) == {}
    (group,) = sets_of(one, {})
    assert (group.name, group.sheet, len(group.captures)) == (UNNAMED, None, 2)


def test_sets_come_in_the_order_of_their_first_capture_and_a_sheet_that_changed_leaves_one_set() -> None:
    front = "Stoneware bottles, front"
    later = SHEET + 'needs = ["dark"]\n'
    one = day(
        [
            in_sets(logged(1), name=front),
            in_sets(logged(2), '[set]\ncaptures = "SB_00*"\n', digest="blake2b:02"),
            in_sets(logged(3), later, digest="blake2b:03", name=front),
        ]
    )
    sets = sets_of(one, sheets_of(one))
    assert [(s.name, [t.entry.name for t in s.captures]) for s in sets] == [
        (front, ["SB_0001.dng", "SB_0003.dng"]),
        ("SB_00*", ["SB_0002.dng"]),
    ]
    assert sets[0].sheet is not None
    assert sets[0].sheet.needs == ("dark",)
