"""`qc explain`: what a number means, made from the measurements' own specifications."""

from __future__ import annotations

from typing import Annotated

import typer

from qc_cli.output import NOTHING_DONE, Output


def explain(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A reading, a measurement, or a finding's code.")
    ] = None,
) -> None:
    """Say what a reading means: unit, both ends, method, source and limits. Without a name, list them."""
    from qc import decode, pipeline
    from qc.errors import QcError
    from qc.measure import specs
    from qc.show import explain as words

    output = Output()
    if name is None:
        output.lines(words.overview(specs()))
        return
    try:
        output.lines(words.explain(name, specs(), {**decode.FINDINGS, **pipeline.FINDINGS}), hang=words.INDENT)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
