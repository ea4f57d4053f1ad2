"""From the causes of a capture alone and those of the series to where it stands."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from qc.judge import ALWAYS
from qc.reading import Level
from qc.result import Cause, Verdict
from qc.series.alarms import place_of
from qc.series.entry import Entry, Purpose
from qc.series.findings import AMBIENT_TEST, LEFT_OUT, LIGHT_CHANGED, NO_FLASH, ORIGIN, SETTINGS_CHANGED, told
from qc.series.levels import severity, worst
from qc.series.misfire import NEARLY_BLACK, with_misfire

_SLOTS = {SETTINGS_CHANGED: 0, NO_FLASH: 1, LIGHT_CHANGED: 3, AMBIENT_TEST: 4}
"""Where the series' causes go among those of one level: settings, misfire, the capture's own, the rest."""

_OWN = 2

SEEN = "seen: "
"""What a cause that was answered begins with: nobody looks at it again, and it is still there."""

_UNJUDGED = Verdict(level=Level.UNJUDGED)

_LEFT_OUT = Verdict(level=Level.UNJUDGED, causes=told(LEFT_OUT, Level.UNJUDGED, "left out").causes)


@dataclass(frozen=True, slots=True, kw_only=True)
class Parted:
    """What stands against a capture, parted by whether a person answered it; each most important first.

    Attributes
    ----------
    level : Level
        Worst of both; where nothing asks for anything, that of the verdict less what was settled.
    alarms : tuple of Cause
        What nobody settled.
    answered : tuple of Cause
        What was answered, at `note` and in the words of `SEEN`. What asked for nothing keeps its level.
    """

    level: Level
    alarms: tuple[Cause, ...] = ()
    answered: tuple[Cause, ...] = ()

    @property
    def causes(self) -> tuple[Cause, ...]:
        """Both, worst first; of one level what was answered comes last."""
        return tuple(sorted((*self.alarms, *self.answered), key=lambda cause: -severity(cause.level)))


def own_verdict(entry: Entry, *, dark: bool) -> Verdict:
    """Return the verdict that counts for a capture apart from the series.

    Parameters
    ----------
    entry : Entry
        The capture.
    dark : bool
        Whether the flash did not light it.

    Returns
    -------
    Verdict
        Of a frame declared dark that of its ambient test; of a frame left out only that it is, as long as its file
        is whole; of an undeclared dark frame its own, less the cause that the series says better and with what
        could not be read in it at `unmeasured`, as `qc.judge` does.
    """
    if entry.state != "whole":
        return entry.verdict
    if entry.purpose is Purpose.LEAVE_OUT:
        return _LEFT_OUT
    if entry.purpose is Purpose.DARK:
        return entry.ambient or _UNJUDGED
    if not dark:
        return entry.verdict
    # what is not in the picture could not be looked at, and nothing else is wrong with it
    causes = tuple(replace(c, level=Level.UNMEASURED) if _is_unread(c) else c for c in entry.verdict.causes)
    level = worst(causes) or (Level.UNMEASURED if causes else entry.verdict.level)
    return without(Verdict(level=level, causes=causes), {(NEARLY_BLACK, None)})


def _is_unread(cause: Cause) -> bool:
    """Tell whether a cause is that a place with a limit has no number."""
    return cause.limit is None and cause.origin != ALWAYS


def without(verdict: Verdict, places: Iterable[tuple[str, str | None]]) -> Verdict:
    """Return a verdict less the causes at some places, with the level that is left.

    Where nothing is left that asks for something: `clear` when what was taken out was judged by a limit, since the
    rest was too; else `unmeasured` where something could not be looked at, and `unjudged` where nothing is known.
    """
    gone = frozenset(places)
    out = [cause for cause in verdict.causes if (cause.reading, cause.zone) in gone and severity(cause.level)]
    left = tuple(cause for cause in verdict.causes if (cause.reading, cause.zone) not in gone)
    level = verdict.level
    if out and (worse := worst(left)) is not None:
        level = worse
    elif out:
        unmeasured = Level.UNMEASURED if left else Level.UNJUDGED
        level = Level.CLEAR if any(cause.origin != ALWAYS for cause in out) else unmeasured
    return Verdict(level=level, causes=left)


def ranked(own: Verdict, series: Sequence[Cause]) -> tuple[Cause, ...]:
    """Return all causes, worst first and then in the order of importance."""

    def rank(cause: Cause) -> tuple[int, int]:
        slot = _SLOTS.get(cause.reading, _OWN) if cause.origin == ORIGIN else _OWN
        return -severity(cause.level), slot

    return tuple(sorted((*own.causes, *series), key=rank))


def parted(entry: Entry, own: Verdict, series: Sequence[Cause] = ()) -> Parted:
    """Part what stands against a capture by what a person said of it.

    Parameters
    ----------
    entry : Entry
        The capture.
    own : Verdict
        As `own_verdict` returns it.
    series : sequence of Cause
        What several captures give together.
    """
    every, settled = ranked(own, series), with_misfire(entry.settled)
    answered = with_misfire(entry.answered) - with_misfire(entry.accepted)
    alarms = tuple(cause for cause in every if place_of(cause) not in settled)
    seen = tuple(_seen(cause) for cause in every if place_of(cause) in answered)
    level = worst((*alarms, *seen)) or without(own, entry.settled).level
    return Parted(level=level, alarms=alarms, answered=seen)


def _seen(cause: Cause) -> Cause:
    level = Level.NOTE if severity(cause.level) else cause.level
    return replace(cause, level=level, text=f"{SEEN}{cause.text}")
