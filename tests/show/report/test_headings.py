from __future__ import annotations

from pathlib import Path

from qc.day import Day
from qc.event import Event
from qc.log.log import Log
from qc.log.rows import Captured
from qc.reading import Level
from qc.show.report.headings import BESIDES, DRAWN, headings, wanted
from tests.show.report.made import all_specs, burnt, captured, cause, day_of, logged, soft, truncated


def day(tmp_path: Path, *captures: object) -> Day:
    return day_of(logged(tmp_path / "bottles.qc", captures))  # type: ignore[arg-type]  # short in the tests


def test_causes_come_worst_first_and_milder_levels_elsewhere(tmp_path: Path) -> None:
    told = day(
        tmp_path,
        captured(1, causes=[burnt(0.02, Level.NOTE)]),
        captured(2, causes=[soft(1.8)], blur=1.8),
        captured(3, causes=[burnt(0.4)], area=0.4),
        truncated(4),
        captured(5),
    )
    found = headings(told, specs=all_specs())
    assert [(h.level, h.title) for h in found] == [
        ("halt", "truncated: half of it is missing"),
        ("halt", "burnt 0.40 %"),
        ("warn", "label blur 1.80 px"),
    ]
    (note,) = headings(told, specs=all_specs(), levels=(Level.NOTE,))
    assert (note.title, note.count) == ("burnt 0.02 %", 1)


def test_a_frame_stands_in_full_once_under_its_gravest_cause(tmp_path: Path) -> None:
    both = captured(1, causes=[burnt(0.4), soft(2.0)], area=0.4, blur=2.0)
    told = day(tmp_path, both, captured(2, causes=[soft(1.8)], blur=1.8))
    clipped, blurred = headings(told, specs=all_specs())
    assert [held.also for held in clipped.drawn] == [("label blur 2.00 px",)]
    assert (blurred.title, blurred.count) == ("label blur 2.00 px, at worst", 2)
    assert [held.text for held in blurred.drawn] == ["label blur 1.80 px"]
    assert blurred.besides == (f"blake2b:{1:064x}",)
    assert list(wanted((clipped, blurred))) == [f"blake2b:{n:064x}" for n in (1, 2)]


def test_a_cause_that_is_no_frames_gravest_has_no_heading(tmp_path: Path) -> None:
    told = day(tmp_path, captured(1, causes=[burnt(0.4), soft(2.0)], area=0.4, blur=2.0))
    assert [heading.reading for heading in headings(told, specs=all_specs())] == ["highlights.unintended_area"]


def test_only_the_worst_frames_of_a_cause_are_drawn_and_all_are_named(tmp_path: Path) -> None:
    areas = [0.3, 0.9, 0.5, 0.7, 0.4]
    captures = [captured(n, causes=[burnt(area)], area=area) for n, area in enumerate(areas, start=1)]
    (heading,) = headings(day(tmp_path, *captures), specs=all_specs())
    assert heading.title == "burnt 0.90 %, at worst"
    assert [held.text for held in (*heading.drawn, *heading.named)] == [
        f"burnt {area:.2f} %" for area in sorted(areas, reverse=True)
    ]
    assert len(heading.drawn) == DRAWN


def test_files_that_are_not_whole_share_a_heading_that_counts_them(tmp_path: Path) -> None:
    other = truncated(2)
    (said,) = other.result.verdict.causes
    told = day(tmp_path, truncated(1), other)
    assert [h.title for h in headings(told, specs=all_specs())] == [said.text]
    damaged = captured(3, causes=[cause(Level.HALT, "damaged: no end", "file.state")])
    told = day(tmp_path, damaged)
    assert [h.title for h in headings(told, specs=all_specs())] == ["3 files not whole"]


def test_causes_without_a_number_are_said_by_what_they_share(tmp_path: Path) -> None:
    def heading(*texts: str) -> str:
        out = tmp_path / str(len(list(tmp_path.iterdir())))
        captures = [
            captured(n, causes=[cause(Level.WARN, text, "no_flash")]) for n, text in enumerate(texts, start=1)
        ]
        (found,) = headings(day_of(logged(out, captures)), specs=all_specs())
        return found.title

    assert heading("no flash; 5 stops under", "no flash; 6 stops under") == "no flash"
    assert heading("f/8 to f/11", "f/11 to f/8") == "f/8 to f/11, and the like"
    assert heading("f/8 to f/11", "f/8 to f/11") == "f/8 to f/11"


def test_a_limit_is_said_with_its_unit_and_where_it_comes_from(tmp_path: Path) -> None:
    (heading,) = headings(day(tmp_path, captured(1, causes=[burnt(0.4)], area=0.4)), specs=all_specs())
    assert heading.drawn[0].limit == "over the limit 0.20 % of cells (preset series)"


def test_what_else_there_is_is_said_up_to_a_few_and_counted(tmp_path: Path) -> None:
    more = [cause(Level.WARN, f"zone {n} burnt", zone=f"zone {n}") for n in range(BESIDES + 2)]
    unread = cause(Level.UNMEASURED, "cast not read", "cast.chroma", "card")
    (heading, *_) = headings(day(tmp_path, captured(1, causes=[burnt(0.4), *more, unread])), specs=all_specs())
    (held,) = heading.drawn
    assert held.also == tuple(f"zone {n} burnt" for n in range(BESIDES))
    assert held.more == 2


def answered(captured_as: Captured, reading: str, zone: str | None = None) -> Event:
    content = captured_as.result.file.content
    data = {"reading": reading, "zone": zone}
    return Event(kind="answered", at="2026-11-25T10:00:00.000+01:00", text="answered", content=content, data=data)


def test_what_was_answered_needs_no_decision_and_is_worth_knowing_apart_from_what_was_not(tmp_path: Path) -> None:
    out = tmp_path / "bottles.qc"
    area = "highlights.unintended_area"
    clipped = captured(2, causes=[burnt(0.4)], area=0.4)
    logged(out, [captured(1, causes=[burnt(0.02, Level.NOTE)]), clipped])
    with Log.open(out) as log:
        log.event(answered(clipped, area))
    assert headings(day_of(out), specs=all_specs()) == ()
    found = headings(day_of(out), specs=all_specs(), levels=(Level.NOTE,))
    assert [(h.title, h.count) for h in found] == [("burnt 0.02 %", 1), ("seen: burnt 0.40 %", 1)]


def test_what_was_answered_of_a_frame_with_something_else_is_said_there(tmp_path: Path) -> None:
    out = tmp_path / "bottles.qc"
    both = captured(1, causes=[burnt(0.4), soft(2.0)], area=0.4, blur=2.0)
    logged(out, [both])
    with Log.open(out) as log:
        log.event(answered(both, "highlights.unintended_area"))
    (heading,) = headings(day_of(out), specs=all_specs())
    assert (heading.title, heading.drawn[0].also) == ("label blur 2.00 px", ("seen: burnt 0.40 %",))


def test_files_not_whole_that_were_answered_are_counted_as_seen(tmp_path: Path) -> None:
    out = tmp_path / "bottles.qc"
    damaged = captured(3, causes=[cause(Level.HALT, "damaged: no end", "file.state")])
    logged(out, [truncated(1), damaged])
    with Log.open(out) as log:
        for one in (truncated(1), damaged):
            log.event(answered(one, "file.state"))
    assert [h.title for h in headings(day_of(out), specs=all_specs(), levels=(Level.NOTE,))] == [
        "seen: 2 files not whole"
    ]
