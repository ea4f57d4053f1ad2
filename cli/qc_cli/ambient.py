"""`qc ambient`: how far under the flash everything else is, where, in what colour, and what to do."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc_cli import options as opt
from qc_cli.output import NOTHING_DONE, Output, status


def ambient(
    frames: Annotated[
        list[Path], typer.Argument(metavar="FRAME", readable=False, help="Frames with and without flash.")
    ],
    dark: Annotated[
        list[Path] | None,
        typer.Option(
            "--dark", metavar="FRAME", readable=False, help="A frame shot without the flash; found when not named."
        ),
    ] = None,
    sync: Annotated[
        str | None,
        typer.Option("--sync", metavar="TIME", help="Shortest shutter time in step with the flash, as 1/200."),
    ] = None,
    sheet: opt.SheetOption = None,
    preset: opt.PresetOption = None,
    pictures: opt.PicturesOption = None,
    json: opt.JsonOption = False,
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    no_color: opt.NoColorOption = False,
    debug: opt.DebugOption = False,
) -> None:
    """Tell how much of the light is not the flash.

    Give frames shot with and without the flash, in any order, settings the same. Says how many stops the
    ambient light lies under the flash, in the frame and in each zone of the set sheet,
    where it is worst, what colour it has, and what can be done about it.
    """
    output = Output(json=json, no_color=no_color, debug=debug)
    hint = opt.mosaic_hint(mosaic, black, white)
    limit = opt.shutter_time(sync)
    from qc.errors import QcError
    from qc.measure.ambient import SPEC
    from qc.pipeline import measure_ambient
    from qc.sheet.effective import effective_sheet
    from qc.show.pictures import check_folder

    try:
        if pictures is not None:
            check_folder(pictures, [*frames, *(dark or ())])
        intent = effective_sheet(frames[0], sheet=sheet, preset=preset)
        for line in opt.said_of_sheet(intent, named=sheet is not None):
            output.complain(line)
        result = measure_ambient(
            frames,
            intent,
            preset=preset,
            dark=dark or (),
            sync_limit_s=limit,
            decoder=decoder,
            mosaic=hint,
        )
        output.result(result, details=True, name_width=0, specs=[SPEC])
        if pictures is not None:
            output.pictures(result, pictures, intent)
            output.drawn(pictures)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault("ambient test", error)
        raise typer.Exit(NOTHING_DONE) from (error if debug else None)
    if all(reading.value is None for reading in result.readings):
        raise typer.Exit(NOTHING_DONE)
    left_out = ["lost" for finding in result.findings if finding.code == "left_out"]
    raise typer.Exit(status([result.verdict.level, *left_out], faults=0))
