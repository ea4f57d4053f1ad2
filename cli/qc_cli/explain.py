"""`qc explain`: what a number means, made from the measurements' own specifications."""

from __future__ import annotations

from typing import Annotated

import typer

from qc_cli.output import NOTHING_DONE, Output


def explain(
    name: Annotated[
        str | None, typer.Argument(metavar="NAME", help="A reading, a measurement, a level, or a code.")
    ] = None,
) -> None:
    """Say what a reading, a finding or a word means.

    For a reading: unit, both ends, method, source and limits. Without a name, all are listed.
    """
    from qc import decode, event, pipeline
    from qc.errors import QcError
    from qc.measure import specs
    from qc.series import findings as series
    from qc.series import wrap
    from qc.show import explain as words

    output = Output()
    if name is None:
        output.lines(words.overview(specs()))
        return
    try:
        codes = {**event.KINDS, **decode.FINDINGS, **pipeline.FINDINGS, **series.FINDINGS, **wrap.FINDINGS}
        output.lines(words.explain(name, specs(), codes), hang=words.INDENT)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
