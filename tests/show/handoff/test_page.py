"""The photographer's page: what to shoot again and why, what is missing or accepted; nothing that passed."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

from qc.day import Day, DayFinding
from qc.event import Event
from qc.log.rows import Logged
from qc.measure import specs
from qc.reading import Level, Reading, Unit
from qc.result import Cause, Verdict
from qc.series.entry import Purpose
from qc.sheet.accepted import Acceptance
from qc.show.handoff.page import Page, pages_of, photographer_html
from tests.log.made import content
from tests.show.handoff.days import DIGEST, SHEET, SHEETS, burnt, cause, day, frame
from tests.show.results import result


def page(of: Day, sheets: Any = SHEETS) -> Page:
    (one,) = pages_of(of, sheets=sheets, specs=specs())
    return one


def of_file(level: Level, text: str) -> Verdict:
    state = Cause(reading="file.state", zone=None, level=level, limit=None, origin="always", text=text)
    return Verdict(level=level, causes=(state,))


def told(asks: Any) -> list[tuple[str, tuple[str, ...]]]:
    return [(ask.text, tuple(map(str, ask.frames))) for ask in asks]


def warned(number: int, *causes: Cause, **changes: Any) -> Logged:
    return frame(number, verdict=Verdict(level=causes[0].level, causes=causes), **changes)


def event(kind: str, number: int, text: str, data: dict[str, Any]) -> Event:
    at = f"2026-11-25T10:{number:02}:00.000+01:00"
    return Event(kind=kind, at=at, text=text, name=f"SB_{number:04}.dng", content=content(number), data=data)


def accepted(number: int, bar: float = 0.77) -> Event:
    data = {"reading": "highlights.unintended_area", "zone": "label", "value": 0.7, "bar": bar, "was": 0.2}
    return event("accepted", number, "accepted", data | {"file": "x.accepted.toml"})


def test_a_cause_is_told_once_with_its_frames_and_the_worst_of_its_numbers() -> None:
    of = day(frame(1), burnt(2, 0.31), frame(3), burnt(4, 0.25), burnt(5, 0.43), burnt(6, 0.22))
    runs = ("SB_0002.dng, 09:00", "SB_0004.dng to SB_0006.dng, 09:00, 3 frames")
    assert told(page(of).again) == [("label burnt 0.43 % at worst", runs)]
    assert page(of).again[0].count == 4


def test_what_passed_and_what_is_only_a_note_is_not_on_the_page() -> None:
    noted = warned(3, cause(Level.NOTE, "label burnt 0.02 %"))
    html = b"".join(photographer_html(day(frame(1), burnt(2, 0.31), noted), sheets=SHEETS, specs=specs())).decode()
    assert "SB_0002.dng" in html
    assert "SB_0001.dng" not in html
    assert "SB_0003.dng" not in html


def test_a_frame_to_shoot_again_is_not_to_be_looked_at_too_but_what_changed_before_it_is_told() -> None:
    soft = cause(Level.WARN, "label blur 2.1 px", "sharpness.blur")
    changed = Cause(
        reading="settings_changed",
        zone=None,
        level=Level.WARN,
        limit=None,
        origin="series",
        text="aperture f/11 to f/8",
    )
    both = warned(1, cause(Level.HALT, "label burnt 0.31 %"), soft)
    of = day(both, warned(2, soft))
    standing = replace(of.captures[0].standing, causes=(*of.captures[0].standing.causes, changed))
    of = replace(of, captures=(replace(of.captures[0], standing=standing), of.captures[1]))
    assert told(page(of).look) == [
        ("aperture f/11 to f/8", ("SB_0001.dng, 09:00",)),
        ("label blur 2.1 px", ("SB_0002.dng, 09:00",)),
    ]


def test_of_one_measurement_in_one_zone_a_frame_is_asked_for_once() -> None:
    wide = cause(Level.WARN, "label blur 2.1 px", "sharpness.blur")
    long = cause(Level.WARN, "label blur 2.4 px along its longest", "sharpness.blur_major")
    elsewhere = replace(cause(Level.WARN, "seal blur 1.9 px", "sharpness.blur"), zone="seal")
    of = day(warned(1, wide, long, elsewhere), warned(2, long))
    assert sorted(told(page(of).look)) == [
        ("label blur 2.1 px", ("SB_0001.dng, 09:00",)),
        ("label blur 2.4 px along its longest", ("SB_0002.dng, 09:00",)),
        ("seal blur 1.9 px", ("SB_0001.dng, 09:00",)),
    ]


def test_a_file_that_did_not_arrive_whole_comes_first_and_is_said_in_words() -> None:
    state = Cause(
        reading="file.state",
        zone=None,
        level=Level.HALT,
        limit=None,
        origin="always",
        text="truncated: 5 of 9 bytes",
    )
    cut = frame(2, state="truncated", verdict=Verdict(level=Level.HALT, causes=(state,)))
    again = told(page(day(burnt(1, 0.31), cut)).again)
    assert [text for text, _ in again] == ["truncated: the file ends before its data does", "label burnt 0.31 %"]


def test_a_cause_of_the_ambient_test_says_so() -> None:
    bright = cause(Level.HALT, "3.1 stops under the flash", "ambient.stops_under", None)
    reading = Reading(name="ambient.stops_under", unit=Unit.STOPS, value=3.1)
    test = result(
        None, schema="qc.ambient/1", readings=(reading,), verdict=Verdict(level=Level.HALT, causes=(bright,))
    )
    dark = replace(frame(1), ambient=test, ambient_lit=content(2))
    of = day(dark, frame(2), SB_0001={"purpose": Purpose.DARK, "ambient": test.verdict})
    assert told(page(of).again) == [("ambient test: 3.1 stops under the flash", ("SB_0001.dng, 09:00",))]


def test_a_frame_left_out_is_neither_counted_nor_to_be_shot_again() -> None:
    one = page(day(burnt(1, 0.31), frame(2), SB_0001={"purpose": Purpose.LEAVE_OUT}))
    assert (one.count, one.again, one.look) == (1, (), ())


def test_what_is_missing_is_told_on_one_page_only_where_somebody_should_act() -> None:
    other = frame(3, sheet_name="Jug", sheet_digest="blake2b:77")
    findings = (
        DayFinding(
            code="numbers_missing", level=Level.WARN, text="SB_0002 missing", contents=(content(1), content(3))
        ),
        DayFinding(code="still_needed", level=Level.WARN, text="Jug needs a patch", data={"set": "Jug"}),
        DayFinding(code="no_time", level=Level.NOTE, text="no time"),
        DayFinding(code="sheet_unread", level=Level.WARN, text="of no set"),
    )
    pages = pages_of(day(frame(1), other, findings=findings), sheets=SHEETS, specs=specs())
    assert [(p.name, [f.text for f in p.missing]) for p in pages] == [
        ("Stoneware bottles, front", ["SB_0002 missing"]),
        ("Jug", ["Jug needs a patch"]),
        ("The whole day", ["of no set"]),
    ]


def test_files_that_nobody_could_look_at_are_named() -> None:
    unknown = frame(2, state="unsupported", verdict=of_file(Level.UNMEASURED, "unsupported"))
    assert list(map(str, page(day(frame(1), unknown)).unread)) == ["SB_0002.dng, 09:00"]


def test_an_acceptance_is_told_with_its_limit_its_frame_and_its_time() -> None:
    one = page(day(frame(1), frame(2), events=(accepted(2),)))
    assert [(a.text, a.frame, a.clock) for a in one.accepted] == [
        ("label burnt up to 0.77 %; the limit was 0.20", "SB_0002.dng", "10:02")
    ]


LABEL: dict[str, Any] = {"answered": frozenset({("highlights.unintended_area", "label")})}


def html_of(of: Day) -> str:
    return b"".join(photographer_html(of, sheets=SHEETS, specs=specs())).decode()


def test_what_was_answered_on_set_is_listed_once_and_not_as_nothing_to_shoot_again() -> None:
    text = "answered: label burnt 0.31 %, for SB_0002.dng only"
    answered = event("answered", 2, text, {"reading": "highlights.unintended_area", "zone": "label"})
    of = day(frame(1), burnt(2, 0.31), events=(answered,), SB_0002=LABEL)
    one = page(of)
    assert (one.again, one.look, one.accepted) == ((), (), ())
    assert told(one.seen) == [("label burnt 0.31 %", ("SB_0002.dng, 09:00",))]
    html = html_of(of)
    assert "Nothing to shoot again" not in html
    assert "Seen on set, to be shot again if it was not" in html
    assert (html.count("SB_0002.dng"), html.count("label burnt")) == (1, 1)


def test_frames_answered_for_one_cause_are_told_together_and_the_others_stay_to_be_shot_again() -> None:
    one = page(day(burnt(1, 0.25), burnt(2, 0.31), burnt(3, 0.43), burnt(4, 0.2), SB_0002=LABEL, SB_0003=LABEL))
    assert told(one.seen) == [("label burnt 0.43 % at worst", ("SB_0002.dng, 09:00", "SB_0003.dng, 09:00"))]
    assert told(one.again) == [("label burnt 0.25 % at worst", ("SB_0001.dng, 09:00", "SB_0004.dng, 09:00"))]


def test_what_was_answered_is_told_of_a_frame_that_something_else_stands_against_too() -> None:
    graver = cause(Level.HALT, "seal blur 2.1 px", "sharpness.blur")
    milder = cause(Level.NOTE, "label burnt 0.01 % in red", "highlights.clipped_red")
    both = warned(1, cause(Level.HALT, "label burnt 0.31 %"), graver, milder)
    one = page(day(both, SB_0001=LABEL))
    assert told(one.again) == [("seal blur 2.1 px", ("SB_0001.dng, 09:00",))]
    assert told(one.seen) == [("label burnt 0.31 %", ("SB_0001.dng, 09:00",))]


def test_of_one_fault_that_was_answered_in_two_numbers_the_first_is_told() -> None:
    second = cause(Level.HALT, "label burnt in one place 0.2 %", "highlights.largest_region")
    places = LABEL["answered"] | {("highlights.largest_region", "label")}
    one = page(day(warned(1, cause(Level.HALT, "label burnt 0.31 %"), second), SB_0001={"answered": places}))
    assert told(one.seen) == [("label burnt 0.31 %", ("SB_0001.dng, 09:00",))]


def test_an_accepted_frame_and_one_left_out_are_nothing_to_shoot_again() -> None:
    place = LABEL["answered"]
    left_out = {"purpose": Purpose.LEAVE_OUT, "answered": place}
    of = day(burnt(1, 0.31), burnt(2, 0.31), SB_0001={"accepted": place}, SB_0002=left_out)
    assert page(of).seen == ()
    assert "Nothing to shoot again" in html_of(of)


def test_a_file_that_nobody_could_look_at_is_told_as_that_also_where_it_was_answered() -> None:
    unknown = frame(2, state="unsupported", verdict=of_file(Level.UNMEASURED, "unsupported"))
    one = page(day(frame(1), unknown, SB_0002={"answered": frozenset({("file.state", None)})}))
    assert (list(map(str, one.unread)), one.seen) == (["SB_0002.dng, 09:00"], ())


def test_what_was_taken_back_is_not_told_also_where_the_last_frame_was_judged_with_it() -> None:
    undone = event("undone", 2, "undone", {"of": 1, "kind": "accepted"})
    assert page(day(frame(1), frame(2), events=(accepted(2), undone))).accepted == ()
    gone = Acceptance(
        reading="highlights.unintended_area", zone="label", value=0.7, bar=0.77, capture="x", at=accepted(2).at
    )
    sheets = {DIGEST: replace(SHEET, accepted=(gone,))}
    assert page(day(frame(1), frame(2), events=(accepted(2), undone)), sheets).accepted == ()
    assert len(page(day(frame(1), frame(2), events=(accepted(2),)), sheets).accepted) == 1


def test_an_acceptance_that_a_person_wrote_by_hand_is_told_once() -> None:
    by_hand = Acceptance(
        reading="sharpness.blur",
        zone="label",
        value=2.0,
        bar=2.2,
        capture="SB_0001.dng",
        at="2026-11-25T09:30:00.000+01:00",
    )
    sheets = {DIGEST: replace(SHEET, accepted=(by_hand,))}
    texts = [a.text for a in page(day(frame(1), frame(2), events=(accepted(2),)), sheets).accepted]
    assert texts == ["label blur up to 2.20 px", "label burnt up to 0.77 %; the limit was 0.20"]


def test_acceptances_stand_on_the_page_of_their_set() -> None:
    other = frame(3, sheet_name="Jug", sheet_digest="blake2b:77")
    pages = pages_of(day(frame(1), other, events=(accepted(3),)), sheets=SHEETS, specs=specs())
    assert [(p.name, len(p.accepted)) for p in pages] == [("Stoneware bottles, front", 0), ("Jug", 1)]


def test_the_head_says_when_how_many_and_which_frame_was_approved() -> None:
    one = page(day(frame(1), frame(90), SB_0001={"purpose": Purpose.BASELINE}))
    assert (one.when, one.count, one.baseline) == ("2026-11-25, 09:00–09:01", 2, "SB_0001.dng")
    named = {DIGEST: replace(SHEET, baseline="SB_0090.dng")}
    assert page(day(frame(1), frame(90)), named).baseline == "SB_0090.dng"


def test_a_set_with_nothing_to_do_says_so() -> None:
    html = b"".join(photographer_html(day(frame(1)), sheets=SHEETS, specs=specs())).decode()
    assert "Nothing to shoot again" in html


def test_the_page_needs_no_script_and_nothing_from_elsewhere() -> None:
    html = b"".join(photographer_html(day(burnt(1, 0.31)), sheets=SHEETS, specs=specs())).decode()
    assert re.search(r"<script|<link|<img|url\(|https?:|@import", html) is None
    assert "@media print" in html
