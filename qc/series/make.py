"""From a result to the small entry that the folds of a day read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TypeVar

from qc.reading import Spec
from qc.result import Result
from qc.series.entry import Entry, Order
from qc.series.tiles import Light

Same = TypeVar("Same")


def entry_of(
    result: Result,
    *,
    order: Order,
    light: Light | None,
    specs: Sequence[Spec],
    content: str | None = None,
    flash: bool = True,
) -> Entry:
    """Return what the folds read of a capture.

    Parameters
    ----------
    result : Result
        Of the capture alone.
    order : Order
        `qc.series.order.order_of` makes it.
    light : ndarray of float32, shape (rows, columns), or None
        `qc.series.tiles.light_of` makes it from the digest.
    specs : sequence of Spec
        The measurements: which readings can give a verdict a cause.
    content : str or None
        What the capture is known by, where it could not be read and so has no content of its own.
    flash : bool
        False where the set's light is continuous: no frame of it can lack its flash.

    Returns
    -------
    Entry
        Without purpose, answers and ambient test: those are the log's to add.
    """
    camera = result.camera
    settings = camera.settings
    weighed = {reading.name for spec in specs for reading in spec.readings if reading.worse is not None}
    return Entry(
        content=content or result.file.content or f"path:{result.file.path}",
        name=result.file.name,
        order=order,
        state=_one(result.file.state),
        settings=replace(
            settings,
            make=_one(settings.make),
            model=_one(settings.model),
            serial=_one(settings.serial),
            lens=_one(settings.lens),
        ),
        kind=_one(camera.kind),
        size=_one((camera.width, camera.height)) if camera.width and camera.height else None,
        verdict=result.verdict,
        values={
            _one((reading.name, reading.zone)): reading.value
            for reading in result.readings
            if reading.value is not None and reading.name in weighed
        },
        found=_one(frozenset(finding.code for finding in result.findings)),
        light=light,
        flash=flash,
    )


@lru_cache(maxsize=4096)
def _one(value: Same) -> Same:
    """Return the first value that was equal to this one: results of workers repeat names, a day keeps them all."""
    return value
