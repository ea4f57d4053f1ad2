"""The page itself: what it says, in the order in which it is read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from qc.day import Day
from qc.reading import Level, Spec
from qc.series.wrap.counting import counts
from qc.sheet.sheet import Sheet
from qc.show.curve import SHAPES
from qc.show.draw._scale import scale_colours
from qc.show.lines import css
from qc.show.palette import LEVELS, QUIET, RGB, SURROUND, TEXT
from qc.show.report.frames import Frame
from qc.show.report.headings import DECIDE, headings
from qc.show.report.plots import figures
from qc.show.report.quantities import ambient, quantities
from qc.show.report.templates import render
from qc.show.signs import COLUMN
from qc.show.text import clean

MOST: Final = 8
"""Frames of a milder cause, or of a finding, that are named; of more the number."""

KEYS: Final[Mapping[str, str]] = {
    "d": "what needs a decision",
    "o": "the day over time",
    "a": "all frames",
    "/": "filter the frames",
    "n": "next frame, in the order of the list of all frames",
    "b": "the frame before",
    "w": "next frame that needs a decision",
    "m": "next drawing of the open frame",
    "p": "its plain picture",
    "Escape": "close the frame",
}
"""Keys of the page and what they do; `report.js` acts on them."""

ORDER: Final = (Level.HALT, Level.WARN, Level.NOTE, Level.CLEAR, Level.UNMEASURED, Level.UNJUDGED)


@dataclass(frozen=True, slots=True, kw_only=True)
class Told:
    """A finding about the day, ready for the page."""

    level: Level
    text: str
    contents: tuple[str, ...]


def index_html(
    day: Day, frames: Sequence[Frame], *, sheets: Mapping[str, Sheet], specs: Sequence[Spec], files: Sequence[str]
) -> bytes:
    """Return the page.

    Parameters
    ----------
    day : Day
        With its findings.
    frames : sequence of Frame
        One for each capture, in the order taken.
    sheets, specs
        As `qc.show.report.write_report`.
    files : sequence of str
        Names of the hand-off files that lie beside it.
    """
    plotted = quantities(day, sheets=sheets, specs=specs)
    test = ambient(day, sheets=sheets, specs=specs)
    by = {frame.content: frame for frame in frames}
    decide = headings(day, specs=specs)
    return render(
        "index.html.j2",
        title=title_of(day),
        summary=_summary(day, frames, sheets),
        by=by,
        frames=frames,
        decide=decide,
        drawn={
            held.content: by[held.content].drawn_for(heading.reading, specs)
            for heading in decide
            for held in heading.drawn
        },
        milder=headings(day, specs=specs, levels=(Level.NOTE, Level.UNMEASURED)),
        findings=[Told(level=f.level, text=clean(f.text), contents=f.contents) for f in day.findings],
        figures=figures(plotted, frames),
        plotted=plotted,
        columns=(*plotted, *((test,) if test is not None else ())),
        keys=KEYS,
        files=files,
        most=MOST,
        marks=COLUMN,
        shapes=SHAPES,
    )


def _summary(day: Day, frames: Sequence[Frame], sheets: Mapping[str, Sheet]) -> dict[str, object]:
    """Return what the first lines say: how many frames, of which sets, at which level, what is lost."""
    level = Counter(frame.level for frame in frames)
    return {
        "sets": [(clean(one.name), one.captures, clean(one.text)) for one in counts(day, sheets)],
        "levels": [(one, level[one]) for one in ORDER if level[one]],
        "deciding": sum(level[one] for one in DECIDE),
        "lost": [frame for frame in frames if frame.lost],
        "untimed": sum(not frame.moment for frame in frames),
        "clocks": [frame.clock for frame in frames if frame.clock],
    }


def style_css() -> bytes:
    """Return the style sheet, its colours from the palette of everything that people see."""
    bar = [css(_rgb(colour)) for colour in scale_colours(17).tolist()]
    return render(
        "report.css.j2",
        levels={level.value: css(colour) for level, colour in LEVELS.items()},
        surround=css(SURROUND),
        text=css(TEXT),
        quiet=css(QUIET),
        bar=", ".join(bar),
        bar_low=", ".join(reversed(bar)),
    )


def title_of(day: Day) -> str:
    """Return what the page is called: by the date, or the dates, of the day's frames."""
    taken = (one.logged.result.camera.settings.taken or "" for one in day.captures)
    dates = sorted({clean(time[:10]) for time in taken if time})
    if not dates:
        return "Day check"
    return f"Day check, {dates[0]}" + (f" to {dates[-1]}" if len(dates) > 1 else "")


def _rgb(colour: Sequence[float]) -> RGB:
    red, green, blue = (round(255 * channel) for channel in colour)
    return red, green, blue
