"""All that is known of one frame, as a fragment of the page: maps, the last frames as lines, readings.

Read from the log alone, which another process or thread is writing: opened, read and closed each time.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import groupby
from pathlib import Path
from typing import Final

from markupsafe import escape

from qc.digest import Digest
from qc.errors import LogError, SheetError
from qc.log.keys import pair_known_as
from qc.log.lately import Lately
from qc.log.log import Log
from qc.log.rows import Logged
from qc.reading import Level, Spec
from qc.result import Result
from qc.series.entry import Standing
from qc.series.wrap.sheets import kept_sheet
from qc.sheet.sheet import Sheet
from qc.show.curve import SHAPES, Curve, Point, curve_of
from qc.show.layers import Bright, bar_png
from qc.show.report.drawings import Drawing, drawings_of
from qc.show.report.headings import limit_text
from qc.show.report.names import PICTURES
from qc.show.report.quantities import READINGS, Number, Quantity, Sample, roles_of, told_of
from qc.show.rows import Row, rows
from qc.show.templates import environment
from qc.show.text import clean, notes, settings_line, time_of

BRIGHT: Final[tuple[Bright, ...]] = ("high", "low")

LETTERS: Final = 1.5
"""How many times as large as in a report letters in pictures are, which are half as wide here."""

FRAMES: Final = 60
"""Most frames that a line over time holds."""

NO_LOG: Final = "There is nothing to show yet: {why}."
NOT_LOGGED: Final = "This frame is not in the log yet."
NO_PICTURE: Final = "There is no picture of this file."
LOST: Final = "Its picture cannot be shown: {why}."
LIT_OUTSIDE: Final = "Its ambient test is not drawn: the file of the lit frame lies outside the watched folder."
NO_SHEET: Final = "Its zones are not drawn: the set sheet that it was judged by cannot be read any more."


@dataclass(frozen=True, slots=True, kw_only=True)
class Details:
    """What the page shows of a frame.

    Attributes
    ----------
    html : bytes
        A fragment, UTF-8, without scripts or styles.
    files : mapping of str to bytes
        The pictures and layers it refers to, by name; served at ``/details/KEY/NAME``.
    """

    html: bytes
    files: Mapping[str, bytes] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Trend:
    """A quantity of the last frames.

    Attributes
    ----------
    title, unit : str
        What it is.
    now : str
        What this frame has of it, in words, or why it has nothing.
    curve : Curve
        The drawing.
    """

    title: str
    unit: str
    now: str
    curve: Curve


def details_of(
    out: Path,
    content: str,
    *,
    key: str,
    specs: Sequence[Spec],
    standing: Standing | None = None,
    levels: Mapping[str, Level] | None = None,
    may_show: Callable[[str], bool] = lambda _: True,
) -> Details:
    """Return all that is known of one frame.

    Parameters
    ----------
    out : Path
        Output folder of the watch, with log and digests. Nothing of it is changed.
    content : str
        The frame. Whether the page may show it is for the caller to know.
    key : str
        What the page calls it: letters and digits.
    specs : sequence of Spec
        The measurements.
    standing : Standing or None
        What the day makes of it; its own verdict is shown for None.
    levels : mapping of str to Level or None
        Where other frames stand, by content; those that are missing are drawn at the level of their own verdict.
    may_show : callable
        Whether the page may show another frame, by content: the lit one that an ambient test is drawn over.

    Returns
    -------
    Details
        One sentence where there is no log, or the frame is not in it.
    """
    try:
        with Log.open(out, create=False, read_only=True) as log:
            logged = log.capture(content)
            if logged is None:
                return _only(NOT_LOGGED)
            lately = log.lately(content, READINGS, FRAMES)
            shown = _Shown(log, logged, key, specs, may_show)
    except LogError as error:
        return _only(NO_LOG.format(why=_clause(error)))
    levels = dict(levels or {}) | ({content: standing.level} if standing is not None else {})
    trends = tuple(_trends(lately, content, levels, specs))
    html = _render(shown, logged, standing, specs, trends, lately)
    return Details(html=html, files=shown.files)


class _Shown:
    """The drawings of a frame, with their files in memory."""

    def __init__(
        self, log: Log, logged: Logged, key: str, specs: Sequence[Spec], may_show: Callable[[str], bool]
    ) -> None:
        self.files: dict[str, bytes] = {}
        self.without: list[str] = []
        self._key, self._specs, self._may_show = key, specs, may_show
        self._has_picture = logged.result.camera.kind is not None
        self._zones = self._sheet(logged).zones
        own = self._drawn(logged.result, "picture", self._digest(log, logged.content))
        test = self._test(log, logged)
        self.drawings = tuple(map(self._linked, (*own, *test)))

    def _sheet(self, logged: Logged) -> Sheet:
        sheet = _sheet(logged.sheet_text, logged.result.sheet_digest or "")
        if sheet is None:
            self.without.append(NO_SHEET)
        return sheet or Sheet()

    def _digest(self, log: Log, content: str) -> Digest | None:
        try:
            digest = log.digest(content)
        except LogError as error:
            self.without.append(LOST.format(why=_clause(error)))
            return None
        if digest is None:
            self.without.append(LOST.format(why="it was not kept") if self._has_picture else NO_PICTURE)
        return digest

    def _drawn(self, result: Result, mark: str, digest: Digest | None) -> tuple[Drawing, ...]:
        if digest is None:
            return ()
        return drawings_of(
            result,
            digest,
            mark,
            zones=self._zones,
            specs=self._specs,
            put=self._put,
            letters=LETTERS,
        )

    def _test(self, log: Log, logged: Logged) -> tuple[Drawing, ...]:
        """Return the drawings of a dark frame's ambient test, which lie over the picture of its lit frame."""
        if logged.ambient is None or logged.ambient_lit is None:
            return ()
        if not self._may_show(logged.ambient_lit):
            self.without.append(LIT_OUTSIDE)
            return ()
        digest = self._digest(log, pair_known_as(logged.content, logged.ambient_lit))
        return self._drawn(logged.ambient, "test", digest)[1:]

    def _put(self, name: str, data: bytes) -> None:
        self.files[name.removeprefix(f"{PICTURES}/")] = data

    def _linked(self, drawing: Drawing) -> Drawing:
        if drawing.scale is not None:
            self.files[_bar(drawing.scale.bright)] = bar_png(drawing.scale.bright)
        return replace(drawing, layers=tuple(map(self.link, drawing.layers)))

    def link(self, name: str) -> str:
        """Return where the page finds a file, from its name or from its link in a report."""
        return f"/details/{self._key}/{name.removeprefix(f'{PICTURES}/')}"


def _bar(bright: Bright) -> str:
    return f"bar.{bright}.png"


@lru_cache(maxsize=16)
def _sheet(text: str | None, digest: str) -> Sheet | None:
    """Return the sheet of a text that the log kept; an empty one for none, None for one that cannot be read."""
    if not text:
        return Sheet()
    try:
        return kept_sheet(text, digest, "set sheet")
    except SheetError:
        return None  # said on the page


def _trends(
    lately: Sequence[Lately], content: str, levels: Mapping[str, Level], specs: Sequence[Spec]
) -> Iterator[Trend]:
    samples = [
        Sample(
            content=one.content,
            readings=one.readings,
            roles=roles_of(_sheet(one.sheet_text, one.sheet_digest)),
            light=one.light,
        )
        for one in lately
    ]
    for quantity in told_of(samples, specs=specs):
        points = [_point(quantity, one, content, levels) for one in lately]
        frames = "1 frame" if len(points) == 1 else f"{len(points)} frames"
        curve = curve_of(points, f"{quantity.title}, {quantity.unit}, of {frames}")
        if curve is not None:
            now = _said(quantity, quantity.numbers.get(content, Number()))
            yield Trend(title=quantity.title, unit=quantity.unit, now=now, curve=curve)


def _point(quantity: Quantity, one: Lately, content: str, levels: Mapping[str, Level]) -> Point:
    number = quantity.numbers.get(one.content, Number())
    return Point(
        value=number.value,
        level=levels.get(one.content, one.level),
        text=f"{clean(one.name)}: {_said(quantity, number)}",
        here=one.content == content,
    )


def _said(quantity: Quantity, number: Number) -> str:
    if number.value is None:
        return f"no number: {number.why}" if number.why else "no number"
    return f"{number.said} {quantity.unit}" + (f" in {number.where}" if number.where else "")


def _render(
    shown: _Shown,
    logged: Logged,
    standing: Standing | None,
    specs: Sequence[Spec],
    trends: Sequence[Trend],
    lately: Sequence[Lately],
) -> bytes:
    result = logged.result
    known = {reading.name: reading for spec in specs for reading in spec.readings}
    causes = result.verdict.causes if standing is None else standing.causes
    names = {one.content: clean(one.name) for one in lately}
    return _html(
        name=clean(result.file.name),
        level=result.verdict.level if standing is None else standing.level,
        about=f"{time_of(result)} · {settings_line(result)}",
        causes=[(cause.level, clean(cause.text), limit_text(cause, known.get(cause.reading))) for cause in causes],
        drawings=shown.drawings,
        bars={bright: shown.link(_bar(bright)) for bright in BRIGHT},
        without=shown.without,
        trends=trends,
        shapes=SHAPES,
        frames=[names[one.content] for one in lately],
        rows=_by_place(result, specs),
        test=_by_place(logged.ambient, specs) if logged.ambient is not None else [],
        lit=names.get(logged.ambient_lit or "", ""),
        test_notes=list(notes(logged.ambient)) if logged.ambient is not None else [],
        notes=list(notes(result)),
    )


def _by_place(result: Result, specs: Sequence[Spec]) -> list[list[Row]]:
    return [list(told) for _, told in groupby(rows(result, specs), key=lambda row: row.place)]


def _html(**facts: object) -> bytes:
    template = environment(__package__, "page").get_template("details.html.j2")
    return template.render(facts).encode("utf-8", "backslashreplace")


def _only(sentence: str) -> Details:
    return Details(html=f"<p>{escape(sentence)}</p>\n".encode("utf-8", "backslashreplace"))


def _clause(error: LogError) -> str:
    return clean(" ".join(error.cause.split()))
