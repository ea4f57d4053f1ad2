"""The set sheet while a watch runs: found, read again, held as it last was good, with what was accepted on top."""

from __future__ import annotations

import itertools
import os
import re
import tempfile
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from qc.container.source import digest_of
from qc.errors import SheetError, UsageError
from qc.event import Event
from qc.intake.intent import Intent
from qc.reading import Level
from qc.sheet.accepted import Acceptance
from qc.sheet.accepted_file import with_accepted
from qc.sheet.find import find_sheet

GOOD = '[set]\nname = "bottles"\npreset = "series"\n'
ZONE = '[[zone]]\nname = "label"\nrole = "protect"\nbox = [0.4, 0.4, 0.2, 0.2]\n'
BAD = '[set]\nprest = "series"\nlight = "sun"\n'

ACCEPTED = Acceptance(
    reading="highlights.unintended_area",
    zone="label",
    value=0.7,
    bar=0.77,
    was=0.2,
    capture="SB_0042.dng",
    content="blake2b:42",
    at="2026-11-25T10:12:03.250+01:00",
)

_LATER = itertools.count()


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    folder = tmp_path / "day" / "bottles"
    folder.mkdir(parents=True)
    folder.with_name("bottles.qc").mkdir()
    return folder


@pytest.fixture
def out(folder: Path) -> Path:
    return folder.with_name("bottles.qc")


def write(path: Path, text: str) -> Path:
    """Write a file that nobody is still writing: its time lies in the past, later with each call."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(text)
    then = time.time() - 100_000 + next(_LATER)
    os.utime(path, (then, then))
    return path


def texts(events: list[Event]) -> list[str]:
    return [event.text for event in events]


def name(intent: Intent, capture: Path) -> str | None:
    sheet = intent.for_capture(capture)
    return None if sheet is None else sheet.name


# which sheet


def test_without_a_sheet_there_is_no_intent(folder: Path, out: Path) -> None:
    intent = Intent(folder, out)
    assert (intent.sheet, intent.text, intent.refresh()) == (None, "", [])


def test_the_sheet_in_the_output_folder_holds_for_every_capture_inside(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    for capture in (folder / "SB_0001.dng", folder / "inside" / "deep" / "SB_0002.dng"):
        assert name(intent, capture) == "bottles"
        assert intent.for_capture(capture) == find_sheet(capture)
    assert intent.text == GOOD


def test_an_output_folder_elsewhere_may_hold_the_sheet(folder: Path, tmp_path: Path) -> None:
    write(tmp_path / "else" / "a.set.toml", GOOD)
    assert name(Intent(folder, tmp_path / "else"), folder / "SB_0001.dng") == "bottles"


def test_a_named_sheet_goes_before_any_that_could_be_found(folder: Path, out: Path, tmp_path: Path) -> None:
    write(out / "a.set.toml", GOOD)
    named = write(tmp_path / "named.toml", GOOD.replace("bottles", "named"))
    assert name(Intent(folder, out, sheet=named), folder / "SB_0001.dng") == "named"


def test_sheets_that_divide_a_folder_each_hold_for_their_captures(folder: Path, out: Path) -> None:
    write(folder / "front.set.toml", '[set]\nname = "front"\ncaptures = "SB_00*"\n')
    write(folder / "back.set.toml", '[set]\nname = "back"\ncaptures = "SB_01*"\n')
    intent = Intent(folder, out)
    for_all = intent.sheet
    assert for_all is None
    assert name(intent, folder / "SB_0012.dng") == "front"
    assert intent.sheet is not None
    assert intent.sheet.name == "front"
    assert name(intent, folder / "SB_0112.dng") == "back"
    assert name(intent, folder / "SB_0212.dng") is None


def test_two_sheets_for_the_whole_folder_are_refused_at_the_start(folder: Path, out: Path) -> None:
    write(folder / "one.set.toml", GOOD)
    write(folder / "two.set.toml", GOOD)
    with pytest.raises(UsageError, match=r"one\.set\.toml and .*two\.set\.toml"):
        Intent(folder, out)


@pytest.mark.parametrize("named", [True, False])
def test_a_bad_sheet_is_refused_at_the_start_with_every_mistake(folder: Path, out: Path, named: bool) -> None:
    sheet = write(out / "a.set.toml", BAD)
    with pytest.raises(SheetError) as caught:
        Intent(folder, out, sheet=sheet if named else None)
    assert len(caught.value.problems) == 2


def test_a_named_sheet_that_is_not_there_is_refused_at_the_start(folder: Path, out: Path) -> None:
    with pytest.raises(SheetError, match="No such file"):
        Intent(folder, out, sheet=folder / "no.set.toml")


def test_a_bad_sheet_farther_up_than_the_one_that_holds_does_no_harm(folder: Path, out: Path) -> None:
    write(folder.parent / "old.set.toml", BAD)
    write(folder / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    assert name(intent, folder / "SB_0001.dng") == "bottles"
    assert intent.refresh() == []


# changes during the watch


def test_a_sheet_that_changes_is_read_again_and_what_changed_is_said(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    before = intent.for_capture(folder / "SB_0001.dng")
    assert intent.refresh() == []
    write(sheet, GOOD.replace("series", "strict") + ZONE)
    assert intent.sheet == before  # only `refresh` takes a change up, so that it is never unsaid
    (event,) = intent.refresh()
    assert event.kind == "sheet_changed"
    assert event.text == (
        "set sheet a.set.toml changed: preset series → strict; zone label (protect) is new;"
        " holds from the next frame"
    )
    assert event.data["changes"] == ["preset series → strict", "zone label (protect) is new"]
    assert intent.sheet is not None
    assert intent.sheet.preset == "strict"
    assert intent.refresh() == []
    assert intent.text_of(before) == GOOD  # a frame that was judged by the old one is logged with the old text


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("box = [0.4", "box = [0.5", "zone label moved"),
        ('role = "protect"', 'role = "sharp"', "zone label: protect → sharp"),
        ('name = "label"', 'name = "neck"', "zone label is gone; zone neck (protect) is new"),
        ('preset = "series"\n', "", "preset series → none"),
        (
            "[[zone]]",
            '[limits."sharpness.blur"]\nwarn = 2\n[[zone]]',
            "frame: blur: the preset's → warn 2",
        ),
        ("[[zone]]", 'needs = ["dark", "patch"]\n[[zone]]', "needs none → dark, patch"),
    ],
)
def test_each_change_has_its_words(folder: Path, out: Path, old: str, new: str, said: str) -> None:
    sheet = write(out / "a.set.toml", GOOD + ZONE)
    intent = Intent(folder, out)
    write(sheet, (GOOD + ZONE).replace(old, new))
    assert texts(intent.refresh()) == [f"set sheet a.set.toml changed: {said}; holds from the next frame"]


def test_many_changes_are_three_and_a_count(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    write(sheet, GOOD + "magnification = 0.1\ncircle_px = 3\npixel_pitch_um = 4\nbaseline = 'SB_0001.dng'\n")
    (text,) = texts(intent.refresh())
    assert "; and 1 more; holds" in text


def test_a_comment_or_a_touch_is_no_change(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    write(sheet, GOOD)
    assert intent.refresh() == []
    write(sheet, GOOD + "# asked by the art director\n")
    assert intent.refresh() == []


def test_a_sheet_that_gets_mistakes_is_said_once_with_all_of_them_and_the_last_good_one_holds(
    folder: Path, out: Path
) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    write(sheet, BAD)
    (event,) = intent.refresh()
    assert (event.kind, event.level) == ("sheet_bad", Level.WARN)
    assert re.search(r", the one read at \d\d:\d\d holds: line 2, set, prest: unknown key", event.text)
    assert len(event.data["problems"]) == 2
    assert name(intent, folder / "SB_0001.dng") == "bottles"
    assert intent.refresh() == []
    write(sheet, GOOD)
    assert texts(intent.refresh()) == ["set sheet a.set.toml is good again; nothing in it changed"]
    write(sheet, BAD)
    assert len(intent.refresh()) == 1
    write(sheet, GOOD.replace("series", "loose"))
    assert "preset series → loose" in intent.refresh()[0].text


def test_a_sheet_that_appears_is_taken_up_and_one_that_is_bad_from_the_first_is_not(
    folder: Path, out: Path
) -> None:
    intent = Intent(folder, out)
    sheet = write(out / "a.set.toml", BAD)
    (event,) = intent.refresh()
    assert event.kind == "sheet_bad"
    assert "it is not used" in event.text
    assert intent.sheet is None
    write(sheet, GOOD)
    assert texts(intent.refresh()) == ["set sheet a.set.toml found; holds from the next frame"]
    assert name(intent, folder / "SB_0001.dng") == "bottles"


def test_a_sheet_that_is_deleted_goes_on_to_hold_and_that_is_said_once(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    sheet.unlink()
    (event,) = intent.refresh()
    assert event.kind == "sheet_bad"
    assert re.fullmatch(r"set sheet a\.set\.toml is gone: the one read at \d\d:\d\d holds", event.text)
    assert intent.refresh() == []
    assert name(intent, folder / "SB_0001.dng") == "bottles"
    write(sheet, GOOD)
    assert texts(intent.refresh()) == ["set sheet a.set.toml is good again; nothing in it changed"]


def test_a_sheet_under_another_name_takes_over_from_the_one_that_went(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    sheet.unlink()
    write(out / "b.set.toml", GOOD.replace("bottles", "renamed"))
    assert len(intent.refresh()) == 2
    assert name(intent, folder / "SB_0001.dng") == "renamed"


def test_two_sheets_are_one_story_from_the_second_that_appears_to_the_one_that_is_left(
    folder: Path, out: Path
) -> None:
    one = write(out / "one.set.toml", GOOD)
    intent = Intent(folder, out)
    two = write(out / "two.set.toml", GOOD.replace("bottles", "other"))
    (event,) = intent.refresh()
    trouble = "one.set.toml and two.set.toml both hold here: one.set.toml, which held before, goes on"
    assert (event.kind, event.level) == ("sheet_bad", Level.WARN)
    assert event.text == (
        f"set sheet two.set.toml found; but {trouble}; take one away or divide them by 'captures'"
    )
    for capture in ("SB_0002.dng", "inside/SB_0003.dng"):
        assert name(intent, folder / capture) == "bottles"
    assert (intent.refresh(), intent.trouble) == ([], trouble)
    two.unlink()
    assert texts(intent.refresh()) == ["set sheet two.set.toml is gone; one.set.toml holds"]
    assert (name(intent, folder / "SB_0004.dng"), intent.trouble) == ("bottles", None)
    write(two, GOOD.replace("bottles", "other"))
    assert texts(intent.refresh()) == [
        f"set sheet two.set.toml is good again; nothing in it changed; but {trouble};"
        " take one away or divide them by 'captures'"
    ]
    one.unlink()
    assert texts(intent.refresh()) == ["set sheet one.set.toml is gone; two.set.toml holds from the next frame"]
    assert (name(intent, folder / "SB_0005.dng"), intent.trouble) == ("other", None)


def test_two_sheets_that_appear_together_where_none_held_are_both_not_used(folder: Path, out: Path) -> None:
    intent = Intent(folder, out)
    for stem in ("one", "two"):
        write(out / f"{stem}.set.toml", GOOD.replace("bottles", stem))
    said = "one.set.toml and two.set.toml both hold here: none of them is used"
    assert all(said in event.text and event.kind == "sheet_bad" for event in intent.refresh())
    assert (intent.trouble, name(intent, folder / "SB_0001.dng"), intent.refresh()) == (said, None, [])
    (out / "one.set.toml").unlink()
    assert texts(intent.refresh()) == ["set sheet one.set.toml is gone; two.set.toml holds"]
    assert name(intent, folder / "SB_0001.dng") == "two"


def test_sheets_that_are_divided_after_all_end_the_trouble(folder: Path, out: Path) -> None:
    one, two = (write(out / "one.set.toml", GOOD), out / "two.set.toml")
    intent = Intent(folder, out)
    write(two, GOOD.replace("bottles", "other"))
    intent.refresh()
    write(two, GOOD.replace("bottles", "other") + 'captures = "SB_01*"\n')
    assert "captures none → SB_01*; but one.set.toml and two" in intent.refresh()[0].text
    write(one, GOOD + 'captures = "SB_00*"\n')
    assert texts(intent.refresh()) == [
        "set sheet one.set.toml changed: captures none → SB_00*; holds from the next frame"
    ]
    assert intent.trouble is None
    assert [name(intent, folder / f"SB_0{n}01.dng") for n in (0, 1)] == ["bottles", "other"]


def test_patterns_that_meet_at_a_capture_are_said_once(folder: Path, out: Path) -> None:
    write(out / "one.set.toml", GOOD + 'captures = "SB_*"\n')
    write(out / "two.set.toml", GOOD.replace("bottles", "other") + 'captures = "*1.dng"\n')
    intent = Intent(folder, out)
    assert name(intent, folder / "SB_0002.dng") == "bottles"
    assert name(intent, folder / "SB_0001.dng") == "bottles"
    (event,) = intent.refresh()
    assert "one.set.toml, which held before, goes on; take one away or divide" in event.text
    assert name(intent, folder / "SB_0011.dng") == "bottles"
    assert intent.refresh() == []


def test_a_nearer_sheet_takes_over_and_a_farther_one_does_not(folder: Path, out: Path) -> None:
    write(folder / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    near = write(out / "near.set.toml", GOOD.replace("bottles", "near"))
    assert texts(intent.refresh()) == [
        "set sheet near.set.toml found; holds from the next frame in place of a.set.toml"
    ]
    assert name(intent, folder / "SB_0001.dng") == "near"
    write(folder / "b.set.toml", GOOD.replace("bottles", "b"))
    (event,) = intent.refresh()
    assert event.text.startswith("set sheet b.set.toml found; but a.set.toml and b.set.toml both hold here")
    (folder / "b.set.toml").unlink()
    assert texts(intent.refresh()) == ["set sheet b.set.toml is gone; near.set.toml holds"]
    near.unlink()
    assert texts(intent.refresh()) == ["set sheet near.set.toml is gone; a.set.toml holds from the next frame"]
    assert (name(intent, folder / "SB_0001.dng"), intent.trouble) == ("bottles", None)


def test_a_sheet_inside_says_for_which_captures_it_is(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    intent.for_capture(folder / "inside" / "SB_0001.dng")
    write(folder / "inside" / "b.set.toml", GOOD.replace("bottles", "b"))
    assert texts(intent.refresh()) == ["set sheet b.set.toml found; holds from the next frame in inside"]
    assert [name(intent, folder / n) for n in ("SB_0002.dng", "inside/SB_0003.dng")] == ["bottles", "b"]


def trouble(intent: Intent) -> str | None:
    """Look again, and return the standing trouble with its time left out."""
    intent.refresh()
    return None if intent.trouble is None else re.sub(r"\d\d:\d\d", "10:02", intent.trouble)


def test_trouble_stands_as_long_as_it_lasts(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    assert trouble(intent) is None
    write(sheet, BAD)
    assert trouble(intent) == trouble(intent) == "a.set.toml has mistakes: the one read at 10:02 holds"
    sheet.unlink()
    assert trouble(intent) == "a.set.toml is gone: the one read at 10:02 holds"
    write(sheet, GOOD)
    assert trouble(intent) is None
    other = write(out / "b.set.toml", BAD)
    assert trouble(intent) == "b.set.toml has mistakes: it is not used"
    other.unlink()
    accepted = write(out / "a.accepted.toml", "[[accepted]]\n")
    assert trouble(intent) == "a.accepted.toml has mistakes: what was accepted before holds"
    accepted.unlink()
    assert trouble(intent) is None


def test_two_that_are_left_where_the_one_that_held_went_are_both_not_used(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    for stem in ("b", "c"):
        write(out / f"{stem}.set.toml", GOOD)
    assert "a.set.toml, b.set.toml and c.set.toml all hold here: a.set.toml, which" in intent.refresh()[0].text
    (out / "a.set.toml").unlink()
    said = "b.set.toml and c.set.toml both hold here: none of them is used"
    assert texts(intent.refresh()) == [
        f"set sheet a.set.toml is gone; {said}; take one away or divide them by 'captures'"
    ]
    assert (name(intent, folder / "SB_0001.dng"), intent.trouble, intent.refresh()) == (None, said, [])


@settings(max_examples=80, deadline=None)
@given(st.lists(st.tuples(st.sampled_from(["a", "b", "c"]), st.sampled_from([GOOD, BAD, None])), max_size=8))
def test_what_is_said_to_hold_is_what_holds(steps: list[tuple[str, str | None]]) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder, out = Path(place) / "bottles", Path(place) / "bottles.qc"
        folder.mkdir()
        out.mkdir()
        intent = Intent(folder, out)
        who = "(?:, which held before, goes on| holds| (?:is gone|has mistakes)[:,] the one read)"
        for stem, text in steps:
            sheet = out / f"{stem}.set.toml"
            if text is None:
                sheet.unlink(missing_ok=True)
            else:
                write(sheet, text.replace("bottles", stem))
            said = texts(intent.refresh())
            holds = name(intent, folder / "SB_0001.dng")
            told = "; ".join([*said, intent.trouble or ""])
            for claimed in re.findall(rf"(\w)\.set\.toml{who}", told):
                assert claimed == holds
            for claimed in re.findall(r"(\w)\.set\.toml found; holds", told):
                assert claimed == holds
            if "none of them is used" in told:
                assert holds is None
            assert intent.refresh() == []


def test_an_output_folder_that_vanishes_takes_nothing_away(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    write(out / "a.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out)
    before = intent.sheet
    out.rename(out.with_name("elsewhere"))
    assert [event.kind for event in intent.refresh()] == ["sheet_bad"]
    assert intent.sheet == before


def test_a_sheet_that_is_being_written_is_read_at_the_next_look(folder: Path, out: Path) -> None:
    sheet = write(out / "a.set.toml", GOOD)
    intent = Intent(folder, out)
    sheet.write_text("")  # an editor empties the file before it fills it
    assert intent.refresh() == []
    sheet.write_text(GOOD.replace("series", "strict"))
    assert intent.refresh() == []
    assert "series → strict" in intent.refresh()[0].text


STATES = {"one": GOOD, "two": GOOD.replace("bottles", "vases"), "bad": BAD, "odd": BAD + "x = 1\n", "gone": None}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.sampled_from(sorted(STATES)), max_size=8))
def test_whatever_happens_to_a_sheet_its_last_good_state_holds_and_each_change_is_said_once(
    states: list[str],
) -> None:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "bottles"
        folder.mkdir()
        sheet = write(folder / "a.set.toml", GOOD)
        intent = Intent(folder, Path(place) / "bottles.qc")
        there, holds = "one", "bottles"
        for state in states:
            text = STATES[state]
            if text is None:
                sheet.unlink(missing_ok=True)
            else:
                write(sheet, text)
            assert len(intent.refresh()) == (state != there)
            assert intent.refresh() == []
            there, holds = state, {"one": "bottles", "two": "vases"}.get(state, holds)
            assert name(intent, folder / "SB_0001.dng") == holds


# what was accepted


def test_what_was_accepted_is_part_of_the_sheet_its_digest_and_its_text(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    write(out / "a.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out)
    assert intent.sheet is not None
    assert intent.sheet.accepted == (ACCEPTED,)
    assert intent.text.startswith(GOOD + ZONE)
    assert 'capture = "SB_0042.dng"' in intent.text
    assert intent.sheet.digest == digest_of(intent.text.encode())
    assert intent.refresh() == []


def test_an_acceptance_made_meanwhile_holds_at_once_and_taking_it_back_gives_the_same_digest(
    folder: Path, out: Path
) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    intent = Intent(folder, out)
    before = intent.for_capture(folder / "SB_0001.dng")
    accepted = out / "a.accepted.toml"
    accepted.write_text(with_accepted("", ACCEPTED))
    (event,) = intent.refresh()
    assert (event.kind, event.data["accepted"]) == ("sheet_changed", True)
    assert event.text == ("accepted: label burnt up to 0.77 %, from SB_0042.dng; holds from the next frame")
    assert intent.sheet is not None
    assert before is not None
    assert intent.sheet.digest != before.digest
    accepted.unlink()
    assert texts(intent.refresh()) == ["a.accepted.toml is gone: nothing is accepted any more"]
    assert intent.sheet == before


def test_only_what_the_log_has_not_told_is_said_of_acceptances(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    intent = Intent(folder, out)
    intent.for_capture(folder / "SB_0001.dng")
    act = Event(kind="accepted", at=ACCEPTED.at, text="")
    accepted = write(out / "a.accepted.toml", with_accepted("", ACCEPTED))
    assert intent.refresh([act]) == []
    write(accepted, with_accepted("", ACCEPTED).replace("bar = 0.77", "bar = 0.9"))  # by hand
    assert texts(intent.refresh([act])) == [
        "accepted otherwise: label burnt up to 0.90 % (was 0.77), from SB_0042.dng; holds from the next frame"
    ]
    write(accepted, "")  # by hand
    assert texts(intent.refresh([act])) == [
        "not accepted any more: label burnt up to 0.90 %, from SB_0042.dng; holds from the next frame"
    ]
    write(accepted, with_accepted("", ACCEPTED))
    assert len(intent.refresh([])) == 1  # by hand: the log has none
    write(accepted, "")
    assert intent.refresh([]) == []  # taken back in the log


def test_acceptances_belong_to_one_set_only(folder: Path, out: Path) -> None:
    write(folder / "front.set.toml", '[set]\nname = "front"\ncaptures = "SB_00*"\n')
    write(folder / "back.set.toml", '[set]\nname = "back"\ncaptures = "SB_01*"\n')
    write(out / "front.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out)
    front, back = intent.for_capture(folder / "SB_0001.dng"), intent.for_capture(folder / "SB_0101.dng")
    assert front is not None
    assert back is not None
    assert (front.accepted, back.accepted) == ((ACCEPTED,), ())
    assert intent.accepted_path(folder / "SB_0101.dng") == out / "back.accepted.toml"


def test_acceptances_hold_without_a_sheet(folder: Path, out: Path) -> None:
    write(out / "set.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out, preset="series")
    assert intent.sheet is not None
    assert (intent.sheet.accepted, intent.sheet.preset, intent.sheet.path) == ((ACCEPTED,), "series", None)


def test_what_was_accepted_without_a_sheet_is_not_applied_with_one_and_that_is_said(
    folder: Path, out: Path
) -> None:
    write(out / "set.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out, preset="series")
    write(out / "a.set.toml", GOOD + ZONE)
    assert texts(intent.refresh()) == [
        "set sheet a.set.toml found; holds from the next frame",
        "1 acceptance made without a sheet (set.accepted.toml) is not applied with a.set.toml",
    ]
    assert intent.sheet is not None
    assert (intent.sheet.accepted, intent.refresh()) == ((), [])


def test_mistakes_in_what_was_accepted_are_refused_at_the_start_and_held_off_later(
    folder: Path, out: Path
) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    accepted = write(out / "a.accepted.toml", with_accepted("", ACCEPTED))
    intent = Intent(folder, out)
    write(accepted, "[[accepted]]\nreading = 'sharpness.blr'\n")
    (event,) = intent.refresh()
    assert event.kind == "sheet_bad"
    assert event.text.startswith(
        "a.accepted.toml has mistakes, what was accepted before holds: line 1, accepted 1"
    )
    assert intent.sheet is not None
    assert intent.sheet.accepted == (ACCEPTED,)
    with pytest.raises(SheetError, match=r"a\.accepted\.toml: line 2, accepted 1, reading"):
        Intent(folder, out)


def test_nothing_is_ever_written_by_looking(folder: Path, out: Path) -> None:
    write(out / "a.set.toml", GOOD + ZONE)
    before = {path: path.stat().st_mtime_ns for path in folder.parent.rglob("*")}
    intent = Intent(folder, out)
    intent.for_capture(folder / "x" / "SB_0001.dng")
    intent.refresh()
    assert {path: path.stat().st_mtime_ns for path in folder.parent.rglob("*")} == before
