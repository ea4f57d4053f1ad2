"""`Entry` and `Standing`: what a fold reads of a capture, and what the day makes of it. Types only."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import numpy as np
from numpy.typing import NDArray

from qc.frame import Camera
from qc.reading import Level
from qc.result import Cause, State, Verdict
from qc.sheet.limits import Place

Order = tuple[str, str, int, int]
"""Where a capture stands in the day: time taken (UTC where an offset is recorded, else local; the time of arrival
where the camera recorded none), its name less the counter, that counter, number of arrival.
`qc.series.order.order_of` makes it, `qc.series.order.in_order` sorts by it."""


class Purpose(StrEnum):
    """What a frame is for, when the tool should not guess."""

    DARK = "dark"
    PATCH = "patch"
    CLEAN_PLATE = "clean-plate"
    LEAVE_OUT = "leave-out"
    BASELINE = "baseline"


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """One capture as the folds see it; small, so that a day of thousands stays in memory.

    Attributes
    ----------
    content : str
        What it is known by.
    name : str
        File name, as the operating system gives it.
    order : Order
        Where it stands in the day.
    state : State
        Of its file.
    settings : Camera
        As recorded.
    kind : str or None
        Kind of frame; frames of different kinds are never compared.
    size : (int, int) or None
        Width and height of the upright picture; frames of different sizes are never compared.
    verdict : Verdict
        Of the capture alone.
    values : mapping of (reading, zone) to float
        Those readings that a verdict can have a cause of.
    found : frozenset of str
        Codes of its findings.
    light : ndarray of float32, shape (rows, columns), or None
        Mean light of each coarse tile, upright (`qc.series.order.light_of`); None without a frame.
    flash : bool
        Whether the set is lit by flash; False where its sheet says that the light is continuous.
    purpose : Purpose or None
        Given to it by a person, or by a watch that was started for the ambient test.
    answered : frozenset of (reading or code, zone)
        Causes of this capture that a person has seen: they are no alarm any more, and stay as notes.
    accepted : frozenset of (reading or code, zone)
        Causes of this capture that a person accepted as intended: nothing of them stands, answered or not.
    ambient : Verdict or None
        Of the ambient test of this dark frame against its nearest lit one; None when there was none.
    ambient_text : str
        Its figures in words: "5.1 stops under the flash of SB_0012.dng, at the worst place 3.8".
    ambient_lit : str or None
        Content of that lit frame.
    """

    content: str
    name: str
    order: Order
    state: State
    settings: Camera
    kind: str | None
    size: tuple[int, int] | None = None
    verdict: Verdict
    values: Mapping[Place, float] = field(default_factory=dict)
    found: frozenset[str] = frozenset()
    light: NDArray[np.float32] | None = field(default=None, compare=False)
    flash: bool = True
    purpose: Purpose | None = None
    answered: frozenset[Place] = frozenset()
    accepted: frozenset[Place] = frozenset()
    ambient: Verdict | None = None
    ambient_text: str = ""
    ambient_lit: str | None = None

    @property
    def settled(self) -> frozenset[Place]:
        """Causes of this capture that do not count any more: answered or accepted."""
        return self.answered | self.accepted


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """What the day makes of one capture.

    Attributes
    ----------
    content : str
        The capture.
    level : Level
        Worst of `causes`; else that of its own verdict.
    causes : tuple of Cause
        Those of its verdict and those of the series, most important first; accepted ones are left out, answered
        ones are notes: "seen: label burnt 0.31 %".
    repeats : int
        In how many frames in a row the first cause has now stood, this one counted; 1 for a new one, 0 without
        a cause.
    first_name : str
        File name of the frame where that row began.
    easing : tuple of Place
        Alarms that this frame's values would not raise and that are still up: not yet under 80 % of the limit.
    data : mapping
        JSON-ready figures behind the series' causes.
    answered : tuple of Place
        Which of `causes` a person answered.
    """

    content: str
    level: Level
    causes: tuple[Cause, ...] = ()
    repeats: int = 0
    first_name: str = ""
    easing: tuple[Place, ...] = ()
    data: Mapping[str, Any] = field(default_factory=dict)
    answered: tuple[Place, ...] = ()
