"""The terminal of a watch: lines scroll, a region stands under them, keys open the menu."""

from __future__ import annotations

import queue
from collections import deque
from collections.abc import Callable, Sequence
from types import TracebackType
from typing import Self

from rich.cells import cell_len
from rich.console import Console
from rich.control import Control
from rich.live import Live
from rich.segment import ControlType
from rich.text import Text

from qc.errors import QcError
from qc.intake.updates import Judged, Update
from qc.series.entry import Standing
from qc.show.watching import layout
from qc.show.watching.board import STRIP, Board
from qc.show.watching.fit import fold
from qc.show.watching.layout import Paper
from qc.show.watching.menu import Menu, Wish
from qc.show.watching.words import Said
from qc_cli.keys import can_read_keys

END_KEYS = ("q", "\x04")
"""Keys that end the watch: q, and Ctrl-D."""

NO_FRAME = "no frame yet"
NOTHING = "no alarm waits for an answer"
"""What Enter says where there is nothing to ask about: the newest frame was answered just now."""


class Screen:
    """Shows a watch on a terminal.

    Parameters
    ----------
    console : Console
        On the terminal.
    board : Board
        What has been told.
    keys : queue of str
        Keys that were pressed, put there by another thread.
    perform : callable
        Does what was chosen, as `qc.show.watching.deeds.Deeds` does: `say` is called with what was done.
    offer : callable
        As for `qc.show.watching.menu.Menu`.
    stop : callable
        Ends the watch.
    """

    def __init__(
        self,
        console: Console,
        board: Board,
        *,
        keys: queue.SimpleQueue[str],
        perform: Callable[[Wish], object],
        offer: Callable[[Standing], str | None],
        stop: Callable[[], None],
    ) -> None:
        self._console = console
        self._board = board
        self._keys = keys
        self._perform = perform
        self._stop = stop
        self._interactive = can_read_keys()
        self._menu = Menu(offer)
        self._names: deque[str] = deque(maxlen=STRIP)
        self._name_width = 0
        self._shown: list[Text] = []
        self._width = console.width
        self._live = self._fresh()

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, where: TracebackType | None
    ) -> None:
        self._live.stop()

    def take(self, update: Update, said: Sequence[Said]) -> None:
        """Show an update, and do what was asked for by keys since the last one."""
        self._follow_size()
        with self._console:  # lines and region reach the terminal in one piece: nothing flickers
            if isinstance(update, Judged):
                self._names.append(update.result.file.name)
                self._name_width = layout.widest(self._names, self._paper())
            for one in said:
                self.say(one)
            while not self._keys.empty():
                self._press(self._keys.get())
            self._refresh()

    def say_lines(self, lines: Sequence[str], *, whole: bool = False) -> None:
        """Print lines above the region, broken between words; `whole` ones are not, so that they can be copied."""
        for text in map(self._paper().tidy, lines):
            room = self._paper().room
            folded = [text] if whole or cell_len(text) <= room else fold(text, room - 2)
            self._console.print(Text("\n  ".join(folded)), soft_wrap=True)

    def say(self, said: Said) -> None:
        """Print a line above the region."""
        self._console.print(layout.line(said, self._paper(), name_width=self._name_width), soft_wrap=True)

    def _press(self, key: str) -> None:
        if key in END_KEYS:
            self._stop()
            return
        wish = self._menu.press("\n" if key == "\r" else key, self._board.asked())
        if wish is not None:
            self._fulfil(wish)
        elif key in "\r\n" and not self._menu.is_open:
            self._remark(NOTHING if self._board.told else NO_FRAME)

    def _fulfil(self, wish: Wish) -> None:
        try:
            self._perform(wish)
        except QcError as error:
            self._remark(" ".join(str(error).split()))

    def _remark(self, text: str) -> None:
        self.say(Said(time=self._board.clock(), reason=text, kind="remark"))

    def _refresh(self) -> None:
        lines = layout.region(self._board, self._paper(), name_width=self._name_width, menu=self._menu)
        if lines != self._shown:  # what has not changed is not drawn again
            self._shown = lines
            self._live.update(Text("\n").join(lines), refresh=True)

    def _paper(self) -> Paper:
        size = self._console.size
        encoding = self._console.encoding
        return Paper(width=size.width, height=size.height, encoding=encoding, keys=self._interactive)

    def _fresh(self) -> Live:
        # errors of other libraries still reach stderr as they are; our own lines go through the console
        return Live(Text(""), console=self._console, auto_refresh=False, transient=True, vertical_overflow="crop")

    def _follow_size(self) -> None:
        """Take the region away before it is drawn at another width: a narrower terminal has wrapped its lines."""
        width = self._console.width
        if width == self._width:
            return
        extra = sum(max(-(-line.cell_len // max(width, 1)) - 1, 0) for line in self._shown)
        self._live.stop()
        if extra and width < self._width:
            up = ((ControlType.CURSOR_UP, 1), (ControlType.ERASE_IN_LINE, 2)) * extra
            self._console.control(Control(*up))
        self._width, self._shown = width, []
        self._live = self._fresh()
        self._live.start()


def is_screen(console: Console) -> bool:
    """Tell whether lines can be drawn over on what stdout is."""
    return console.is_terminal and not console.is_dumb_terminal
