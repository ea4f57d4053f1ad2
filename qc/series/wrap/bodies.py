"""Which captures of a day are of one body."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from qc.day import Day
    from qc.frame import Camera

UNKNOWN = ""
"""Body of a capture that records neither make nor model nor serial number, or that several may have taken."""


def bodies_of(day: Day) -> Mapping[str, str]:
    """Return the body of each capture in words, by content; `UNKNOWN` where that cannot be told.

    Make, model and serial number. A file without the serial number, such as a finished picture, is of the one body
    of its make and model that has one.
    """
    models = {}
    serials: dict[str, set[str]] = defaultdict(set)
    for taken in day.captures:
        settings = taken.entry.settings
        model = _model(settings)
        models[taken.entry.content] = model, settings.serial
        if settings.serial:
            serials[model].add(settings.serial)
    return {content: _body(model, serial, serials[model]) for content, (model, serial) in models.items()}


def _model(settings: Camera) -> str:
    make, model = settings.make or "", settings.model or ""
    return model if model.casefold().startswith(make.casefold()) and model else f"{make} {model}".strip()


def _body(model: str, serial: str | None, known: set[str]) -> str:
    if not serial and len(known) > 1:
        return UNKNOWN
    if not serial and model:
        serial = next(iter(known), None)
    return " ".join(part for part in (model, serial) if part)
