"""`qc sheet`: write a set sheet, draw its zones, read it over; accept what a capture shows, and undo that."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc_cli import acting
from qc_cli import options as opt
from qc_cli.output import NOTHING_DONE, Output

if TYPE_CHECKING:
    from qc.event import Event

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Write, draw, check and extend a set sheet; accept what is intended.",
)

SheetArgument = Annotated[
    Path, typer.Argument(metavar="SHEET", readable=False, help="The set sheet, NAME.set.toml.")
]


@app.command()
def new(
    path: Annotated[
        Path | None,
        typer.Argument(
            metavar="SHEET", readable=False, help="The set sheet, NAME.set.toml; OUT/FOLDER.set.toml if not given."
        ),
    ] = None,
    capture: Annotated[
        str | None,
        typer.Option("--from", metavar="CAPTURE", help="Make it from this capture; the watch's last one."),
    ] = None,
    name: Annotated[str | None, typer.Option("--name", help="What the set is called.")] = None,
    preset: Annotated[opt.Preset, typer.Option("--preset", help="Default limits.")] = opt.Preset.SERIES,
    folder: acting.FolderOption = None,
    out: acting.OutOption = None,
) -> None:
    """Write a commented sheet to start from; a file that is there is not replaced.

    Without SHEET it is made from the last capture of the watch, or the one named: that is its baseline, and what
    is burnt or evenly bright in it is proposed as zones, behind #, for you to take up or not.
    """
    from qc.errors import QcError, printable
    from qc.sheet.write import new_sheet

    output = Output()
    try:
        if path is not None and capture is None:
            output.line(printable(new_sheet(path, name=name, preset=preset)))
            return
        from qc.intake.first_sheet import first_sheet

        made = first_sheet(path, capture=capture, folder=folder, out=out, name=name, preset=preset)
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(str(path or capture or "new sheet"), error)
        raise typer.Exit(NOTHING_DONE) from None
    output.line(printable(made.path))
    proposed = ", ".join(f"{one.name} ({one.role}): {one.why}" for one in made.proposals) or "none"
    output.line(f"from {printable(made.capture)}; zones proposed behind #: {proposed}")


@app.command()
def draw(
    capture: Annotated[
        str | None, typer.Argument(metavar="CAPTURE", help="The capture to draw on; the last one when not given.")
    ] = None,
    sheet: Annotated[
        Path | None,
        typer.Option(
            "--sheet",
            metavar="SHEET",
            readable=False,
            help="The set sheet, there or not; the one that holds for the capture, else a new one.",
        ),
    ] = None,
    folder: acting.FolderOption = None,
    out: acting.OutOption = None,
    port: Annotated[
        int,
        typer.Option(
            "--port", metavar="N", min=0, max=65535, help="Port of the page; the last one, or any that is free."
        ),
    ] = 0,
    no_open: Annotated[bool, typer.Option("--no-open", help="Only say the link, open no browser.")] = False,
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    debug: opt.DebugOption = False,
) -> None:
    """Draw zones on a capture, on a page that only this machine can open.

    What is measured in a zone stands beside it while it is drawn. The zones are saved to the sheet; what else is
    in it stays as it was typed. A new sheet is made by the first save, as `qc sheet new --from` makes it.
    """
    output = Output(debug=debug)
    hint = opt.mosaic_hint(mosaic, black, white)
    from qc.errors import QcError
    from qc_cli.drawing import serve_drawing

    try:
        said = serve_drawing(
            capture,
            sheet=sheet,
            folder=folder,
            out=out,
            port=port,
            opens=not no_open,
            decoder=decoder,
            mosaic=hint,
            output=output,
        )
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(capture or "last capture", error)
        raise typer.Exit(NOTHING_DONE) from None
    output.line(said)


@app.command()
def check(
    paths: Annotated[
        list[Path],
        typer.Argument(metavar="SHEET", readable=False, help="Set sheets, or NAME.accepted.toml, to read over."),
    ],
) -> None:
    """Read sheets over and name every mistake with its line."""
    from qc.errors import QcError

    output = Output()
    bad = 0
    for path in paths:
        try:
            output.line(_good(path))
        except QcError as error:
            bad += 1
            output.complain(str(error))
    raise typer.Exit(NOTHING_DONE if bad else 0)


def _good(path: Path) -> str:
    """Read a sheet or what was accepted, and say in a line what it holds."""
    from qc.errors import printable
    from qc.sheet.accepted import SUFFIX
    from qc.sheet.accepted_file import read_accepted
    from qc.sheet.read import read_sheet

    if path.name.endswith(SUFFIX) and path.exists():
        return f"{printable(path)}: good; {len(read_accepted(path))} accepted"
    sheet = read_sheet(path)
    zones = ", ".join(f"{zone.name} ({zone.role})" for zone in sheet.zones) or "no zones"
    preset = f"preset {sheet.preset}" if sheet.preset else "no preset"
    return f"{sheet.path}: good; {preset}; {zones}"


@app.command()
def zone(
    path: SheetArgument,
    name: Annotated[str, typer.Argument(metavar="NAME", help="What you call the zone.")],
    role: Annotated[
        str, typer.Argument(metavar="ROLE", help="protect, allow, sharp, moving, witness, patch or backdrop.")
    ],
    box: Annotated[
        tuple[float, float, float, float] | None,
        typer.Option("--box", metavar="LEFT TOP WIDTH HEIGHT", help="Fractions of the upright picture."),
    ] = None,
    points: Annotated[
        str | None, typer.Option("--points", metavar='"X,Y X,Y X,Y..."', help="Corners, as fractions.")
    ] = None,
    budget: Annotated[
        float | None, typer.Option("--budget", help="allow: burnt area (in any colour) meant, % of frame.")
    ] = None,
    reference: Annotated[
        str | None, typer.Option("--reference", help='patch: "neutral" or "EDITION/patch" of a chart.')
    ] = None,
    lightness: Annotated[float | None, typer.Option("--lightness", help="patch: L* of its reference.")] = None,
) -> None:
    """Add a zone at the end of a sheet; what is in it stays as it was typed."""
    from qc.errors import QcError
    from qc.sheet.write import add_zone

    output = Output()
    try:
        add_zone(
            path,
            name,
            role,
            box=box,
            points=opt.corner_points(points),
            budget=budget,
            reference=reference,
            lightness=lightness,
        )
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    output.line(f"{path}: zone {name!r} ({role}) added")


@app.command()
def accept(
    capture: Annotated[
        str | None, typer.Argument(metavar="CAPTURE", help="The capture; the last one when not given.")
    ] = None,
    reading: Annotated[
        str | None,
        typer.Option("--reading", metavar="READING", help="Which of its alarms; the first when not given."),
    ] = None,
    zone: Annotated[
        str | None,
        typer.Option("--zone", metavar="ZONE", help='The zone of that alarm, or "frame" for the whole picture.'),
    ] = None,
    folder: acting.FolderOption = None,
    out: acting.OutOption = None,
) -> None:
    """Accept what a capture shows as intended.

    The limit of that reading at that place rises to what was seen and a tenth, for this set only, from the next
    frame on. It stands in NAME.accepted.toml in the output folder, with the capture and the time; the set sheet
    stays as it was typed. An alarm that has no limit to raise is answered, for this capture only.
    """

    def doing(folder: Path, out: Path) -> Event:
        from qc.intake import actions

        return actions.accept(out, folder=folder, name=capture, cause=actions.Which(reading=reading, zone=zone))

    acting.act(doing, folder=folder, out=out, capture=capture)


@app.command()
def undo(folder: acting.FolderOption = None, out: acting.OutOption = None) -> None:
    """Take back the last acceptance, role or answer.

    Again for the one before it.
    """

    def doing(_folder: Path, out: Path) -> Event:
        from qc.intake import actions

        return actions.undo(out)

    acting.act(doing, folder=folder, out=out)
