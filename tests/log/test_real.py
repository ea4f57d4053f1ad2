"""What was measured from real files comes back from the log as it was told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from qc.intake.updates import Stamp
from qc.log.keys import key_of, limits_digest
from qc.log.log import Log
from qc.log.rows import Captured
from qc.measure import specs as all_specs
from qc.pipeline import measure_capture, rejudge
from qc.series.make import entry_of
from qc.series.order import order_of
from qc.series.tiles import light_of
from qc.sheet.sheet import Sheet

REAL = ("jpg_flash_g2.jpg", "cinema_gbrg_ljpeg.dng", "action_hero6.gpr", "trunc128.nef", "none such.dng")
"""A finished picture, a mosaic, a kind that is not decoded, a cut file, none at all."""

SPECS = [spec for spec in all_specs() if not spec.companions]


def capture(path: Path, number: int, sheet: Sheet | None) -> Captured:
    result = measure_capture(path, sheet)
    about = path.stat() if path.exists() else None
    return Captured(
        result=result,
        path=path.name,
        stamp=Stamp(about.st_size, about.st_mtime_ns, about.st_ino) if about else None,
        key=key_of(result.file.content, sheet, SPECS),
        limits=limits_digest(sheet, None, SPECS),
        light=light_of(result.digest) if result.digest else None,
        order=order_of(result.camera.settings, "2026-11-25T10:00:00.000+01:00", path.name, number),
        took_s=0.5,
    )


@pytest.mark.captures
def test_a_real_capture_comes_back_from_the_log_as_it_was_measured(captures: Path, tmp_path: Path) -> None:
    series, loose = Sheet(name="bottles", preset="series"), Sheet(name="bottles", preset="loose")
    every = [capture(captures / name, number, series) for number, name in enumerate(REAL)]
    with Log.open(tmp_path / "day.qc") as log:
        for one in every:
            log.add(one)
    with Log.open(tmp_path / "day.qc", read_only=True) as log:
        assert [c.result for c in log.captures()] == [_without_outlines(one) for one in every]
        assert list(log.entries(SPECS)) == [
            entry_of(one.result, order=one.order, light=one.light, specs=SPECS, content=one.content)
            for one in every
        ]
        for one in every[:2]:
            back = log.measured(one.key)
            assert back is not None
            assert rejudge(back, loose).verdict == rejudge(one.result, loose).verdict
            digest = log.digest(one.content)
            assert digest is not None
            assert one.result.digest is not None
            assert digest.full_size == one.result.digest.full_size
        assert log.measured(replace(every[0].key, zones="blake2b:00")) is None


def _without_outlines(one: Captured) -> object:
    regions = tuple(replace(region, outline=()) for region in one.result.regions)
    return replace(one.result, regions=regions)
