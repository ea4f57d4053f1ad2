"""One capture that zones are drawn on: what the page begins with, what a zone reads, what is saved and where."""

from __future__ import annotations

import asyncio
import io
import threading
from collections.abc import Coroutine, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import imageio.v3 as iio
import pytest
from typer.testing import CliRunner

from qc.errors import SheetError, UsageError
from qc.judge import spoken_phrase
from qc.measure import reading_spec
from qc.pages.drawing import session as room
from qc.pages.drawing.asked import DrawnZone, Measure, Save, SeenZone
from qc.pages.drawing.place import place
from qc.pages.drawing.questions import OvertakenError
from qc.pages.drawing.session import NOTHING, Session
from qc.pipeline import measure_capture
from qc.rehearse.dng import write_dng
from qc.rehearse.studio import Studio
from qc.sheet.read import read_sheet
from qc.sheet.sheet import Sheet
from qc.sheet.zones import Role
from tests.cli.conftest import scene, write
from tests.loops import run

Answer = TypeVar("Answer")

SHEET = """\
# Typed by hand.
[set]
name = "Stoneware bottles"
preset = "series"

[[zone]]   # the front
name = "label"
role = "protect"
box = [0.5, 0.5, 0.4, 0.4]   # as wide as the bottle
[zone.limits."highlights.unintended_area"]
warn = 0.25
"""


def wait(answer: Coroutine[Any, Any, Answer]) -> Answer:
    return run(answer)


def drawn(name: str = "label", role: Role = Role.PROTECT, **facts: Any) -> DrawnZone:
    if "points" not in facts:
        facts.setdefault("box", (0.5, 0.5, 0.4, 0.4))
    return DrawnZone(name=name, role=role, **facts)


async def save(session: Session, zones: list[DrawnZone], seen: list[dict[str, Any]] | None = None) -> Any:
    """Save zones as a page does that has just been opened, or one that saw other zones last."""
    there = session.start()["zones"] if seen is None else seen
    return await session.save(Save(zones=tuple(zones), seen=tuple(SeenZone(**zone) for zone in there)))


@pytest.fixture
def capture(tmp_path: Path) -> Path:
    (tmp_path / "bottles").mkdir()
    return write(tmp_path / "bottles" / "SB_0001.dng", scene(burnt=True))


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    path = tmp_path / "front.set.toml"
    path.write_text(SHEET)
    return path


@contextmanager
def opened(capture: Path, sheet: Path | None = None) -> Iterator[Session]:
    here = place(str(capture), sheet=sheet)
    session = Session(here.capture, here.target)
    try:
        yield session
    finally:
        session.close()


def test_it_begins_with_the_capture_the_sheet_and_what_roles_there_are(capture: Path, sheet: Path) -> None:
    with opened(capture, sheet) as session:
        start = session.start()
    assert (start["name"], start["sheet"], start["new"]) == ("SB_0001.dng", "front.set.toml", False)
    (zone,) = start["zones"]
    assert (zone["was"], zone["name"], zone["role"], zone["box"]) == (
        "label",
        "label",
        "protect",
        (0.5, 0.5, 0.4, 0.4),
    )
    assert [one["role"] for one in start["roles"]] == [role.value for role in Role]
    assert all(one["about"] for one in start["roles"])
    assert [one["role"] for one in start["roles"] if one["budget"]] == ["allow"]
    assert [one["role"] for one in start["roles"] if one["reference"]] == ["patch"]


@pytest.mark.parametrize("orientation", [1, 6])
def test_the_picture_is_the_upright_preview_in_grey(tmp_path: Path, orientation: int) -> None:
    mosaic = Studio(seed=3, size=(120, 180)).frame().mosaic
    assert mosaic is not None
    path = write_dng(tmp_path / "turned.dng", mosaic, cfa="RGGB", black=512, white=16383, orientation=orientation)
    with opened(path, tmp_path / "none") as session:
        size = session.start()["size"]
        picture = iio.imread(io.BytesIO(session.picture), extension=".jpeg")
    assert picture.shape == (size[1], size[0])
    assert (size[0] > size[1]) == (orientation == 1)


def test_a_sheet_with_mistakes_is_told_and_the_capture_not_opened(
    capture: Path, sheet: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sheet.write_text(SHEET.replace('"protect"', '"protct"'))
    monkeypatch.setattr(room, "open_capture", lambda *_: pytest.fail("opened"))
    with pytest.raises(SheetError, match=r"front.set.toml: line 8.*protct"), opened(capture, sheet):
        pass


def test_a_capture_that_cannot_be_read_is_named_with_the_cause(capture: Path, sheet: Path) -> None:
    capture.write_bytes(capture.read_bytes()[:-9000])
    with pytest.raises(UsageError, match=r"SB_0001.dng: truncated: ") as caught, opened(capture, sheet):
        pass
    assert "\n" not in str(caught.value)
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("capture")]


def test_four_lines_always_come_in_one_order_in_the_numbers_of_the_whole_way(capture: Path) -> None:
    zone = drawn(points=((0.3, 0.3), (0.9, 0.35), (0.7, 0.9)))
    with opened(capture) as session:
        answer = wait(session.measure(Measure(zone=zone, rest=True)))
    lines = answer["lines"]
    assert [line["what"] for line in lines] == ["clipped", "blur", "cast", "level"]
    whole = measure_capture(capture, Sheet(zones=(zone.zone("label"),)))
    clipped, level = whole.reading("highlights.clipped_area", "label"), whole.reading("exposure.level", "label")
    assert clipped is not None
    assert level is not None
    said = {line["what"]: line["said"] for line in lines}
    assert f"clipped {said['clipped']}" == spoken_phrase(clipped, reading_spec(clipped.name))
    assert said["clipped"] != "0.00 %"
    assert level.doubt is not None
    assert level.bound == "at most"
    assert f"mean light {said['level']}" == spoken_phrase(level, reading_spec(level.name))
    assert lines[3]["doubt"] == level.doubt.text
    missing = next(line for line in lines if line["what"] == "blur")
    blur = whole.reading("sharpness.blur", "label")
    assert blur is not None
    assert blur.reason is not None
    assert (missing["missing"], missing["said"]) == (True, blur.reason.text)
    assert answer["waiting"] is False


def test_a_grey_place_is_told_its_colour_in_words_and_how_sure_that_is(tmp_path: Path) -> None:
    path = tmp_path / "card.dng"
    Studio(size=(480, 640)).frame().write(path)
    with opened(path, tmp_path / "none") as session:
        card = next(one for one in wait(session.found()) if one["what"] == "grey")
        facts = {key: card[key] for key in ("name", "role", "box", "points")}
        lines = wait(session.measure(Measure(zone=DrawnZone(**facts))))["lines"]
    cast = next(line for line in lines if line["what"] == "cast")
    assert not cast["missing"]
    number, temperature, tint = cast["said"].split(", ")
    value, error = number.split(" ±")
    assert float(value) < 1
    assert 0 <= float(error.removeprefix("<")) < 1
    assert temperature.split()[0] in ("warm", "cool", "neither")
    assert tint.split()[0] in ("green", "magenta", "neither")
    assert cast["doubt"] == ""


def test_a_place_that_is_no_patch_is_not_called_one(capture: Path) -> None:
    """Its colour is read all the same, and why it cannot be."""
    with opened(capture) as session:
        told = {
            role: wait(session.measure(Measure(zone=drawn(role=role, box=(0.5, 0.5, 0.01, 0.01)), rest=True)))[
                "lines"
            ][2]
            for role in (Role.PROTECT, Role.PATCH)
        }
    assert {line["what"] for line in told.values()} == {"cast"}
    assert told[Role.PATCH]["said"].startswith("the patch holds ")
    assert told[Role.PROTECT]["said"] == told[Role.PATCH]["said"].replace("the patch", "the zone")


def test_the_area_is_that_of_the_zone_in_percent_of_the_picture(capture: Path) -> None:
    with opened(capture) as session:
        box = wait(session.measure(Measure(zone=drawn(box=(0.1, 0.1, 0.5, 0.4)))))
        half = wait(session.measure(Measure(zone=drawn(points=((0.0, 0.0), (1.0, 0.0), (0.0, 1.0))))))
    assert box["area"] == pytest.approx(20.0, abs=0.5)
    assert half["area"] == pytest.approx(50.0, abs=1.5)


def test_an_allowed_place_is_told_beside_its_budget_and_loses_what_is_protected(capture: Path) -> None:
    allowed = drawn("glint", Role.ALLOW, box=(0.5, 0.5, 0.4, 0.4), budget=0.5)
    label = drawn("label", box=(0.0, 0.0, 1.0, 1.0))
    with opened(capture) as session:
        alone = wait(session.measure(Measure(zone=allowed, rest=True)))["judged"]
        beside = wait(session.measure(Measure(zone=allowed, others=(label,), rest=True)))["judged"]
        free = wait(session.measure(Measure(zone=drawn("glint", Role.ALLOW), rest=True)))["judged"]
    assert alone == [{"said": "burnt 1.00 % of the picture", "against": "budget 0.50", "level": "warn"}]
    assert beside == [{"said": "burnt 0.00 % of the picture", "against": "budget 0.50", "level": "clear"}]
    assert free == [{"said": "burnt 1.00 % of the picture", "against": "", "level": "unjudged"}]


def test_what_could_not_be_read_is_not_called_clear(capture: Path, sheet: Path) -> None:
    corner = drawn("focus", Role.SHARP, box=(0.0, 0.0, 0.1, 0.1))
    with opened(capture, sheet) as session:
        sharp = wait(session.measure(Measure(zone=corner, rest=True)))
    unread = [line for line in sharp["judged"] if " not read: " in line["said"]]
    assert unread
    assert {line["level"] for line in unread} <= {"unmeasured", "note", "warn", "unjudged"}


def test_a_protected_place_is_judged_by_the_sheet_also_under_another_name(capture: Path, sheet: Path) -> None:
    renamed = drawn("front", was="label", box=(0.5, 0.5, 0.4, 0.4))
    with opened(capture, sheet) as session:
        judged = wait(session.measure(Measure(zone=renamed, rest=True)))["judged"]
        other = wait(session.measure(Measure(zone=drawn("front"), rest=True)))["judged"]
    burnt = next(line for line in judged if line["said"].startswith("burnt"))
    assert (burnt["against"], burnt["level"]) == ("warn over 0.25", "warn")
    by_preset = next(line for line in other if line["said"].startswith("burnt"))
    assert by_preset["against"] == "note over 0.01, warn over 0.05, halt over 0.2"
    assert by_preset["level"] == "halt"


@pytest.fixture(scope="module")
def large(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("large") / "bottles"
    folder.mkdir()
    mosaic = Studio(seed=3, size=(1600, 2400)).frame().mosaic
    assert mosaic is not None
    return write_dng(folder / "SB_0001.dng", mosaic, cfa="RGGB", black=512, white=16383)


def test_what_takes_longer_comes_when_it_is_asked_for(large: Path, tmp_path: Path) -> None:
    zone = drawn(box=(0.3, 0.3, 0.4, 0.4))
    with opened(large, tmp_path / "none") as session:
        first = wait(session.measure(Measure(zone=zone)))
        rest = wait(session.measure(Measure(zone=zone, rest=True)))
        again = wait(session.measure(Measure(zone=zone)))
    assert first["waiting"] is True
    blur = first["lines"][1]
    assert (blur["what"], blur["waiting"], blur["said"]) == ("blur", True, "")
    assert first["judged"] == []
    assert not any(line["waiting"] for line in rest["lines"])
    assert rest["judged"]
    assert again == rest


def test_the_newest_question_wins(capture: Path) -> None:
    asked = Measure(zone=drawn())

    async def both(session: Session) -> list[Any]:
        free = threading.Event()
        session._thread.submit(free.wait)
        first = asyncio.ensure_future(session.measure(asked))
        second = asyncio.ensure_future(session.measure(asked))
        await asyncio.sleep(0)
        free.set()
        return list(await asyncio.gather(first, second, return_exceptions=True))

    with opened(capture) as session:
        first, second = wait(both(session))
    assert isinstance(first, OvertakenError)
    assert len(second["lines"]) == 4


def test_the_frame_stays_in_one_thread(capture: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen = set()

    def watched(name: str) -> None:
        inner = getattr(room, name)

        def outer(*words: Any, **named: Any) -> Any:
            seen.add((name, threading.current_thread()))
            return inner(*words, **named)

        monkeypatch.setattr(room, name, outer)

    for name in ("open_capture", "preview_of", "measure_capture", "line"):
        watched(name)
    with opened(capture) as session:
        wait(session.measure(Measure(zone=drawn())))
        assert wait(session.found())
    assert {name for name, _ in seen} == {"open_capture", "preview_of", "measure_capture", "line"}
    assert len({thread for _, thread in seen}) == 1
    assert threading.main_thread() not in {thread for _, thread in seen}


def test_what_was_found_can_be_taken_as_a_zone(capture: Path) -> None:
    with opened(capture) as session:
        places = wait(session.found())
    burnt = next(one for one in places if one["what"] == "burnt")
    assert burnt["role"] == "allow"
    assert burnt["budget"] > 0
    facts = {key: burnt[key] for key in ("name", "role", "box", "points", "budget")}
    assert DrawnZone(**facts).zone("taken").points


def test_a_new_sheet_is_that_of_sheet_new_with_the_zones_at_its_end(capture: Path, tmp_path: Path) -> None:
    from qc_cli.app import app

    twin = tmp_path / "twin" / "bottles"
    twin.mkdir(parents=True)
    (twin / capture.name).write_bytes(capture.read_bytes())
    CliRunner().invoke(app, ["sheet", "new", "--from", str(twin / capture.name)])
    as_new = (tmp_path / "twin" / "bottles.qc" / "bottles.set.toml").read_text()
    path = tmp_path / "bottles.qc" / "bottles.set.toml"
    with opened(capture) as session:
        start = session.start()
        assert (start["sheet"], start["new"], start["baseline"]) == ("bottles.set.toml", True, "SB_0001.dng")
        wait(session.measure(Measure(zone=drawn(), rest=True)))
        assert not path.parent.exists()  # nothing is written before the first save
        answer = wait(save(session, [drawn(), drawn("card", Role.PATCH, box=(0.1, 0.1, 0.2, 0.2))]))
        assert (answer["said"], answer["new"]) == ("2 zones saved in bottles.set.toml", False)
        assert [zone["was"] for zone in answer["zones"]] == ["label", "card"]
        assert session.said == answer["said"]
    text = path.read_text()
    assert text.startswith(as_new)
    assert text.removeprefix(as_new).count("[[zone]]") == 2
    sheet = read_sheet(path)
    assert [(zone.name, zone.role) for zone in sheet.zones] == [("label", "protect"), ("card", "patch")]
    assert sheet.baseline == "SB_0001.dng"
    assert [found.name for found in capture.parent.iterdir()] == [capture.name]


def test_a_sheet_that_is_named_and_not_there_is_made_under_its_full_name(capture: Path, tmp_path: Path) -> None:
    with opened(capture, tmp_path / "front") as session:
        wait(save(session, [drawn()]))
    assert [zone.name for zone in read_sheet(tmp_path / "front.set.toml").zones] == ["label"]


def test_what_was_typed_stays_and_saving_goes_on_from_what_is_there(capture: Path, sheet: Path) -> None:
    with opened(capture, sheet) as session:
        answer = wait(save(session, [drawn("front", was="label"), drawn("cap", Role.SHARP)]))
        assert [(zone["was"], zone["name"]) for zone in answer["zones"]] == [("front", "front"), ("cap", "cap")]
        again = wait(save(session, [drawn("front", was="front", box=(0.5, 0.5, 0.3, 0.4))]))
        assert again["said"] == "1 zone saved in front.set.toml"
    text = sheet.read_text()
    for kept in ("# Typed by hand.", "[[zone]]   # the front", "# as wide as the bottle", "warn = 0.25"):
        assert kept in text
    (zone,) = read_sheet(sheet).zones
    assert (zone.name, zone.points[1][0]) == ("front", 0.8)


def test_a_hand_that_types_meanwhile_is_not_overwritten(capture: Path, sheet: Path) -> None:
    moved = drawn(was="label", box=(0.1, 0.1, 0.2, 0.2))
    with opened(capture, sheet) as session:
        seen = session.start()["zones"]
        sheet.write_text(SHEET + '\n[[zone]]\nname = "foot"\nrole = "sharp"\nbox = [0.0, 0.0, 0.1, 0.1]\n')
        answer = wait(save(session, [moved], seen))
        assert [zone["name"] for zone in answer["zones"]] == ["label", "foot"]
        typed = sheet.read_text().replace("[0.1, 0.1, 0.2, 0.2]", "[0.3, 0.1, 0.2, 0.2]")
        sheet.write_text(typed)
        with pytest.raises(UsageError) as caught:
            wait(save(session, [drawn(was="label"), drawn("foot", Role.SHARP, was="foot")], answer["zones"]))
        assert str(caught.value) == 'zone "label" was changed in the sheet meanwhile; nothing was saved'
    assert sheet.read_text() == typed


@pytest.mark.parametrize(
    ("zones", "said"),
    [
        ([drawn(), drawn()], 'zone "label", name: '),
        ([drawn("low", Role.PROTECT, budget=1.0)], 'zone "low", budget: '),
        ([drawn("", Role.PROTECT)], "a zone has no name"),
        ([drawn("flat", box=(0.2, 0.2, 0.0, 0.1))], 'zone "flat", box: width and height must be above 0'),
        ([drawn("card", Role.PATCH, reference="white")], 'zone "card", reference: '),
        ([drawn("wide", box=(0.5, 0.5, 0.6, 0.1))], 'zone "wide", box: lies partly outside the picture'),
    ],
)
def test_a_mistake_is_one_clause_with_the_zones_name_and_nothing_is_written(
    capture: Path, tmp_path: Path, zones: list[DrawnZone], said: str
) -> None:
    with opened(capture) as session:
        with pytest.raises(UsageError) as caught:
            wait(save(session, zones))
        assert session.said == NOTHING
    assert str(caught.value).startswith(said)
    assert "\n" not in str(caught.value)
    assert not (tmp_path / "bottles.qc").exists()


def test_a_sheet_that_went_away_is_told_and_not_made_anew(capture: Path, sheet: Path) -> None:
    with opened(capture, sheet) as session:
        sheet.unlink()
        with pytest.raises(UsageError, match="cannot be read"):
            wait(save(session, [drawn(was="label", box=(0.1, 0.1, 0.2, 0.2))]))
    assert not sheet.exists()


def test_zones_are_saved_although_what_was_accepted_cannot_be_read_any_more(capture: Path, sheet: Path) -> None:
    kept = capture.parent.with_name("bottles.qc") / "front.accepted.toml"
    kept.parent.mkdir()
    with opened(capture, sheet) as session:
        kept.write_text("accepted = 3")
        answer = wait(save(session, [drawn(was="label", box=(0.1, 0.1, 0.2, 0.2))]))
    assert answer["said"].startswith("1 zone saved in front.set.toml; what was accepted is left aside: ")
    assert "front.accepted.toml: line 1" in answer["said"]
    assert read_sheet(sheet).zones[0].points[0] == (0.1, 0.1)


def test_what_was_accepted_counts_for_the_zone_that_it_was_accepted_in(capture: Path, sheet: Path) -> None:
    kept = capture.parent.with_name("bottles.qc") / "front.accepted.toml"
    kept.parent.mkdir()
    kept.write_text(
        '[[accepted]]\nreading = "highlights.unintended_area"\nzone = "label"\nvalue = 6.3\nbar = 7.0\n'
        'was = 0.25\ncapture = "SB_0001.dng"\nat = 2026-11-25T10:00:00+01:00\n'
    )
    with opened(capture, sheet) as session:
        judged = wait(session.measure(Measure(zone=drawn(was="label"), rest=True)))["judged"]
        renamed = wait(session.measure(Measure(zone=drawn("front", was="label"), rest=True)))["judged"]
    of_both = [next(line for line in lines if line["said"].startswith("burnt")) for lines in (judged, renamed)]
    assert [(line["against"], line["level"]) for line in of_both] == [
        ("warn over 7", "clear"),
        ("warn over 0.25", "warn"),
    ]
