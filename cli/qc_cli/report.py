"""`qc report`: the report of a day again, from its log alone."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc_cli.output import AT_HALT, NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.show.report import Made


def report(
    out: Annotated[
        Path, typer.Argument(metavar="OUT", readable=False, help="The output folder, FOLDER.qc, or its FOLDER.")
    ],
    debug: Annotated[bool, typer.Option("--debug", help="Show where an internal fault happened.")] = False,
) -> None:
    """Make a day's report again, from its log alone.

    The page, and the files for others beside it, are made from log and digests. Captures are not needed, and
    nothing is measured or judged anew. The page says which digests are lost.

    Exit status: 0 no frame and nothing about the day at halt; 1 something is; 2 wrong use, or nothing is logged.
    """
    from qc.errors import QcError, printable
    from qc.intake.place import where
    from qc.log.log import NAME
    from qc.show.report import report_again

    output = Output(debug=debug)
    try:
        made = report_again(out if (out / NAME).is_file() else where(folder=out)[1])
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(printable(out), error)
        raise typer.Exit(NOTHING_DONE) from None
    output.line(said(made))
    if made.at_halt:
        raise typer.Exit(AT_HALT)


def said(made: Made) -> str:
    """Return one line: what was found, and where the page is."""
    from qc.errors import printable
    from qc.reading import Level
    from qc.words import counted

    halt, warn = (made.levels.get(level, 0) for level in (Level.HALT, Level.WARN))
    frames = counted(sum(made.levels.values()), "frame")
    return f"{frames}, {halt} at halt, {warn} at warn; the report is {printable(made.index)}"
