"""Which captures of a day are of one body."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.day import Day

UNKNOWN = ""
"""Body of a capture that records neither make nor model nor serial number."""


def bodies_of(day: Day) -> Mapping[str, str]:
    """Return the body of each capture in words, by content; `UNKNOWN` where nothing of it is recorded.

    Make, model and serial number. A file without the serial number, such as a finished picture, is of the one body
    of its make and model that has one; where there are several it stands for itself.
    """
    models = {}
    serials: dict[str, set[str]] = defaultdict(set)
    for taken in day.captures:
        settings = taken.entry.settings
        model = " ".join(part for part in (settings.make, settings.model) if part)
        models[taken.entry.content] = model, settings.serial
        if settings.serial:
            serials[model].add(settings.serial)
    return {content: _body(model, serial, serials[model]) for content, (model, serial) in models.items()}


def _body(model: str, serial: str | None, known: set[str]) -> str:
    if serial is None and model and len(known) == 1:
        (serial,) = known
    return " ".join(part for part in (model, serial) if part)
