"""`qc check`: measure and judge captures."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc_cli import options as opt
from qc_cli.output import NOTHING_DONE, Output, status


def check(
    captures: Annotated[
        list[Path], typer.Argument(metavar="CAPTURE", readable=False, help="Captures to measure.")
    ],
    sheet: opt.SheetOption = None,
    preset: opt.PresetOption = None,
    pictures: opt.PicturesOption = None,
    json: opt.JsonOption = False,
    verbose: opt.VerboseOption = False,
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    no_color: opt.NoColorOption = False,
    debug: opt.DebugOption = False,
) -> None:
    """Measure captures and judge them by the set sheet or preset.

    Without a sheet or preset nothing of taste is judged: readings are shown as numbers.
    """
    output = Output(json=json, no_color=no_color, debug=debug)
    hint = opt.mosaic_hint(mosaic, black, white)
    from qc.errors import QcError, printable
    from qc.measure import specs
    from qc.pipeline import measure_capture
    from qc.sheet.effective import effective_sheet
    from qc.sheet.read import read_sheet
    from qc.show.pictures import check_folder

    try:
        if sheet is not None:
            read_sheet(sheet)  # one with mistakes is said before anything is measured
        if pictures is not None:
            check_folder(pictures, captures)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    name_width = max(len(printable(path.name)) for path in captures)
    levels: list[str] = []
    faults = 0
    said: set[str] = set()
    for path in captures:
        try:
            intent = effective_sheet(path, sheet=sheet, preset=preset)
            for line in opt.said_of_sheet(intent, named=sheet is not None):
                if line not in said:
                    output.complain(line)
                said.add(line)
            result = measure_capture(path, intent, preset=preset, decoder=decoder, mosaic=hint)
            levels.append("lost" if result.digest is None else result.verdict.level)
            output.result(result, details=verbose or len(captures) == 1, name_width=name_width, specs=specs())
            if pictures is not None:
                output.pictures(result, pictures, intent)
        except QcError as error:
            faults += 1
            if str(error) not in said:  # one bad sheet over many captures is told once
                output.complain(str(error))
            said.add(str(error))
        except Exception as error:  # noqa: BLE001 - a defect of ours in one file must not lose the others
            faults += 1
            output.fault(printable(path), error)
    output.drawn(pictures)
    raise typer.Exit(status(levels, faults=faults))
