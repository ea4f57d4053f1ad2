"""What the commands write: results on stdout, complaints on stderr, plain lines wherever it is no terminal."""

from __future__ import annotations

import os
import sys
import textwrap
import traceback
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

if TYPE_CHECKING:
    from rich.console import Console, RenderableType

    from qc.reading import Spec
    from qc.result import Result

DONE, AT_HALT, NOTHING_DONE, INTERRUPTED, PIPE_CLOSED = 0, 1, 2, 130, 141


class Output:
    """Where results go: stdout. Everything else a command has to say goes to stderr.

    Parameters
    ----------
    json : bool
        One line of JSON per result.
    no_color : bool
        No colour even on a terminal.
    debug : bool
        Tracebacks of internal faults.
    """

    def __init__(self, *, json: bool = False, no_color: bool = False, debug: bool = False) -> None:
        self.json = json
        self.drawings = 0
        self.debug = debug
        self.no_color = no_color

    def result(self, result: Result, *, details: bool, name_width: int, specs: Sequence[Spec]) -> None:
        """Show one result."""
        if self.json:
            from qc.contract import json_line

            self.line(json_line(result))
            return
        from qc.show import text

        if not self.columns():
            self.line(text.plain_line(result, specs, name_width=name_width))
            self.lines(text.plain_details(result, specs) if details else ())
            return
        shown: list[RenderableType] = [text.line(result, specs, name_width=name_width)]
        if details:
            shown.append(text.details(result, specs))
        console = self.console()
        with _writing():
            for part in shown:
                console.print(part)

    def columns(self) -> int:
        """Return the columns of the terminal on stdout; 0 when it is none."""
        if not sys.stdout.isatty():
            return 0
        import shutil

        return shutil.get_terminal_size().columns

    def mixed(self) -> bool:
        """Tell whether lines of JSON come between lines for people, on one terminal."""
        return self.json and sys.stdout.isatty()

    def printed(self, console: Console, text: RenderableType) -> None:
        """Write something that was laid out for the terminal on stdout."""
        with _writing():
            console.print(text, soft_wrap=True)

    def console(self) -> Console:
        """Return a console on stdout; NO_COLOR is respected by rich itself."""
        from rich.console import Console

        return Console(no_color=True if self.no_color else None, highlight=False, markup=False)

    def line(self, text: str) -> None:
        """Write one line to stdout at once: what reads a pipe waits for it."""
        with _writing():
            sys.stdout.write(text + "\n")
            sys.stdout.flush()

    def lines(self, lines: Iterable[str], *, hang: int = 4) -> None:
        """Write lines to stdout, wrapped on a terminal with `hang` spaces before what is carried over."""
        columns = self.columns()
        for line in lines:
            if columns and len(line) > columns:
                indent = " " * min(hang, columns // 3)
                line = textwrap.fill(line, columns, subsequent_indent=indent, drop_whitespace=True)
            self.line(line)

    def complain(self, text: str) -> None:
        """Write to stderr what is no result: complaints, one a line, and what is worth knowing beside results."""
        sys.stderr.write(text + "\n")
        sys.stderr.flush()

    def fault(self, name: str, error: Exception) -> None:
        """Tell of an internal fault in one line; with `debug`, where it happened."""
        self.complain(f"{name}: internal fault, please report it: {type(error).__name__}: {one_line(error)}")
        if self.debug:
            self.complain("".join(traceback.format_exception(error)).rstrip())

    def pictures(self, result: Result, folder: Path, sheet: object) -> None:
        """Save the drawings of a result; `drawn` says how many there are."""
        from qc.sheet.sheet import Sheet
        from qc.show.pictures import save_pictures

        zones = sheet.zones if isinstance(sheet, Sheet) else ()
        self.drawings += len(save_pictures(result, folder, zones))

    def drawn(self, folder: Path | None) -> None:
        """Say how many drawings were saved in a folder, if any were asked for."""
        from qc.errors import printable

        if folder is not None and not self.json:
            self.complain(
                f"{self.drawings} {'drawing' if self.drawings == 1 else 'drawings'} in {printable(folder)}"
            )


def status(levels: Sequence[str], *, faults: int) -> int:
    """Return the exit status from the levels of the results.

    Parameters
    ----------
    levels : sequence of str
        ``"halt"`` for a frame at halt, ``"lost"`` for one that could not be read, else anything.
    faults : int
        Complaints that are no result: wrong use, bad sheets, internal faults.
    """
    if faults or all(level == "lost" for level in levels):
        return NOTHING_DONE
    return AT_HALT if {"halt", "lost"} & set(levels) else DONE


def one_line(error: BaseException) -> str:
    """Return an error's message as one line."""
    return " ".join(str(error).split())


@contextmanager
def _writing() -> Iterator[None]:
    """Write to stdout; where that is not possible any more, leave with one line or, for a closed pipe, none."""
    try:
        yield
    except BrokenPipeError:
        drop_stdout()
    except OSError as error:
        sys.stderr.write(f"cannot write results: {error.strerror}\n")
        drop_stdout(NOTHING_DONE)


def drop_stdout(code: int = PIPE_CLOSED) -> NoReturn:
    """Leave quietly when what reads our output has gone away; status as a signal would give it."""
    # Python flushes stdout once more at exit and would complain there
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    sys.exit(code)
