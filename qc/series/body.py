"""The folds of one camera body, and which body a capture is of."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from qc.reading import Spec, Worse
from qc.series import alarms, light, misfire, settings
from qc.series.entry import Entry, Purpose, Standing
from qc.series.findings import NOTHING
from qc.series.levels import worst
from qc.series.standing import own_verdict, ranked, without
from qc.settings import different_body

MOST = 8
"""Bodies and kinds of file that are remembered, the one used last first. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Body:
    """What is kept of one body and kind of file.

    Attributes
    ----------
    last : Entry
        A capture that tells it from others.
    settings, light, misfire, alarms
        State of each fold.
    """

    last: Entry
    settings: settings.State = settings.START
    light: light.State = light.START
    misfire: misfire.State = misfire.START
    alarms: alarms.State = field(default_factory=dict)


State = tuple[Body, ...]
"""After some captures of a day."""

START: State = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Taken:
    """What one capture came to.

    Attributes
    ----------
    standing : Standing
        What the day makes of it.
    dark : bool
        Whether it counts as a frame without flash.
    """

    standing: Standing
    dark: bool = False


def worse_of(specs: Sequence[Spec]) -> Mapping[str, Worse]:
    """Return for each reading that can have a limit which way is worse."""
    return {r.name: r.worse for spec in specs for r in spec.readings if r.worse is not None}


def step(state: State, entry: Entry, worse: Mapping[str, Worse]) -> tuple[State, Taken]:
    """Take up the next capture in the order taken; a frame left out changes nothing for the others."""
    if entry.purpose is Purpose.LEAVE_OUT:
        own = without(own_verdict(entry, dark=False), entry.answered)
        standing = Standing(
            content=entry.content,
            level=own.level,
            causes=own.causes,
            repeats=min(1, len(own.causes)),
            first_name=entry.name if own.causes else "",
        )
        return state, Taken(standing=standing)
    body = next((body for body in state if _is_of(entry, body.last)), Body(last=entry))
    others = tuple(other for other in state if other is not body)
    after, taken = _step(body, entry, worse)
    return (after, *others[: MOST - 1]), taken


def _is_of(entry: Entry, last: Entry) -> bool:
    kinds = {entry.kind, last.kind} - {None}  # of a file that could not be decoded the kind is not known
    return len(kinds) < 2 and different_body(entry.settings, last.settings) is None


def _step(body: Body, entry: Entry, worse: Mapping[str, Worse]) -> tuple[Body, Taken]:
    dark, told = False, [NOTHING, NOTHING, NOTHING]
    if entry.state == "whole":
        body = replace(body, last=entry)
        changed, told[0] = settings.step(body.settings, entry)
        flash, dark, told[1] = misfire.step(body.misfire, entry)
        lit, told[2] = (body.light, NOTHING) if dark else light.step(body.light, entry)
        body = replace(body, settings=changed, misfire=flash, light=lit)
    own = without(own_verdict(entry, dark=dark), entry.answered)
    series = [c for one in told for c in one.causes if (c.reading, c.zone) not in entry.answered]
    causes = ranked(own, series)
    silent = dark or entry.state != "whole"
    up, easing = alarms.step(body.alarms, entry, causes, worse=worse, silent=silent)
    first = up[alarms.place_of(causes[0])] if causes else None
    standing = Standing(
        content=entry.content,
        level=worst(causes) or own.level,
        causes=causes,
        repeats=first.count if first else 0,
        first_name=first.first_name if first else "",
        easing=easing,
        data={code: figures for one in told for code, figures in one.data.items()},
    )
    return replace(body, alarms=up), Taken(standing=standing, dark=dark)
