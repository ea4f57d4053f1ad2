"""`qc role`: what a frame is for, when the tool should not guess."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from typer.core import TyperCommand

from qc_cli import acting
from qc_cli.output import NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.event import Event


class RoleCommand(TyperCommand):
    """A command whose first word may be left out, which the parser has no words for."""

    def collect_usage_pieces(self, ctx: object) -> list[str]:
        """Return what stands after the command's name in its usage line."""
        del ctx
        return ["[OPTIONS]", "[CAPTURE]", "ROLE"]


def role(
    words: Annotated[list[str], typer.Argument(hidden=True, metavar="ROLE")],
    folder: acting.FolderOption = None,
    out: acting.OutOption = None,
) -> None:
    """Say what a frame is for.

    CAPTURE is the file's name or path; the last capture when not given. ROLE is one of these:

    \b
      dark         shot without flash, for the ambient test
      patch        holds the reference
      clean-plate  the set without the product
      leave-out    not part of the series
      baseline     the frame that everyone approved

    A running watch acts on it at once. `qc sheet undo` takes it back.
    """  # noqa: D301 - the parser takes a real \\b for "keep these lines as they are"
    if len(words) > 2:
        Output().complain("one capture and one role at a time: qc role CAPTURE ROLE")
        raise typer.Exit(NOTHING_DONE)
    *names, purpose = words
    capture = names[0] if names else None

    def doing(_folder: Path, out: Path) -> Event:
        from qc.intake.actions import give

        return give(out, purpose, name=capture)

    acting.act(doing, folder=folder, out=out, capture=capture)
