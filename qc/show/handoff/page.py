"""``photographer.html``: one page a set, short enough to read standing; nothing that passed is on it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from importlib.resources import files

from qc.day import Day, DayFinding, Taken
from qc.reading import Level, Spec
from qc.series.entry import Purpose
from qc.series.wrap.sheets import Set, sets_of
from qc.sheet.sheet import Sheet
from qc.show.handoff.accepted import Accepted, accepted_in
from qc.show.handoff.asks import Ask, Row, asks, clock_of, name_of, runs, seen
from qc.show.palette import LEVELS, QUIET, RGB, SURROUND, TEXT
from qc.show.signs import COLUMN
from qc.show.text import clean

TEMPLATE = "photographer.html.j2"


@dataclass(frozen=True, slots=True, kw_only=True)
class Page:
    """What one set's page says.

    Attributes
    ----------
    name : str
        Of the set.
    when : str
        Date and times of its first and last frame.
    count : int
        How many frames it has.
    baseline : str
        File name of the approved frame; empty where there is none.
    again, look : tuple of Ask
        What is to be shot again, and what to look at before it is decided.
    seen : tuple of Ask
        What was answered on set and still stands: nobody knows here whether it was shot again.
    unread : tuple of Row
        Frames that could not be looked at though nothing is known to be wrong with them.
    missing : tuple of DayFinding
        What the day found about the set as a whole, worst first.
    accepted : tuple of Accepted
        Exceptions, oldest first.
    """

    name: str
    when: str = ""
    count: int = 0
    baseline: str = ""
    again: tuple[Ask, ...] = ()
    look: tuple[Ask, ...] = ()
    seen: tuple[Ask, ...] = ()
    unread: tuple[Row, ...] = ()
    missing: tuple[DayFinding, ...] = ()
    accepted: tuple[Accepted, ...] = ()


def photographer_html(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> Iterator[bytes]:
    """Yield ``photographer.html``; parameters are those of `qc.show.handoff.write_handoff`."""
    from jinja2 import Environment, StrictUndefined

    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    source = files(__package__).joinpath(TEMPLATE).read_text("utf-8")
    colours = {level.value: _css(colour) for level, colour in LEVELS.items()}
    page = environment.from_string(source).render(
        pages=pages_of(day, sheets=sheets, specs=specs),
        colours=colours | {"surround": _css(SURROUND), "text": _css(TEXT), "quiet": _css(QUIET)},
        columns={level.value: column for level, column in COLUMN.items()},
    )
    yield page.encode("utf-8", "backslashreplace")


def pages_of(day: Day, *, sheets: Mapping[str, Sheet], specs: Sequence[Spec]) -> tuple[Page, ...]:
    """Return what the pages say: one a set, then one for what belongs to no set."""
    sets = sets_of(day, sheets)
    told = [_page(one, day, specs, _missing(day, one, sets)) for one in sets]
    loose = _missing(day, None, sets)
    if loose:
        told.append(Page(name="The whole day", missing=loose))
    return tuple(told)


def _page(one: Set, day: Day, specs: Sequence[Spec], missing: tuple[DayFinding, ...]) -> Page:
    counted = [taken for taken in one.captures if taken.entry.purpose is not Purpose.LEAVE_OUT]
    return Page(
        name=clean(one.name),
        when=_when(one.captures),
        count=len(counted),
        baseline=_baseline(one),
        again=asks(one.captures, level=Level.HALT, specs=specs),
        look=asks(one.captures, level=Level.WARN, specs=specs),
        seen=seen(one.captures, specs=specs),
        unread=runs(one.captures, _is_unread),
        missing=missing,
        accepted=accepted_in(one, day, specs),
    )


def _missing(day: Day, one: Set | None, sets: Sequence[Set]) -> tuple[DayFinding, ...]:
    """Return what the day found about one set, or about none, as far as somebody should act on it."""
    told = (f for f in day.findings if f.level in (Level.WARN, Level.HALT) and _set_of(f, sets) is one)
    return tuple(replace(finding, text=clean(finding.text)) for finding in told)


def _set_of(finding: DayFinding, sets: Sequence[Set]) -> Set | None:
    """Return the one set whose page tells a finding: that of the first of its captures."""
    for content in finding.contents:
        for one in sets:
            if any(taken.entry.content == content for taken in one.captures):
                return one
    named = [one for one in sets if one.name == finding.data.get("set")]
    return named[0] if named else sets[0] if len(sets) == 1 else None


def _is_unread(taken: Taken) -> bool:
    return taken.standing.level is Level.UNMEASURED and taken.entry.state != "whole"


def _baseline(one: Set) -> str:
    given = [taken for taken in one.captures if taken.entry.purpose is Purpose.BASELINE]
    if given:
        return name_of(given[-1])
    return clean(one.sheet.baseline or "") if one.sheet is not None else ""


def _when(captures: Sequence[Taken]) -> str:
    times = [t for t in captures if clock_of(t)]
    if not times:
        return ""
    first, last = times[0], times[-1]
    dates = [(taken.logged.result.camera.settings.taken or "")[:10] for taken in (first, last)]
    if dates[0] != dates[1]:
        return f"{dates[0]} {clock_of(first)} to {dates[1]} {clock_of(last)}"
    return f"{dates[0]}, {clock_of(first)}–{clock_of(last)}"


def _css(colour: RGB) -> str:
    return "#{:02x}{:02x}{:02x}".format(*colour)
