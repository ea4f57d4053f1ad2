"""Files whose size is far from that of their like."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Hashable, Iterator, Sequence
from pathlib import PurePath
from statistics import median
from typing import TYPE_CHECKING

from qc.errors import printable
from qc.reading import Level
from qc.series.entry import Purpose
from qc.series.findings import NO_FLASH
from qc.series.misfire import NEARLY_BLACK
from qc.series.wrap.bodies import bodies_of
from qc.series.wrap.findings import SIZE_UNUSUAL, finding

if TYPE_CHECKING:
    from qc.day import Day, DayFinding, Taken

FEWEST = 8
"""Files of one kind that it takes to say what is usual. Our own choice."""

DEVIATIONS = 6.0
"""Times the usual deviation of log size that a file must lie from the median. Our own choice: the sizes of
compressed pictures have long tails, since now and then one shows a card or an empty sweep."""

FLOOR = 1.6
"""A file must be so many times smaller or larger than the median whatever the deviation is: quiet and busy
pictures of one camera differ by about half (common practice, no published source)."""

FEW = 1 / 5
"""Part of the files up to which those that are far off are unusual: with more there are two sorts of pictures,
such as frames of a chart among dark ones. Our own choice."""

_TO_SIGMA = 1.4826
"""Median absolute deviation of a normal distribution to its standard deviation (Rousseeuw & Croux 1993; from
memory)."""

_OTHER_SCENES = frozenset({Purpose.DARK, Purpose.CLEAN_PLATE, Purpose.PATCH, Purpose.LEAVE_OUT})


def sizes(day: Day) -> Iterator[DayFinding]:
    """Yield files of an unusual size among whole captures of one body, kind and picture size.

    Frames that show something else (a dark frame, a clean plate, a patch, a misfire) are neither told nor counted.
    """
    bodies = bodies_of(day)
    groups: dict[Hashable, list[Taken]] = defaultdict(list)
    for taken in day.captures:
        entry = taken.entry
        suffix = PurePath(entry.name).suffix.casefold()
        if _is_ordinary(taken):
            groups[bodies[entry.content], entry.kind, entry.size, suffix].append(taken)
    for captures in groups.values():
        yield from _outliers(captures)


def _is_ordinary(taken: Taken) -> bool:
    entry = taken.entry
    if entry.state != "whole" or entry.size is None or taken.logged.result.file.bytes <= 0:
        return False
    dark = NEARLY_BLACK in entry.found or any(cause.reading == NO_FLASH for cause in taken.standing.causes)
    return entry.purpose not in _OTHER_SCENES and not dark


def _outliers(captures: Sequence[Taken]) -> Iterator[DayFinding]:
    if len(captures) < FEWEST:
        return
    logs = [math.log(taken.logged.result.file.bytes) for taken in captures]
    usual = median(logs)
    deviation = _TO_SIGMA * median(abs(one - usual) for one in logs)
    bar = max(DEVIATIONS * deviation, math.log(FLOOR))
    far = [taken for taken, one in zip(captures, logs, strict=True) if abs(one - usual) > bar]
    if len(far) <= FEW * len(captures):
        yield from (_outlier(taken, math.exp(usual)) for taken in far)


def _outlier(taken: Taken, usual: float) -> DayFinding:
    size = taken.logged.result.file.bytes
    text = f"{printable(taken.entry.name)} has {_mb(size)}, where files of its kind have {_mb(usual)}"
    data = {"bytes": size, "usual_bytes": round(usual)}
    return finding(SIZE_UNUSUAL, Level.NOTE, text, [taken.entry.content], **data)


def _mb(size: float) -> str:
    return f"{size / 1e6:.3g} MB"
