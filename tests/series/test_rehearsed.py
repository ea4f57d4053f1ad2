"""The folds over real results: rehearsed captures, measured as every capture is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import numpy as np
import pytest

from qc.digest import Digest, tile_light
from qc.measure import specs
from qc.pipeline import measure_capture
from qc.reading import Level
from qc.rehearse.day import Delivered, plan, shoot_day
from qc.rehearse.faults import Fault
from qc.rehearse.studio import ALL_HEADS, Studio
from qc.result import Result, Verdict
from qc.series.entry import Entry, Standing
from qc.series.make import entry_of
from qc.series.order import light_of, order_of
from qc.series.run import Day, fold
from qc.sheet.sheet import Sheet

SIZE = (200, 300)
FAULTS = (Fault.MISFIRE, Fault.SETTING, Fault.CUT, Fault.TWO_MISFIRES)


def entry(result: Result, number: int) -> Entry:
    order = order_of(result.camera.settings, "2026-11-25T12:00:00+01:00", result.file.name, number)
    light = light_of(result.digest) if result.digest else None
    return entry_of(result, order=order, light=light, specs=specs())


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Delivered, Entry]]:
    delivered = shoot_day(plan(3, 28, FAULTS), tmp_path_factory.mktemp("day"), size=SIZE)
    return [(one, entry(measure_capture(one.path), n)) for n, one in enumerate(delivered)]


def standings(day: list[tuple[Delivered, Entry]]) -> Mapping[str, Standing]:
    found = fold([one for _, one in day], specs=specs())
    names = {one.content: one.name for _, one in day}
    return {names[standing.content]: standing for standing in found}


def test_a_day_of_swapped_bottles_has_no_level_but_for_what_was_planted(
    day: list[tuple[Delivered, Entry]],
) -> None:
    found = {name: standing.level for name, standing in standings(day).items()}
    assert found == {one.planned.name: one.planned.level for one, _ in day}


def test_what_was_planted_is_said_in_its_words(day: list[tuple[Delivered, Entry]]) -> None:
    said: dict[Fault, list[str]] = {}
    found = standings(day)
    for one, _ in day:
        if one.planned.planted is not None:
            texts = [cause.text for cause in found[one.planned.name].causes]
            said.setdefault(one.planned.planted.fault, []).extend(texts)
    assert said[Fault.MISFIRE] == ["no flash in this frame"]
    assert said[Fault.SETTING][0] == "aperture f/11 to f/8"
    assert said[Fault.TWO_MISFIRES][0] == "no flash in this frame"
    assert said[Fault.TWO_MISFIRES][1].startswith("no flash in 2 frames in a row: SB_00")
    assert said[Fault.CUT][0].startswith("truncated")


def test_measured_in_any_order_the_day_says_the_same(day: list[tuple[Delivered, Entry]]) -> None:
    entries = [one for _, one in day]
    newest_first = Day(specs())
    for one in reversed(entries):
        newest_first.put(one)
    assert newest_first.standings == fold(entries, specs=specs())


def heads(**stops: float) -> dict[str, float]:
    return {name: power * 0.6 * 2.0 ** stops.get(name, 0.0) for name, power in ALL_HEADS.items()}


def shots(*powers: Mapping[str, float]) -> Iterator[Entry]:
    """Frames of one set, as the folds see them, with the heads' power in each."""
    studio = Studio(seed=2, size=SIZE)
    for number, power in enumerate(powers):
        shot = studio.frame(heads=power, noise=number)
        frame = shot.frame()
        digest = Digest(
            preview=np.zeros((1, 1), np.uint8),
            colours=frame.colours,
            tile_means=tile_light(frame),
            full_size=frame.upright_size,
        )
        yield Entry(
            content=f"c{number}",
            name=f"SB_{number:04d}.dng",
            order=(f"2026-11-25T10:00:{number:02d}", "SB_", number, number),
            state="whole",
            settings=shot.camera,
            kind="mosaic",
            size=frame.upright_size,
            verdict=Verdict(level=Level.UNJUDGED),
            light=light_of(digest),
        )


@pytest.mark.parametrize(
    ("stops", "told"),
    [
        (dict.fromkeys(ALL_HEADS, -0.4), -0.4),
        (dict.fromkeys(ALL_HEADS, 0.4), 0.4),
        (dict.fromkeys(ALL_HEADS, 0.0), None),
        (dict.fromkeys(ALL_HEADS, 0.1), None),
    ],
)
def test_heads_that_give_other_light_than_before_are_told_by_how_much(
    stops: dict[str, float], told: float | None
) -> None:
    *_, last = fold(shots(*[heads()] * 4, heads(**stops)), specs=specs())
    found = last.data.get("light_changed", {}).get("stops")
    assert found == (None if told is None else pytest.approx(told, abs=0.03))


def test_the_main_head_lost_is_a_warn_although_it_lights_some_places_more_than_others() -> None:
    *_, last = fold(shots(*[heads()] * 4, heads() | {"key": 0.0}), specs=specs())
    assert [(cause.reading, cause.level) for cause in last.causes] == [("light_changed", Level.WARN)]


def test_an_entry_holds_what_a_verdict_can_have_a_cause_of_and_nothing_of_the_picture_but_few_tiles(
    tmp_path: Path,
) -> None:
    path = Studio(seed=2, size=SIZE).frame().write(tmp_path / "SB_0007.dng")
    result = measure_capture(path, Sheet(preset="series"))
    made = entry(result, 7)
    assert (made.content, made.name, made.kind, made.size) == (
        result.file.content,
        "SB_0007.dng",
        "mosaic",
        (300, 200),
    )
    assert made.light is not None
    assert made.light.size <= 16 * 16
    worse = {reading.name for spec in specs() for reading in spec.readings if reading.worse}
    assert {name for name, _ in made.values} <= worse
    assert all(made.values[c.reading, c.zone] is not None for c in made.verdict.causes if c.limit is not None)
    assert made.found == {finding.code for finding in result.findings}


def test_a_capture_that_could_not_be_read_is_known_by_its_path(tmp_path: Path) -> None:
    result = measure_capture(tmp_path / "SB_0001.dng")
    made = entry(result, 1)
    assert (made.state, made.content, made.kind, made.light) == (
        "vanished",
        f"path:{result.file.path}",
        None,
        None,
    )
    assert entry_of(result, order=made.order, light=None, specs=specs(), content="stat:0").content == "stat:0"
