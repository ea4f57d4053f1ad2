"""Accept, answer, give a role and take back: in the log, in the file, and on the next frame."""

from __future__ import annotations

import re
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from concurrent.futures import TimeoutError as FutureTimeout
from dataclasses import replace
from pathlib import Path

import pytest

from qc.errors import LogError, SheetError, UsageError
from qc.intake import filing
from qc.intake.actions import ALARMS, Which, accept, answer, can_widen, give, undo
from qc.log.log import Log
from qc.log.said import said
from qc.pipeline import measure_ambient, rejudge
from qc.reading import Level
from qc.result import Cause
from qc.series.entry import Purpose
from qc.sheet.accepted_file import read_accepted
from tests.cli.conftest import CAMERA, scene, subprocess_of, write
from tests.intake.logged import SHEET, Day
from tests.log.made import stamp, unread

AREA = "highlights.unintended_area"


@pytest.fixture
def day(tmp_path: Path) -> Day:
    day = Day(tmp_path / "bottles")
    (day.out / "a.set.toml").write_text(SHEET)
    return day


def levels(day: Day, name: str, reading: str = AREA, zone: str | None = "label") -> list[Level]:
    return [c.level for c in day.causes(name) if (c.reading, c.zone) == (reading, zone)]


# accept


def test_what_the_last_capture_shows_is_accepted_and_the_next_frame_is_judged_by_it(day: Day) -> None:
    day.shoot("SB_0001.dng")
    result = day.shoot("SB_0002.dng", burnt=True)
    first = day.causes("SB_0002.dng")[0]
    assert (first.reading, first.zone, first.level) == (AREA, "label", Level.HALT)
    value = next(r.value for r in result.readings if (r.name, r.zone) == (AREA, "label"))
    assert value is not None

    event = accept(day.out, folder=day.folder)

    (acceptance,) = read_accepted(day.out / "a.accepted.toml")
    assert (acceptance.reading, acceptance.zone, acceptance.value, acceptance.was) == (AREA, "label", value, 0.2)
    assert 1.1 * value <= acceptance.bar <= 1.1 * value + 0.01
    assert (acceptance.capture, acceptance.content) == ("SB_0002.dng", result.file.content)
    assert event.text == (
        f"accepted: label burnt up to {acceptance.bar:.2f} % (was 0.2), from SB_0002.dng;"
        " holds for it and what follows"
    )
    assert (event.kind, event.name, event.content) == ("accepted", "SB_0002.dng", result.file.content)
    assert day.events("accepted") == [event]
    assert levels(day, "SB_0002.dng") == []  # settled for the capture it was made at

    day.shoot("SB_0003.dng", burnt=True)
    assert levels(day, "SB_0003.dng") == []


def test_the_limit_says_where_it_comes_from_when_it_is_passed_again(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accept(day.out, folder=day.folder)
    accepted = day.out / "a.accepted.toml"
    accepted.write_text(re.sub(r"bar = .*", "bar = 0.5", accepted.read_text()))  # by hand, more narrowly
    day.shoot("SB_0003.dng", burnt=True)
    (cause,) = [c for c in day.causes("SB_0003.dng") if (c.reading, c.zone) == (AREA, "label")]
    assert cause.limit == 0.5
    assert re.fullmatch(r"accepted at SB_0002\.dng, \d\d:\d\d", cause.origin)


def test_the_sheet_a_person_typed_stays_byte_for_byte_and_nothing_is_written_among_the_captures(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    before = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in [day.out / "a.set.toml", *day.folder.iterdir()]}
    accept(day.out, folder=day.folder)
    give(day.out, "baseline")
    undo(day.out)
    undo(day.out)
    after = {p: (p.read_bytes(), p.stat().st_mtime_ns) for p in [day.out / "a.set.toml", *day.folder.iterdir()]}
    assert after == before


def test_accepting_again_takes_the_next_alarm_of_the_capture_until_none_is_left(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    alarms = [c for c in day.causes("SB_0002.dng") if c.level in ("note", "warn", "halt")]
    assert len(alarms) > 1
    for alarm in alarms:
        event = accept(day.out, folder=day.folder)
        assert (event.data["reading"], event.data["zone"]) == (alarm.reading, alarm.zone)
    with pytest.raises(UsageError, match=r"SB_0002\.dng: no alarm that waits for an answer"):
        accept(day.out, folder=day.folder)


def test_a_capture_reading_and_zone_may_be_named(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    day.shoot("SB_0003.dng")
    event = accept(day.out, folder=day.folder, name="SB_0002.dng", cause=Which(reading=AREA, zone="frame"))
    assert (event.name, event.data["reading"], event.data["zone"]) == ("SB_0002.dng", AREA, None)
    assert levels(day, "SB_0002.dng", zone="label") == [Level.HALT]


def test_an_alarm_may_be_handed_over_as_the_watch_told_it(day: Day) -> None:
    result = day.shoot("SB_0002.dng", burnt=True)
    (cause,) = [c for c in result.verdict.causes if (c.reading, c.zone) == (AREA, "label")]
    assert can_widen(cause)
    event = accept(day.out, folder=day.folder, content=result.file.content, cause=cause)
    assert event.data["zone"] == "label"


@pytest.mark.parametrize(
    ("which", "said"),
    [
        (Which(reading="highlights.unintended"), f'no alarm on highlights.unintended; did you mean "{AREA}"?'),
        (Which(reading=AREA, zone="neck"), f"no alarm on {AREA} in zone neck"),
        (Which(zone="neck"), "no alarm in zone neck"),
    ],
)
def test_an_alarm_that_the_capture_does_not_have_is_refused_with_those_it_has(
    day: Day, which: Which, said: str
) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    with pytest.raises(UsageError) as caught:
        accept(day.out, folder=day.folder, cause=which)
    assert said in str(caught.value)
    assert f"({AREA}, label)" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_bar_is_not_said_to_lie_beyond_a_graver_one_that_stays(day: Day) -> None:
    sheet = day.out / "a.set.toml"
    sheet.write_text(SHEET + f'[zone.limits."{AREA}"]\nwarn = 0.01\nhalt = 1.0\n')
    value = _value(day.shoot("SB_0001.dng", burnt=True).readings)
    halt = round(value * 1.05, 3)
    sheet.write_text(SHEET + f'[zone.limits."{AREA}"]\nwarn = 0.01\nhalt = {halt}\n')
    day.log(day.folder / "SB_0001.dng")
    event = accept(day.out, folder=day.folder)
    assert event.data["bar"] == halt
    assert event.data["was"] == 0.01


def _value(readings: object) -> float:
    for reading in readings:  # type: ignore[attr-defined]  # readings of a result
        if (reading.name, reading.zone) == (AREA, "label"):
            return float(reading.value)
    raise AssertionError


def test_acceptances_work_on_a_preset_without_a_sheet(tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles", preset="series")
    day.started(preset="series", sheet=None)
    day.shoot("SB_0002.dng", burnt=True)
    (before,) = levels(day, "SB_0002.dng", zone=None)
    event = accept(day.out, folder=day.folder, cause=Which(reading=AREA))
    assert event.data["file"] == "set.accepted.toml"
    assert event.text.startswith("accepted: burnt up to ")
    day.shoot("SB_0003.dng", burnt=True)
    assert before in ("note", "warn")
    assert levels(day, "SB_0003.dng", zone=None) == []


def test_a_value_within_what_was_accepted_before_changes_no_limit_and_the_bar_in_force_is_named(day: Day) -> None:
    day.shoot("SB_0001.dng", burnt=True)
    day.shoot("SB_0002.dng", burnt=True, seed=5)
    first = accept(day.out, folder=day.folder, cause=Which(reading=AREA, zone="label"))
    accepted = day.out / "a.accepted.toml"
    accepted.write_text(re.sub(r"bar = .*", "bar = 8", accepted.read_text()))
    before = accepted.read_bytes()
    which = Which(reading=AREA, zone="label")
    event = accept(day.out, folder=day.folder, name="SB_0001.dng", cause=which)
    assert event.kind == "answered"
    assert event.text.startswith("answered: label burnt 6.2")
    assert event.text.endswith(
        ", for SB_0001.dng only; already accepted: label burnt up to 8.00 %"
        f" (SB_0002.dng, {first.at[11:16]}), so no limit changes"
    )
    assert accepted.read_bytes() == before
    assert levels(day, "SB_0001.dng") == []  # it was meant so: nothing to shoot again


def test_a_value_that_the_sheet_allows_by_now_changes_no_limit(day: Day) -> None:
    day.shoot("SB_0001.dng", burnt=True)
    (day.out / "a.set.toml").write_text(SHEET + f'[zone.limits."{AREA}"]\nhalt = 9\n')
    cause = day.causes("SB_0001.dng")[0]
    event = accept(day.out, folder=day.folder)
    assert event.text.endswith(
        "; within the limit already: label burnt up to 9.00 % (sheet, zone label), so no limit changes"
    )
    (day.out / "a.set.toml").write_text(SHEET + f'[zone.limits."{AREA}"]\n')
    event = accept(day.out, folder=day.folder, name="SB_0001.dng", cause=cause)
    assert event.text.endswith("; nothing limits it any more, so no limit changes")
    assert not list(day.out.glob("*.accepted.toml"))


def test_an_acceptance_names_the_bar_that_it_moves_from_where_it_stood(day: Day) -> None:
    day.shoot("SB_0001.dng", burnt=True)
    accept(day.out, folder=day.folder)
    accepted = day.out / "a.accepted.toml"
    accepted.write_text(re.sub(r"bar = .*", "bar = 0.5", accepted.read_text()))
    day.shoot("SB_0002.dng", burnt=True)
    accepted.write_text(re.sub(r"bar = .*", "bar = 0.6", accepted.read_text()))
    assert "(was 0.6)" in accept(day.out, folder=day.folder).text


def test_an_acceptance_widens_the_set_of_its_capture_only(tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles")
    (day.out / "front.set.toml").write_text(SHEET.replace("[[zone]]", 'captures = "SB_00*"\n[[zone]]'))
    (day.out / "back.set.toml").write_text(SHEET.replace("[[zone]]", 'captures = "SB_01*"\n[[zone]]'))
    day.shoot("SB_0002.dng", burnt=True)
    accept(day.out, folder=day.folder)
    day.shoot("SB_0102.dng", burnt=True)
    assert [path.name for path in day.out.glob("*.accepted.toml")] == ["front.accepted.toml"]
    assert levels(day, "SB_0102.dng") == [Level.HALT]


def test_sheets_of_one_name_beside_and_in_the_folder_are_refused_where_both_are_in_use(tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles")
    (day.out / "a.set.toml").write_text(SHEET.replace("[[zone]]", 'captures = "SB_00*"\n[[zone]]'))
    (day.folder / "a.set.toml").write_text(SHEET)
    for name in ("SB_0102.dng", "SB_0002.dng"):
        day.shoot(name, burnt=True)
        with pytest.raises(UsageError, match=r"two set sheets have one name: .*a\.set\.toml and "):
            accept(day.out, folder=day.folder)
    (day.out / "a.set.toml").write_text(SHEET)  # it holds for every capture: the farther one for none
    assert accept(day.out, folder=day.folder).kind == "accepted"


def test_sheets_of_one_name_in_folders_inside_widen_each_its_own(tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles")
    for inside in ("back", "front"):
        day.folder.joinpath(inside).mkdir()
        (day.folder / inside / "a.set.toml").write_text(SHEET)
    day.shoot("back/SB_0002.dng", burnt=True)
    assert accept(day.out, folder=day.folder).data["file"] == "back+a.accepted.toml"
    day.shoot("front/SB_0003.dng", burnt=True)
    assert levels(day, "SB_0003.dng") == [Level.HALT]
    day.shoot("back/SB_0004.dng", burnt=True)
    assert levels(day, "SB_0004.dng") == []
    undo(day.out)
    assert read_accepted(day.out / "back+a.accepted.toml") == ()


def test_a_sheet_that_the_watch_was_started_with_is_the_one_that_is_meant(tmp_path: Path) -> None:
    day = Day(tmp_path / "bottles", preset="series")
    named = tmp_path / "elsewhere.set.toml"
    named.write_text(SHEET)
    day.started(sheet=str(named), preset=None)
    day.shoot("SB_0002.dng", burnt=True)
    assert accept(day.out, folder=day.folder).data["file"] == "elsewhere.accepted.toml"


@pytest.mark.parametrize("which", [None, Which(reading="file.state")])
def test_a_cause_without_a_limit_is_answered_for_its_capture_only_and_that_is_said(
    day: Day, which: Which | None
) -> None:
    day.shoot("SB_0001.dng")
    path = day.folder / "SB_0002.dng"
    path.write_bytes((day.folder / "SB_0001.dng").read_bytes()[:-9000])
    day.log(path)
    (cause,) = day.causes("SB_0002.dng")
    assert (cause.reading, cause.level, can_widen(cause)) == ("file.state", Level.HALT, False)
    event = accept(day.out, folder=day.folder, cause=which)
    assert (event.kind, event.data) == ("answered", {"reading": "file.state", "zone": None})
    assert event.text.endswith(", for SB_0002.dng only: it has no limit that could be raised")
    assert not list(day.out.glob("*.accepted.toml"))
    assert [(c.level, c.text) for c in day.causes("SB_0002.dng")] == [(Level.NOTE, f"seen: {cause.text}")]


def test_a_cause_of_the_series_is_answered_even_when_it_has_a_number(day: Day) -> None:
    cause = Cause(
        reading="light_changed", zone=None, level=Level.WARN, limit=0.3, origin="series", text="left −0.5 stop"
    )
    day.shoot("SB_0001.dng")
    assert not can_widen(cause)
    event = accept(day.out, folder=day.folder, cause=cause)
    assert event.kind == "answered"
    assert event.text.startswith("answered: left −0.5 stop, for SB_0001.dng only")


def at(day: Day, name: str, *, iso: float = 100, light: float = 1.0, second: int = 0) -> None:
    """Shoot a frame of the day by its settings and its light."""
    camera = replace(CAMERA, iso=iso, taken=f"2026-11-25T10:00:{second:02d}")
    write(day.folder / name, scene() * light + 1e-4 * second, camera)
    day.log(day.folder / name)


CODES: Mapping[str, Mapping[str, float]] = {
    "settings_changed": {"iso": 200, "light": 2.0},
    "light_changed": {"light": 0.6},
    "no_flash": {"light": 2.0**-8},
}
"""Alarms that have no limit of a sheet, and the frame that gives each after four others."""


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("named", [True, False])
def test_every_code_is_answered_for_this_capture_named_by_its_code_or_as_the_first_of_the_last(
    tmp_path: Path, code: str, named: bool
) -> None:
    day = Day(tmp_path / "bottles", preset=None)
    for number in range(4):
        at(day, f"SB_{number:04d}.dng", second=number)
    at(day, "SB_0009.dng", second=9, **CODES[code])
    alarms = [c.reading for c in day.causes("SB_0009.dng") if c.level in ("note", "warn", "halt")]
    assert code in alarms
    answered = []
    for _ in alarms[:1] if named else alarms:
        event = accept(day.out, folder=day.folder, cause=Which(reading=code) if named else None)
        assert (event.kind, event.name) == ("answered", "SB_0009.dng")
        assert event.text.endswith(", for SB_0009.dng only: it has no limit that could be raised")
        answered.append(event.data["reading"])
    assert code in answered
    left = [(c.reading, c.level, c.text[:6]) for c in day.causes("SB_0009.dng")]
    assert [one for one in left if one[0] == code] == [(code, Level.NOTE, "seen: ")]


def test_what_the_ambient_test_of_a_dark_frame_shows_can_be_accepted(day: Day) -> None:
    lit = day.log(write(day.folder / "SB_0001.dng", scene() + scene() / 16))
    dark = day.log(write(day.folder / "SB_0002.dng", scene() / 16))
    give(day.out, "dark")
    sheet = day.intent().for_capture(day.folder / "SB_0002.dng")
    test = measure_ambient([day.folder / "SB_0002.dng", day.folder / "SB_0001.dng"], sheet)
    contents = str(dark.file.content), str(lit.file.content)
    with Log.open(day.out) as log:
        log.add_ambient(
            test, dark=contents[0], lit=contents[1], limits="blake2b:11", sheet=sheet, text="4 stops under"
        )
    event = accept(day.out, folder=day.folder)
    reading = test.reading("ambient.stops_under", "label")
    assert reading is not None
    assert (event.kind, event.name, event.data["value"]) == ("accepted", "SB_0002.dng", reading.value)
    assert re.match(r"accepted: label down to \d\.\d stops under the flash \(was 4\.3\), ", event.text)
    assert rejudge(test, day.intent().for_capture(day.folder / "SB_0002.dng")).verdict.causes[0].zone is None


# answer, give


def test_an_answer_changes_no_limit(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    event = answer(day.out)
    assert event.kind == "answered"
    assert levels(day, "SB_0002.dng") == [Level.NOTE]
    day.shoot("SB_0003.dng", burnt=True)
    assert levels(day, "SB_0003.dng") == [Level.HALT]


def test_what_was_answered_waits_for_no_answer(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    alarms = [cause.reading for cause in day.causes("SB_0002.dng") if cause.level in ALARMS]
    assert [answer(day.out).data["reading"] for _ in alarms] == alarms
    for which in (None, Which(reading=AREA)):
        with pytest.raises(UsageError, match="no alarm that waits for an answer"):
            accept(day.out, folder=day.folder, cause=which)


@pytest.mark.parametrize(
    ("purpose", "said"),
    [
        ("dark", "role: SB_0002.dng is a dark frame"),
        ("patch", "role: SB_0002.dng is a patch frame"),
        ("clean-plate", "role: SB_0002.dng is a clean plate"),
        ("leave-out", "role: SB_0002.dng is left out"),
        (Purpose.BASELINE, "role: SB_0002.dng is the baseline"),
    ],
)
def test_the_last_capture_is_given_a_role(day: Day, purpose: str, said: str) -> None:
    day.shoot("SB_0001.dng")
    result = day.shoot("SB_0002.dng")
    event = give(day.out, purpose)
    assert (event.kind, event.text) == ("role", said)
    assert event.data == {"purpose": str(purpose), "capture": "SB_0002.dng"}
    assert roles(day) == {result.file.content: Purpose(purpose)}


def roles(day: Day) -> dict[str, Purpose]:
    with Log.open(day.out) as log:
        return dict(said(log.events()).purposes)


def test_a_capture_is_named_by_its_name_or_its_path(day: Day, monkeypatch: pytest.MonkeyPatch) -> None:
    first = day.shoot("SB_0001.dng")
    inside = day.shoot("inside/SB_0001.dng")
    day.shoot("SB_0003.dng")
    monkeypatch.chdir(day.folder)
    assert give(day.out, "patch", name="inside/SB_0001.dng").content == inside.file.content
    assert give(day.out, "patch", name=str(day.folder / "SB_0001.dng")).content == first.file.content
    assert give(day.out, "patch", name="SB_0001.dng").content == first.file.content


def test_a_capture_that_could_not_be_read_can_be_left_out(day: Day) -> None:
    with Log.open(day.out) as log:
        log.add(unread("SB_0009.dng", at=stamp(9)))
    event = give(day.out, "leave-out")
    assert str(event.content).startswith("unread:")
    assert roles(day) == {event.content: Purpose.LEAVE_OUT}


def test_a_file_name_that_is_not_text_is_shown_and_kept(day: Day) -> None:
    name = "SB_\udcff\n0002.dng"
    day.shoot(name, burnt=True)
    event = accept(day.out, folder=day.folder)
    assert event.name == name
    assert "\n" not in event.text
    (acceptance,) = read_accepted(day.out / "a.accepted.toml")
    assert acceptance.capture == r"SB_\xff\n0002.dng"


# undo


def test_undo_takes_back_the_last_act_each_time_and_then_says_there_is_none(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accepted = accept(day.out, folder=day.folder)
    give(day.out, "patch")
    answer(day.out)
    assert [undo(day.out).data["kind"] for _ in range(2)] == ["answered", "role"]
    assert roles(day) == {}
    event = undo(day.out)
    assert event.text == accepted.text.replace("accepted:", "undone:")
    assert read_accepted(day.out / "a.accepted.toml") == ()
    assert levels(day, "SB_0002.dng") == [Level.HALT]
    assert day.intent().sheet == Day(day.folder).intent().sheet
    with pytest.raises(UsageError, match="nothing to undo"):
        undo(day.out)


def test_undo_takes_an_acceptance_out_of_the_file_also_when_a_person_changed_its_bar(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accept(day.out, folder=day.folder)
    accepted = day.out / "a.accepted.toml"
    accepted.write_text(re.sub(r"bar = .*", "bar = 9", accepted.read_text()) + "# my own note\n")
    undo(day.out)
    assert read_accepted(accepted) == ()
    assert "# my own note" in accepted.read_text()


def test_an_acceptance_can_be_made_again_after_it_was_taken_back(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accept(day.out, folder=day.folder)
    undo(day.out)
    accept(day.out, folder=day.folder)
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1
    assert [event.kind for event in day.events("accepted", "undone")] == ["accepted", "undone", "accepted"]


# wrong use


def test_without_a_log_nothing_is_done(tmp_path: Path) -> None:
    for act in (undo, answer, lambda out: give(out, "dark"), lambda out: accept(out, folder=tmp_path)):
        with pytest.raises(LogError, match="there is no log here"):
            act(tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_wrong_use_is_one_line_that_says_what_is_wrong(day: Day) -> None:
    day.started()
    with pytest.raises(UsageError, match="no capture was measured yet"):
        accept(day.out, folder=day.folder)
    day.shoot("SB_0001.dng")
    with pytest.raises(UsageError, match=r"SB_0009\.dng: not in the log"):
        give(day.out, "dark", name="SB_0009.dng")
    with pytest.raises(UsageError, match=r"no role is called 'drak'.*did you mean .dark"):
        give(day.out, "drak")
    with pytest.raises(UsageError, match="no alarm that waits"):
        accept(day.out, folder=day.folder)


def test_a_file_with_mistakes_is_not_written_over(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accepted = day.out / "a.accepted.toml"
    accepted.write_text("[[accepted]]\nreading = 3\n")
    with pytest.raises(SheetError, match="line 2, accepted 1, reading"):
        accept(day.out, folder=day.folder)
    assert accepted.read_text() == "[[accepted]]\nreading = 3\n"
    assert day.events("accepted") == []


# a failure in between


class Stop(BaseException):
    """The process ends here."""


def interrupted(monkeypatch: pytest.MonkeyPatch, where: type, what: str, error: BaseException) -> None:
    def fail(*_: object, **__: object) -> None:
        raise error

    monkeypatch.setattr(where, what, fail)


def test_a_disk_that_takes_no_file_leaves_nothing_in_the_log_either(
    day: Day, monkeypatch: pytest.MonkeyPatch
) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", lambda _: (_ for _ in ()).throw(OSError(28, "No space left on device")))
        with pytest.raises(UsageError, match="cannot be written, nothing is changed: No space"):
            accept(day.out, folder=day.folder)
    assert day.events("accepted") == []
    assert not list(day.out.glob("*.accepted.toml*"))


def test_a_log_that_cannot_be_written_leaves_the_file_as_it_was(day: Day, monkeypatch: pytest.MonkeyPatch) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    accept(day.out, folder=day.folder)
    before = (day.out / "a.accepted.toml").read_text()
    with monkeypatch.context() as patch:
        interrupted(patch, Log, "event", LogError(day.out / "log.sqlite3", "the disk is full"))
        with pytest.raises(LogError, match="the disk is full"):
            accept(day.out, folder=day.folder)
        with pytest.raises(LogError, match="the disk is full"):
            undo(day.out)
    assert (day.out / "a.accepted.toml").read_text() == before
    assert len(day.events("accepted", "undone")) == 1
    give(day.out, "patch")  # the next act clears away what was prepared
    assert [path.name for path in day.out.glob("*.accepted.toml*")] == ["a.accepted.toml"]
    assert (day.out / "a.accepted.toml").read_text() == before


@pytest.mark.parametrize("act", ["accept", "undo"])
def test_an_end_between_log_and_file_is_made_good_by_the_next_act(
    day: Day, monkeypatch: pytest.MonkeyPatch, act: str
) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    if act == "undo":
        accept(day.out, folder=day.folder)
    before = len(read_accepted(day.out / "a.accepted.toml"))
    with monkeypatch.context() as patch:
        interrupted(patch, Path, "replace", Stop())
        with pytest.raises(Stop):
            accept(day.out, folder=day.folder) if act == "accept" else undo(day.out)
    assert len(read_accepted(day.out / "a.accepted.toml")) == before
    give(day.out, "patch")
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1 - before
    assert [path.name for path in day.out.glob("*.accepted.toml*")] == ["a.accepted.toml"]


def test_a_file_that_cannot_take_its_place_is_said_and_made_good_later(
    day: Day, monkeypatch: pytest.MonkeyPatch
) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    with monkeypatch.context() as patch:
        interrupted(patch, Path, "replace", PermissionError(13, "Permission denied"))
        with pytest.raises(UsageError, match="it is in the log and will hold from the next accept"):
            accept(day.out, folder=day.folder)
    with Log.open(day.out) as log:
        filing.finish(log)
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1


def test_acts_of_several_processes_at_once_are_all_kept(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    named = ["--folder", str(day.folder)]
    words = [["role", "SB_0002.dng", "patch"], ["sheet", "accept"], ["sheet", "accept"]]
    env = {"XDG_STATE_HOME": str(day.folder.parent / "state")}
    processes = [subprocess_of(*one, *named, env=env) for one in words]
    assert [process.communicate(timeout=100)[1] for process in processes] == [b"", b"", b""]
    events = day.events("accepted", "role")
    assert len(events) == 3
    kept = {(one.at, one.zone) for one in read_accepted(day.out / "a.accepted.toml")}
    assert kept == {(event.at, event.data["zone"]) for event in events if event.kind == "accepted"}
    assert {zone for _, zone in kept} == {"label", None}


def test_an_act_waits_for_another_that_is_under_way(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    with ThreadPoolExecutor(1) as pool:
        with filing.alone(day.out):
            act = pool.submit(give, day.out, "patch")
            with pytest.raises(FutureTimeout):
                act.result(timeout=0.5)
        assert act.result(timeout=60).kind == "role"


def test_a_watch_that_starts_makes_good_what_an_act_left_half_done(
    day: Day, monkeypatch: pytest.MonkeyPatch
) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    with monkeypatch.context() as patch:
        interrupted(patch, Path, "replace", Stop())
        with pytest.raises(Stop):
            accept(day.out, folder=day.folder)
    with Log.open(day.out) as log:
        filing.settle(log)
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1


def test_a_file_that_was_cut_off_while_it_was_prepared_is_cleared_away(day: Day) -> None:
    day.shoot("SB_0002.dng", burnt=True)
    (day.out / "a.accepted.toml.new").write_text('[[accepted]]\nreading = "highl')
    accept(day.out, folder=day.folder)
    assert len(read_accepted(day.out / "a.accepted.toml")) == 1
    assert not list(day.out.glob("*.new"))
