"""How far a long command is, on stderr: a line that renews itself on a terminal, elsewhere a line now and then."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING, Self

if TYPE_CHECKING:
    from rich.live import Live

TIMES_A_SECOND = 2
"""How often the line on a terminal is drawn anew, at most."""

EVERY_S = 10.0
"""Seconds between two lines where stderr is no terminal."""


class Meter:
    """Shows how far something is; a context manager.

    Parameters
    ----------
    plain : bool
        Only lines, on a terminal too: something else is written to it meanwhile.
    no_color : bool
        No colour even on a terminal.
    """

    def __init__(self, *, plain: bool = False, no_color: bool = False) -> None:
        self._live = None if plain or not sys.stderr.isatty() else _live(no_color)
        self._said_at = time.monotonic()

    def show(self, line: str) -> None:
        """Take up how far it is now; it is written when it is time to."""
        if self._live is not None:
            from rich.text import Text

            self._live.update(Text(line, no_wrap=True, overflow="ellipsis"))
        elif time.monotonic() - self._said_at >= EVERY_S:
            self._said_at = time.monotonic()
            self.say(line)

    def say(self, line: str) -> None:
        """Write a line that stays."""
        if self._live is not None:
            self._live.console.print(line, soft_wrap=True)
            return
        sys.stderr.write(line + "\n")
        sys.stderr.flush()

    def end(self) -> None:
        """Take the line away, so that something else may be written; what is said from now on are plain lines."""
        if self._live is not None:
            self._live.stop()
            self._live = None

    def __enter__(self) -> Self:
        if self._live is not None:
            self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.end()


def _live(no_color: bool) -> Live | None:
    from rich.console import Console
    from rich.live import Live

    console = Console(stderr=True, no_color=True if no_color else None, highlight=False, markup=False)
    if console.is_dumb_terminal:
        return None
    return Live(
        console=console,
        refresh_per_second=TIMES_A_SECOND,
        transient=True,
        redirect_stdout=False,
        redirect_stderr=False,
    )
