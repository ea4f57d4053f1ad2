"""What a watch says, laid out: lines that scroll, the region under them, and plain lines for a pipe."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from rich.cells import cell_len
from rich.style import Style
from rich.text import Text

from qc.reading import Level
from qc.series.entry import Standing
from qc.show.text import COLUMN, PLAIN, clean, style_of
from qc.show.watching import words
from qc.show.watching.board import STRIP, Board
from qc.show.watching.fit import cut, cut_middle, fold, pad, tidy
from qc.show.watching.menu import Menu
from qc.show.watching.rows import ALARMS
from qc.show.watching.words import Said

WORD = 5
"""Cells of the word of a level: those of the four that a judged frame has. "unjudged" and "unmeasured" are longer
and push the reason aside, so that all other lines have more room for theirs."""

FOLDED = (*ALARMS, Level.UNMEASURED)
"""Levels whose reason goes on below its line where it does not fit, when it is new; all else has one line."""

ALARM_LINES = 2
"""Lines that it may take."""

HALTS_SHOWN = 3
"""Open halts that stand in the region; how many more there are is said."""

SHORTEST_REASON = 8
"""Cells that a tail must leave to the reason before it."""

IN_NUMBER = "0123456789.,"

QUIET = Style(dim=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Paper:
    """What the lines are written on.

    Attributes
    ----------
    width, height : int
        Cells and lines. The last column stays free: where a terminal makes more of a sign than we do, or wraps at
        its last column, a full line would tear the region.
    encoding : str
        What the terminal reads; signs that it has not are written out, and marks are plain.
    keys : bool
        Whether it is an interactive terminal.
    """

    width: int = 80
    height: int = 24
    encoding: str = "utf-8"
    keys: bool = False

    @property
    def room(self) -> int:
        """Cells of a line."""
        return max(self.width - 1, 20)

    @property
    def marks(self) -> Mapping[Level, str]:
        """Mark of each level."""
        return COLUMN if self._wide else PLAIN

    @property
    def dots(self) -> str:
        """What stands for text that was cut off."""
        return "…" if self._wide else "..."

    @property
    def longest_name(self) -> int:
        """Cells of the longest name that is not cut."""
        return min(max(self.room // 4, 12), 40)

    @property
    def _wide(self) -> bool:
        return "utf" in self.encoding.lower()

    def tidy(self, text: str) -> str:
        """Return text as this paper can hold it, one line."""
        return tidy(text).encode(self.encoding, "backslashreplace").decode(self.encoding)

    def cut(self, text: str, cells: int) -> str:
        """Return tidied text of at most `cells` cells."""
        return cut(self.tidy(text), cells, dots=self.dots)

    def cut_middle(self, text: str, cells: int) -> str:
        """Return tidied text of at most `cells` cells, cut in the middle."""
        return cut_middle(self.tidy(text), cells, dots=self.dots)


def line(said: Said, paper: Paper, *, name_width: int = 0) -> Text:
    """Return what is said as a line of a terminal; a new alarm and an event may go on, indented, below it."""
    if not said.name:
        return _event(said, paper)
    name_width = min(max(name_width, cell_len(paper.tidy(said.name))), paper.longest_name)
    text = Text(f"{pad(said.time, 8)}  ", style=QUIET if said.time == "open" else "", no_wrap=True, end="")
    text.append(pad(paper.cut_middle(said.name, name_width), name_width) + "  ")
    if said.level is not None:
        text.append(f"{paper.marks[said.level]} {said.level:<{WORD}}  ", style=style_of(said.level))
    room = paper.room - text.cell_len
    new = said.kind in ("capture", "restated") and said.level in FOLDED and not said.quiet
    if new and cell_len(paper.tidy(said.reason + said.tails[0])) > room:
        text.append(_folded(said, paper, room, indent=text.cell_len))
    else:
        text.append(told(said, paper, room), style=QUIET if said.quiet else "")
    text.rstrip()
    return text


def _folded(said: Said, paper: Paper, room: int, indent: int) -> str:
    """Return reason and tail over several lines; what does not fit into the last of them is cut."""
    whole = fold(paper.tidy(said.reason), room)
    if len(whole) > ALARM_LINES:
        whole[ALARM_LINES - 1 :] = [" ".join(whole[ALARM_LINES - 1 :])]
    if len(whole) < ALARM_LINES and cell_len(whole[-1] + paper.tidy(said.tails[-1])) > room:
        whole.append("")  # a tail that has no room beside the reason goes below it
    whole[-1] = told(replace(said, reason=whole[-1]), paper, room).lstrip()
    return f"\n{' ' * indent}".join(whole)


def told(said: Said, paper: Paper, room: int) -> str:
    """Return reason and tail within `room` cells.

    The longest tail is taken that leaves the reason whole; where there is none, the shortest, and the reason is
    cut. A figure that does not fit is left out: half of one is a wrong one.
    """
    if said.figures:
        return _whole_figures([paper.tidy(figure) for figure in said.figures], room)
    reason = paper.tidy(said.reason)
    tails = [paper.tidy(tail) for tail in said.tails]
    tail = next((one for one in tails if cell_len(reason) + cell_len(one) <= room), tails[-1])
    if room - cell_len(tail) < min(cell_len(reason), SHORTEST_REASON):
        tail = ""
    return _cut_reason(reason, paper, max(room - cell_len(tail), 0)) + tail


def _cut_reason(reason: str, paper: Paper, cells: int) -> str:
    """Return a tidied reason within `cells` cells, never cut inside a number."""
    kept = paper.cut(reason, cells)
    if kept == reason:
        return kept
    whole = kept.removesuffix(paper.dots)
    if reason[len(whole) :][:1] in IN_NUMBER:
        whole = whole.rstrip(IN_NUMBER)
    return paper.cut(whole + paper.dots, cells)


def _whole_figures(figures: Sequence[str], room: int) -> str:
    kept: list[str] = []
    for figure in figures:
        if cell_len(", ".join((*kept, figure))) <= room:
            kept.append(figure)
    return ", ".join(kept)


def plain_line(said: Said, *, name_width: int = 0) -> str:
    """Return what is said for a pipe: nothing is cut, nothing wrapped."""
    reason = clean(said.reason) + clean(said.tails[0])
    if not said.name:
        mark = f"{PLAIN[said.level]} {said.level}  " if said.level is not None else ""
        return f"{said.time}  {mark}{reason}"
    level = said.level if said.level is not None else Level.UNJUDGED
    head = f"{said.time}  {pad(clean(said.name), name_width)}  {PLAIN[level]} {level:<{WORD}}"
    return f"{head}  {reason}".rstrip()


def region(board: Board, paper: Paper, *, name_width: int = 0, menu: Menu | None = None) -> list[Text]:
    """Return what stands under the lines that scroll.

    What always stands there is at the bottom and keeps its place; what comes and goes grows at the top.
    """
    halts = _open(board, paper, name_width)
    lost = [
        Text.assemble(
            (f"{pad('now', 8)}  ", QUIET),
            (paper.cut(f"{paper.marks[level]} {text}", paper.room - 10), style_of(level)),
        )
        for level, text in words.troubles(board.beat)
    ]
    steady = [_strip(board, paper), _beat(board, paper)]
    foot = _foot(board, paper, hint=menu is None or not menu.is_open)
    asked = [Text(paper.cut(text, paper.room), style=QUIET if faint else "") for text, faint in _asked(menu)]
    for title in asked[:1]:
        title.stylize("bold")
    blank = [Text("")]
    parts = [blank, halts, lost, steady, foot, asked]
    for part in (blank, foot, halts):  # on a low screen, what can be missed most goes first
        while part and sum(map(len, parts)) > paper.height - 2:
            part.pop()
    lines = [text for part in parts for text in part]
    for text in lines:
        text.no_wrap, text.end = True, ""
        text.truncate(paper.room, overflow="crop")
    return lines


def _asked(menu: Menu | None) -> list[tuple[str, bool]]:
    """Return the lines of the menu, and of each whether it is an answer that makes no sense here."""
    lines = menu.lines() if menu is not None else []
    return [(text, number > 0 and text.startswith("  (")) for number, text in enumerate(lines)]


KEYS = "Enter: answer the newest alarm   u: undo   q: end"
NO_ALARM_KEYS = "Enter: about the newest frame   u: undo   q: end"


def _event(said: Said, paper: Paper) -> Text:
    mark = f"{paper.marks[said.level]} {said.level}  " if said.level is not None else ""
    lines = fold(mark + paper.tidy(said.reason), paper.room - 10)
    style = style_of(said.level) if said.level is not None else QUIET
    return Text.assemble(f"{pad(said.time, 8)}  ", ("\n          ".join(lines), style), end="")


def _open(board: Board, paper: Paper, name_width: int) -> list[Text]:
    rows = board.open_rows()
    shown = [line(words.of_open(row), paper, name_width=name_width) for row in rows[:HALTS_SHOWN]]
    if more := sum(map(len, rows[HALTS_SHOWN:])):
        shown.append(Text(f"{'':10}and {more} more", style=QUIET))
    return shown


def _strip(board: Board, paper: Paper) -> Text:
    levels = board.strip()
    text = Text(f"{pad(f'last {STRIP}', 8)}  ", style=QUIET)
    text.append(" " * (STRIP - len(levels)))
    for level in levels:
        text.append(paper.marks[level], style=style_of(level))
    if board.looking:
        name, result = next(reversed(board.looking.items()))
        level = result.verdict.level
        text.append("   first look  ", style=QUIET)
        text.append(paper.cut_middle(name, paper.longest_name) + "  ")
        text.append(f"{paper.marks[level]} {level}  ", style=style_of(level))
        first = words.of_capture(
            result, Standing(content="", level=level, causes=result.verdict.causes), board.specs
        )
        text.append(told(first, paper, max(paper.room - text.cell_len, 0)))
    return text


def _beat(board: Board, paper: Paper) -> Text:
    for names in (True, False):
        pieces = [paper.tidy(piece) for piece in words.heartbeat(board.beat, board.beat_at, names=names)]
        if cell_len(", ".join(pieces)) <= paper.room:
            break
    while len(pieces) > 1 and cell_len(", ".join(pieces)) > paper.room:
        pieces.pop()
    return Text(paper.cut(", ".join(pieces), paper.room))


def _foot(board: Board, paper: Paper, *, hint: bool) -> list[Text]:
    """Return what the set still needs and, as far as there is room beside it, which keys there are."""
    needs = paper.cut(words.needed(board.beat), paper.room)
    between = "     " if needs else ""
    keys = NO_ALARM_KEYS if board.newest() is not None and not board.alarms() else KEYS
    fits = paper.keys and hint and cell_len(needs + between + keys) <= paper.room
    return [Text.assemble(needs, (between + keys if fits else "", QUIET))] if needs or paper.keys else []


def widest(names: Iterable[str], paper: Paper) -> int:
    """Return the cells of the longest of some names, as far as the paper allows."""
    return min(max((cell_len(paper.tidy(name)) for name in names), default=0), paper.longest_name)
