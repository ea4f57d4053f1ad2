"""The scripted day with pictures and its page: ``python -m tests.pages.follow.pictured_day --pace 2``."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from qc.digest import Digest
from qc.intake.updates import Judged, Update
from qc.reading import Region
from qc.show.watching import words
from tests.sheet.toys import LABEL, NECK
from tests.show import scripted_day
from tests.show.scripted_day import Day, Scripted


@cache
def digest(rows: int = 1067, columns: int = 1600) -> Digest:
    """Return a picture of two bottles before a backdrop, made up."""
    y, x = np.mgrid[0:rows, 0:columns] / max(rows, columns)
    light = 60 + 50 * y
    for middle in (0.35, 0.65):
        inside = (np.abs(x - middle) < 0.09) & (y > 0.15) & (y < 0.6)
        light = np.where(inside, 150 + 90 * np.exp(-(((x - middle + 0.05) / 0.015) ** 2)), light)
    left, top, wide, high = box = (0.52, 0.35, 0.06, 0.12)
    outline = ((left, top), (left + wide, top), (left + wide, top + high), (left, top + high))
    return Digest(
        preview=np.clip(light, 0, 255).astype(np.uint8),
        colours="RGB",
        tile_means=np.full((3, 4, 6), 0.25, dtype=np.float32),
        regions=(Region(what="clipped", box=box, area=0.72, colours="RGB", zone="label", outline=outline),),
        region_readings=("burnt.area",),
        full_size=(columns * 5, rows * 5),
    )


def pictured(update: Update, rows: int = 1067, columns: int = 1600) -> Update:
    """Return an update with a picture, where it is a capture."""
    if not isinstance(update, Judged):
        return update
    return replace(update, result=replace(update.result, digest=digest(rows, columns)))


class PicturedDay(Day):
    """The scripted day with pictures."""

    def __iter__(self) -> Iterator[Update]:
        return map(pictured, super().__iter__())


def show(scripted: Scripted, output: Any, *, judged: Callable[[], bool], **how: Any) -> bool:
    from qc_cli.page import Wanted, opening
    from qc_cli.views import show as shown

    page = opening(
        Wanted(),
        folder=Path("in/bottles"),
        out=scripted.out,
        specs=scripted.specs,
        wake=scripted.wake,
        offer=how["offer"],
        zones=lambda _: (LABEL, NECK),
        hint=lambda: () if judged() else words.unjudged(),
    )
    return shown(scripted, output, judged=judged, page=page, **how)


if __name__ == "__main__":
    scripted_day.Day = PicturedDay  # type: ignore[misc]  # the day is the same, but for its pictures
    scripted_day.main(show)
