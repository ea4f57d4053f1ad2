"""What needs a decision: causes as headings, worst first, each frame in full once."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from qc.day import Day, Taken
from qc.reading import Level, ReadingSpec, Spec
from qc.result import Cause
from qc.series.levels import severity
from qc.series.standing import SEEN
from qc.series.wrap.grouping import CauseGroup, causes
from qc.show.handoff.asks import value_of
from qc.show.text import clean
from qc.words import counted, spoken_number

DRAWN = 3
"""Frames of one cause, worst first, that stand with their drawings; of the others the names do."""

BESIDES = 3
"""What else stands against a frame is said up to so many times."""

DECIDE = (Level.HALT, Level.WARN)
"""Levels that need a decision."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """A frame under a heading.

    Attributes
    ----------
    content : str
        The capture.
    text : str
        As a photographer would say it.
    limit : str
        What it is over or under, and where that limit comes from; empty where there is none.
    also : tuple of str
        What else has a level, most important first, at most `BESIDES`.
    more : int
        How many there are beyond those.
    """

    content: str
    text: str
    limit: str
    also: tuple[str, ...] = ()
    more: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Heading:
    """One cause.

    Attributes
    ----------
    level : Level
        What it gives.
    reading : str
        Catalogue name, code or ``"file.state"``.
    title : str
        As a photographer would say it; of several frames that of the worst.
    drawn, named : tuple of Held
        Frames whose most important cause it is, worst first; `named` are those beyond `DRAWN`.
    besides : tuple of str
        Contents of frames that have it too and stand under another heading.
    """

    level: Level
    reading: str
    title: str
    drawn: tuple[Held, ...]
    named: tuple[Held, ...] = ()
    besides: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many frames have it."""
        return len(self.drawn) + len(self.named) + len(self.besides)


def headings(day: Day, *, specs: Sequence[Spec], levels: Sequence[Level] = DECIDE) -> tuple[Heading, ...]:
    """Return the causes of a day at some levels, worst first.

    Parameters
    ----------
    day : Day
        The day.
    specs : sequence of Spec
        The measurements.
    levels : sequence of Level
        Which levels of causes.

    Returns
    -------
    tuple of Heading
        A frame stands in full under its most important cause only, so that one fault is one entry; what else
        stands against it is said there. A cause that is no frame's most important one has no heading.
    """
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    frames = {taken.entry.content: taken for taken in day.captures}
    found = (_heading(group, frames, known) for group in causes(day, specs=specs) if group.level in levels)
    return tuple(heading for heading in found if heading.drawn)


def _heading(group: CauseGroup, frames: Mapping[str, Taken], known: Mapping[str, ReadingSpec]) -> Heading:
    spec = known.get(group.reading)
    worst = sorted(group.frames, key=lambda one: -_badness(frames[one[0]], one[1], spec))
    own = [(content, cause) for content, cause in worst if frames[content].standing.causes[0] == cause]
    held = tuple(_held(frames[content], cause, spec) for content, cause in own)
    return Heading(
        level=group.level,
        reading=group.reading,
        title=_title(group, worst, spec),
        drawn=held[:DRAWN],
        named=held[DRAWN:],
        besides=tuple(content for content, cause in group.frames if (content, cause) not in own),
    )


def _title(group: CauseGroup, worst: Sequence[tuple[str, Cause]], spec: ReadingSpec | None) -> str:
    """Say a cause of one frame or of several: that of the worst, or what all of them begin with."""
    texts = list(dict.fromkeys(clean(cause.text) for _, cause in worst))
    if len(texts) == 1:
        return texts[0]
    if group.reading == "file.state":
        return f"{SEEN if group.answered else ''}{counted(len(group.frames), 'file')} not whole"
    if spec is not None:
        return f"{texts[0]}, at worst"
    begun = {text.partition(";")[0] for text in texts}
    return begun.pop() if len(begun) == 1 else f"{texts[0]}, and the like"


def _held(taken: Taken, cause: Cause, spec: ReadingSpec | None) -> Held:
    others = (other for other in taken.standing.causes if other != cause and severity(other.level))
    also = tuple(dict.fromkeys(clean(other.text) for other in others))
    return Held(
        content=taken.entry.content,
        text=clean(cause.text),
        limit=limit_text(cause, spec),
        also=also[:BESIDES],
        more=len(also[BESIDES:]),
    )


def limit_text(cause: Cause, spec: ReadingSpec | None) -> str:
    """Say which limit a cause passed and where it comes from; empty where there is none."""
    if cause.limit is None or spec is None:
        return ""
    bar = spoken_number(cause.limit, spec.decimals)
    return f"{'under' if spec.worse == 'low' else 'over'} the limit {bar} {spec.unit} ({clean(cause.origin)})"


def _badness(taken: Taken, cause: Cause, spec: ReadingSpec | None) -> float:
    value = value_of(taken, cause)
    if spec is None or value is None:
        return 0.0
    return abs(value) if spec.worse == "either" else -value if spec.worse == "low" else value


def wanted(told: Sequence[Heading]) -> Iterator[str]:
    """Yield the contents of the frames that stand with drawings."""
    for heading in told:
        yield from (held.content for held in heading.drawn)
