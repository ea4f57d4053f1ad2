"""What the commands share that say something of a capture: which folder, and one line of confirmation."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc_cli.output import NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.event import Event

FolderOption = Annotated[
    Path | None,
    typer.Option(
        "--folder",
        metavar="FOLDER",
        readable=False,
        help="The watched folder; that of the capture, the current one or the running watch's when not given.",
    ),
]
OutOption = Annotated[
    Path | None,
    typer.Option("--out", metavar="DIR", readable=False, help="Its output folder; FOLDER.qc if not given."),
]


def act(
    doing: Callable[[Path, Path], Event], *, folder: Path | None, out: Path | None, capture: str | None = None
) -> None:
    """Do something in the watched folder that is meant, and confirm it in one line.

    Parameters
    ----------
    doing : callable
        Takes the watched folder and its output folder.
    folder, out : Path or None
        As named on the command line.
    capture : str or None
        The capture as named there.
    """
    from qc.errors import QcError
    from qc.intake.place import where

    output = Output()
    try:
        event = doing(*where(folder=folder, out=out, capture=capture))
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(capture or "last capture", error)
        raise typer.Exit(NOTHING_DONE) from None
    output.line(event.text)
