"""A rehearsed day, measured and logged as a watch does it, and what its report says of the planted faults."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from qc.log.keys import key_of, limits_digest
from qc.log.log import Log
from qc.log.rows import Captured
from qc.measure import specs
from qc.pipeline import measure_capture
from qc.rehearse.day import plan, shoot_day
from qc.rehearse.faults import Fault, shortest
from qc.series.order import order_of
from qc.series.tiles import light_of
from qc.show.report import report_again
from tests.show.report.conftest import Open

FAULTS = (Fault.MISFIRE, Fault.CUT, Fault.WEAK)


@pytest.fixture(scope="module")
def day(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Fault]]:
    """The page, and the fault of each frame that has one."""
    folder = tmp_path_factory.mktemp("rehearsed") / "bottles"
    folder.mkdir()
    planned = plan(2, shortest(FAULTS), FAULTS)
    out = folder.with_name("bottles.qc")
    with Log.open(out) as log:
        for number, delivered in enumerate(shoot_day(planned, folder), start=1):
            log.add(measured(delivered.path, number))
    planted = {frame.name: frame.planted.fault for frame in planned if frame.planted is not None}
    return report_again(out).index, planted


def measured(path: Path, number: int) -> Captured:
    result = measure_capture(path)
    arrived = f"2026-11-25T10:{number // 60:02}:{number % 60:02}+01:00"
    return Captured(
        result=result,
        path=path.name,
        stamp=None,
        key=key_of(result.file.content, None, specs()),
        limits=limits_digest(None, None, specs()),
        light=light_of(result.digest) if result.digest is not None else None,
        order=order_of(result.camera.settings, arrived, path.name, number),
        took_s=0.1,
        arrived_at=arrived,
    )


def test_each_planted_fault_is_named_once_and_nothing_else(
    day: tuple[Path, dict[str, Fault]], open_page: Open
) -> None:
    index, planted = day
    page = open_page(index)
    assert sorted(page.locator(".held h4").all_inner_texts()) == sorted(planted)
    titles = page.locator(".cause h3 .title").all_inner_texts()
    assert len(titles) == len(FAULTS)
    assert re.search("truncated", titles[0])
    assert {bool(re.search("no flash|light", title)) for title in titles[1:]} == {True}


def test_every_frame_that_was_measured_has_its_picture_and_its_outlines(
    day: tuple[Path, dict[str, Fault]],
) -> None:
    index, planted = day
    cut = sum(fault is Fault.CUT for fault in planted.values())
    pictures = index.parent / "pictures"
    frames = len(list((index.parent / "frames").iterdir()))
    assert len(list(pictures.glob("*.jpg"))) == frames - cut
    assert len(list(pictures.glob("*.highlights.svg"))) >= frames - cut - len(planted)
