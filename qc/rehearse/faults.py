"""The faults that a rehearsed day can hold, each with what a watch ought to say of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from qc.errors import UsageError
from qc.reading import Level

Powers = Mapping[str, float]

LAMP: Powers = {"lamp": 1.2, "window": 0.3}
"""The room with a warm lamp left on, about five stops under the flash."""


class Fault(StrEnum):
    """What can be planted."""

    MISFIRE = "misfire"
    TWO_MISFIRES = "two misfires"
    SETTING = "setting"
    CUT = "cut"
    BURNT = "burnt label"
    SOFT = "soft"
    AMBIENT = "ambient pair"
    COPY = "copy"
    PAIR = "raw and jpeg"
    WEAK = "weak flash"
    SETTING_STAYS = "setting stays"


@dataclass(frozen=True, slots=True, kw_only=True)
class Planted:
    """A fault in one frame.

    Attributes
    ----------
    fault : Fault
        Which.
    about : str
        What was done, in words.
    level, level_with_sheet : Level
        What a watch ought to say without and with the set's sheet; `unjudged` and `clear` where it ought to keep
        quiet.
    flash : bool
        Whether the heads fire.
    stops : float
        How much more light than they ought to the heads give.
    spot : float
        Power of the snooted spot, which lights the label when it goes wrong.
    room : mapping of str to float or None
        The room's light in place of the day's.
    focus_back : float
        How far the sharp plane lies behind the label, millimetres.
    aperture : float or None
        f-number from this frame on.
    """

    fault: Fault
    about: str
    level: Level = Level.UNJUDGED
    level_with_sheet: Level = Level.CLEAR
    flash: bool = True
    stops: float = 0.0
    spot: float = 0.0
    room: Powers | None = None
    focus_back: float = 0.0
    aperture: float | None = None

    def light(self, heads: Powers, room: Powers) -> tuple[Powers, Powers]:
        """Return the powers of heads and room in this frame, from those of the day."""
        burning = {name: power * 2**self.stops for name, power in heads.items()}
        if self.spot:
            burning["spot"] = self.spot
        return burning if self.flash else {}, room if self.room is None else self.room


def _both(fault: Fault, about: str, level: Level, **what: object) -> Planted:
    return Planted(fault=fault, about=about, level=level, level_with_sheet=level, **what)  # type: ignore[arg-type]  # as Planted takes them


PLANTS: Mapping[Fault, tuple[Planted | None, ...]] = MappingProxyType(
    {
        Fault.MISFIRE: (_both(Fault.MISFIRE, "the flash missed", Level.WARN, flash=False),),
        Fault.TWO_MISFIRES: (
            _both(Fault.TWO_MISFIRES, "the flash missed", Level.WARN, flash=False),
            _both(Fault.TWO_MISFIRES, "the flash missed again", Level.HALT, flash=False),
        ),
        Fault.SETTING: (
            _both(Fault.SETTING, "aperture opened from f/11 to f/8", Level.WARN, aperture=8.0),
            None,
            None,
            _both(Fault.SETTING, "aperture closed to f/11 again", Level.WARN, aperture=11.0),
        ),
        Fault.WEAK: (_both(Fault.WEAK, "shot before the heads were ready again", Level.WARN, stops=-0.6),),
        Fault.SETTING_STAYS: (
            _both(Fault.SETTING_STAYS, "aperture opened from f/11 to f/8, for good", Level.WARN, aperture=8.0),
        ),
        Fault.CUT: (_both(Fault.CUT, "the writer stopped half way", Level.HALT),),
        Fault.BURNT: (
            Planted(
                fault=Fault.BURNT,
                about="the spot slipped onto the label",
                level_with_sheet=Level.HALT,
                spot=1.0,
            ),
        ),
        Fault.SOFT: (
            Planted(
                fault=Fault.SOFT,
                about="focus moved back from the label",
                level_with_sheet=Level.WARN,
                focus_back=90.0,
            ),
        ),
        Fault.AMBIENT: (
            _both(Fault.AMBIENT, "trigger off, a lamp left on", Level.WARN, flash=False, room=LAMP),
            Planted(fault=Fault.AMBIENT, about="trigger on, the lamp still on", room=LAMP),
        ),
        Fault.COPY: (Planted(fault=Fault.COPY, about="the frame before under another name"),),
        Fault.PAIR: (Planted(fault=Fault.PAIR, about="a JPEG beside the raw"),),
    }
)
"""Frames of each fault in the order taken; None is an ordinary frame that belongs to it."""

FIRST, BETWEEN = 6, 3
"""Ordinary frames before the first fault, and after each unless told."""


def shortest(faults: Sequence[Fault], between: int = BETWEEN) -> int:
    """Return how many frames a day needs at least to hold these faults."""
    return FIRST + sum(len(PLANTS[fault]) + between for fault in faults) if faults else 0


def places(
    frames: int, faults: Sequence[Fault], rng: np.random.Generator, between: int = BETWEEN
) -> dict[int, Planted]:
    """Return what is planted in which frame: every fault has ordinary frames before and after it."""
    need = shortest(faults, between)
    if frames < need:
        raise UsageError(f"{len(faults)} faults need a day of at least {need} frames, not {frames}")
    extra = np.diff(np.sort(rng.integers(0, frames - need + 1, len(faults))), prepend=0)
    found: dict[int, Planted] = {}
    at = FIRST
    for fault, more in zip(faults, extra.tolist(), strict=True):
        at += more
        found |= {at + step: plant for step, plant in enumerate(PLANTS[fault]) if plant is not None}
        at += len(PLANTS[fault]) + between
    return found
