"""How a watch is shown: a screen on a terminal, plain lines on a pipe, JSON Lines where they are asked for."""

from __future__ import annotations

import contextlib
import signal
from collections.abc import Callable, Generator, Iterator, Sequence
from contextlib import AbstractContextManager
from functools import partial
from pathlib import Path
from typing import Protocol

from qc.errors import printable
from qc.event import Event
from qc.intake.updates import Heartbeat, Judged, Update
from qc.reading import Spec
from qc.series.entry import Standing
from qc.show.text import LONGEST_NAME, clean
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.deeds import Deeds
from qc.show.watching.layout import Paper, plain_line
from qc.show.watching.lines import json_lines
from qc.show.watching.menu import Wish
from qc.show.watching.words import Said
from qc_cli.output import Output


class Watching(Protocol):
    """What is needed here of a `qc.intake.watch.Watch`."""

    out: Path

    @property
    def specs(self) -> Sequence[Spec]:
        """The measurements."""

    def run(self) -> Iterator[Update]:
        """Watch."""

    def stop(self) -> None:
        """End the watch."""

    def wake(self) -> None:
        """Let `run` yield something at once."""


class View(Protocol):
    """One way to show a watch. Several may follow one; the board has taken up each update before."""

    def take(self, update: Update, said: Sequence[Said]) -> None:
        """Show an update, of which `said` is to be said."""

    def say(self, said: Said) -> None:
        """Show what was done in one of the views."""

    def say_lines(self, lines: Sequence[str], *, whole: bool = False) -> None:
        """Show lines about the watch as a whole; `whole` ones, such as a link, are never broken."""


Page = Callable[[Board, Deeds, View], AbstractContextManager[View]]
"""Opens the page of a watch; what it has to say itself, it says through the view that it is given."""


class Piped:
    """Plain lines: captures, and events about captures, on stdout, whatever else happens on stderr."""

    def __init__(self, output: Output) -> None:
        self._output = output
        self._name_width = 0
        self._trouble: str | None = None

    def take(self, update: Update, said: Sequence[Said]) -> None:
        """Write an update as lines, at once; a first look is none, a heartbeat only trouble with the sheet."""
        if isinstance(update, Judged):
            width = min(len(clean(update.result.file.name)), LONGEST_NAME)
            self._name_width = max(self._name_width, width)
        if isinstance(update, Heartbeat) and update.sheet_trouble != self._trouble:
            self._trouble = update.sheet_trouble
            self.say_lines([self._trouble] if self._trouble else [])
        for one in said:
            line = plain_line(one, name_width=self._name_width)
            if isinstance(update, Event) and update.name is None and not one.name:
                self._output.complain(line)
            else:
                self._output.line(line)

    def say(self, said: Said) -> None:
        """Write what was done on the page: people only act on captures."""
        self._output.line(plain_line(said, name_width=self._name_width))

    def say_lines(self, lines: Sequence[str], *, whole: bool = True) -> None:  # noqa: ARG002 - none is broken here
        """Write lines about the watch on stderr."""
        for line in lines:
            self._output.complain(clean(line))


class Jsonl(Piped):
    """JSON Lines: everything on stdout."""

    def take(self, update: Update, said: Sequence[Said]) -> None:  # noqa: ARG002 - every view is told both
        """Write an update as lines of the JSON contract, at once."""
        for line in json_lines(update):
            self._output.line(line)

    def say(self, said: Said) -> None:
        """Write nothing: the event itself comes with the updates."""


def show(
    watching: Watching,
    output: Output,
    *,
    perform: Callable[[Wish], Sequence[Event]],
    offer: Callable[[Standing], str | None],
    judged: Callable[[], bool],
    test: bool = False,
    page: Page | None = None,
) -> bool:
    """Run a watch and show it until it ends.

    Parameters
    ----------
    watching : Watching
        The watch.
    output : Output
        Where it goes.
    perform : callable
        Does what was chosen in the menu.
    offer : callable
        Says up to where the cause of a standing would be accepted.
    judged : callable
        Whether there are limits, asked once the watch has begun.
    test : bool
        Whether frames without flash are the ambient test by declaration.
    page : callable or None
        Opens the page that follows the watch as well.

    Returns
    -------
    bool
        Whether halts are open.
    """
    board = Board(watching.specs)
    deeds = Deeds(board, perform)
    updates = watching.run()
    try:
        with (
            _viewing(watching, output, board, deeds, offer) as view,
            page(board, deeds, view) if page is not None else contextlib.nullcontext() as paged,
        ):
            views = [view] if paged is None else [view, paged]
            deeds.heard_by += [one.say for one in views]
            for number, update in enumerate(updates):
                said = board.take(update)
                for one in views:
                    one.take(update, said)
                if number == 0:
                    view.say_lines(() if judged() else words.unjudged(test=test))
                    view.say_lines((words.TEST,) if test else ())
    finally:
        if isinstance(updates, Generator):  # when the view cannot go on, the watch still ends in order
            updates.close()
    _close(watching, output, board)
    return bool(board.open)


def shows_screen(output: Output) -> bool:
    """Tell whether a watch is shown on a terminal, to a person."""
    from qc_cli.screen import is_screen

    return not output.json and is_screen(output.console())


def _close(watching: Watching, output: Output, board: Board) -> None:
    columns = output.columns()
    lines = words.closing(
        board.levels(),
        _near(watching.out),
        before=board.levels(before=True),
        open_before=board.open_before(),
        lost=board.log_lost,
        shorten=partial(Paper(width=columns).cut_middle, cells=LONGEST_NAME) if columns else clean,
    )
    if columns:
        output.lines(lines)
    else:
        for line in lines:
            output.complain(line)


def _near(path: Path) -> str:
    """Return a path as it would be typed from here, where it lies below."""
    with contextlib.suppress(OSError, ValueError):  # the current folder was deleted, or is another one
        path = path.relative_to(Path.cwd())
    return printable(path)


@contextlib.contextmanager
def _told_of_size(wake: Callable[[], None]) -> Iterator[None]:
    """Have an update at once when the terminal has got another size, so that the region is drawn anew."""
    if not hasattr(signal, "SIGWINCH"):
        yield
        return
    before = signal.signal(signal.SIGWINCH, lambda *_: wake())
    try:
        yield
    finally:
        signal.signal(signal.SIGWINCH, before)


@contextlib.contextmanager
def _viewing(
    watching: Watching,
    output: Output,
    board: Board,
    deeds: Deeds,
    offer: Callable[[Standing], str | None],
) -> Iterator[View]:
    if not shows_screen(output):
        yield Jsonl(output) if output.json else Piped(output)
        return
    from qc_cli.keys import reading_keys
    from qc_cli.screen import Screen

    console = output.console()
    with (
        _told_of_size(watching.wake),
        reading_keys(watching.wake) as keys,
        Screen(console, board, keys=keys, perform=deeds, offer=offer, stop=watching.stop) as screen,
    ):
        yield screen
