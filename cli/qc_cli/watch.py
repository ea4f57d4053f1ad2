"""`qc watch`: measure each capture of a folder as it arrives."""

from __future__ import annotations

import contextlib
import os
import signal
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from types import FrameType
from typing import Annotated

import typer

from qc_cli import options as opt
from qc_cli.output import AT_HALT, DONE, INTERRUPTED, NOTHING_DONE, Output


def watch(
    folder: Annotated[
        Path, typer.Argument(metavar="FOLDER", readable=False, help="Folder the captures come into.")
    ],
    sheet: opt.SheetOption = None,
    preset: opt.PresetOption = None,
    out: Annotated[
        Path | None, typer.Option("--out", metavar="DIR", help="Folder of the log; FOLDER.qc when not given.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="JSON Lines on stdout: captures and events.")] = False,
    poll: Annotated[
        float | None,
        typer.Option(
            "--poll", metavar="SECONDS", min=0.1, help="Look at the folder every so often, trust no notices."
        ),
    ] = None,
    test: Annotated[
        bool, typer.Option("--test", help="Frames without flash are the ambient test, no alarm.")
    ] = False,
    page: Annotated[
        bool, typer.Option("--page", help="A page that follows the watch, for whoever stands further away.")
    ] = False,
    port: Annotated[
        int | None,
        typer.Option("--port", metavar="N", min=1, max=65535, help="Of the page; its last one when not given."),
    ] = None,
    host: Annotated[
        str | None,
        typer.Option("--host", metavar="ADDRESS", help="Serve the page to others too; 0.0.0.0 for all networks."),
    ] = None,
    new_link: Annotated[
        bool, typer.Option("--new-link", help="Give the page another link; the ones before stop working.")
    ] = False,
    no_open: Annotated[bool, typer.Option("--no-open", help="Do not open the page in a browser.")] = False,
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    no_color: opt.NoColorOption = False,
    debug: opt.DebugOption = False,
) -> None:
    """Measure each capture as it arrives, newest first.

    A log of the day is kept beside the folder. Nothing is ever written into the folder. On a terminal, Enter
    answers the newest alarm, u undoes, q ends. With --page, a page in a browser shows the same in letters that are
    read from two metres; only this machine reaches it, unless --host says otherwise.
    """
    output = Output(json=json, no_color=no_color, debug=debug)
    hint = opt.mosaic_hint(mosaic, black, white)
    if not page and (port is not None or host is not None or no_open or new_link):
        output.complain("--port, --host, --new-link and --no-open go with --page")
        raise typer.Exit(NOTHING_DONE)
    from qc.errors import QcError, printable
    from qc.intake.watch import Watch
    from qc_cli.page import LOOPBACK, Wanted, page_of
    from qc_cli.performer import Performer
    from qc_cli.views import show, shows_screen

    try:
        watching = Watch(
            folder,
            sheet=sheet,
            preset=preset,
            out=out,
            poll_s=poll,
            test=test,
            decoder=decoder,
            mosaic=hint,
        )
        performer = Performer(watching.folder, watching.out, sheet, preset)

        def judged() -> bool:
            return preset is not None or watching.intent.sheet is not None

        wanted = Wanted(
            port=port, host=host or LOOPBACK, opens=not no_open and shows_screen(output), new_link=new_link
        )
        with ending(watching.stop):
            open_halts = show(
                watching,
                output,
                perform=performer,
                offer=performer.offer,
                judged=judged,
                test=test,
                page=page_of(watching, wanted, offer=performer.offer, judged=judged, test=test) if page else None,
            )
    except QcError as error:
        output.complain(str(error))
        raise typer.Exit(NOTHING_DONE) from None
    except Exception as error:  # noqa: BLE001 - a defect of ours is told in one line, not in forty
        output.fault(printable(folder), error)
        raise typer.Exit(NOTHING_DONE) from None
    raise typer.Exit(AT_HALT if open_halts else DONE)


HANGUP = getattr(signal, "SIGHUP", None)
ENDINGS = [number for number in (signal.SIGINT, signal.SIGTERM, HANGUP) if number is not None]


def let_go_of(streams: Sequence[int]) -> None:
    """Write nothing more to a terminal that is gone, so that the frame that is running can still be logged."""
    nowhere = os.open(os.devnull, os.O_RDWR)
    for stream in streams:
        os.dup2(nowhere, stream)


@contextlib.contextmanager
def ending(stop: Callable[[], None]) -> Iterator[None]:
    """Let Ctrl-C, SIGTERM and a terminal that was closed end the watch in order; a second one leaves at once."""
    asked = False
    terminals = [stream for stream in (0, 1, 2) if os.isatty(stream)]  # one that hung up says it is none

    def handle(number: int, _frame: FrameType | None) -> None:
        nonlocal asked
        if number == HANGUP:
            let_go_of(terminals)
        if asked:
            sys.exit(INTERRUPTED)
        asked = True
        stop()

    before = {number: signal.signal(number, handle) for number in ENDINGS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
