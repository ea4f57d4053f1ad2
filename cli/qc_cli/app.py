"""The command's entry point: every command is registered here, one line each."""

from __future__ import annotations

import io
import signal
import sys
from typing import Annotated

import typer

from qc_cli import sheet
from qc_cli.ambient import ambient
from qc_cli.batch import batch
from qc_cli.check import check
from qc_cli.copies import copies
from qc_cli.demo import demo
from qc_cli.explain import explain
from qc_cli.output import INTERRUPTED
from qc_cli.report import report
from qc_cli.role import RoleCommand, role
from qc_cli.watch import watch

# without rich markup, help is plain in a pipe and costs no import of rich
app = typer.Typer(
    name="qc",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)
app.command()(check)
app.command()(ambient)
app.command()(watch)
app.command()(batch)
app.add_typer(sheet.app, name="sheet")
app.command(cls=RoleCommand)(role)
app.command()(report)
app.command()(copies)
app.command()(explain)
app.command()(demo)


def say_version(wanted: bool) -> None:
    """Say the version and leave, before a command is asked for."""
    if wanted:
        from qc.pipeline import tool

        typer.echo(tool())
        raise typer.Exit


VersionOption = Annotated[
    bool, typer.Option("--version", callback=say_version, is_eager=True, help="Show the version and leave.")
]


@app.callback()
def top(version: VersionOption = False) -> None:
    """Quality control of tethered captures on a still-life set.

    Exit status: 0 done and nothing at halt; 1 done, something at halt or not measured; 2 wrong use, or nothing
    could be measured.
    """


def main() -> None:
    """Run the command; an interruption ends it quietly, with the usual status."""
    signal.signal(signal.SIGINT, lambda *_: sys.exit(INTERRUPTED))
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a terminal or pipe that is not UTF-8 gets escapes, never an error in the middle of a result
            stream.reconfigure(errors="backslashreplace")
    app()


if __name__ == "__main__":
    main()
