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
    decoder: opt.DecoderOption = opt.DecoderName.AUTO,
    mosaic: opt.MosaicOption = None,
    black: opt.BlackOption = None,
    white: opt.WhiteOption = None,
    no_color: opt.NoColorOption = False,
    debug: opt.DebugOption = False,
) -> None:
    """Measure each capture as it arrives, newest first.

    A log of the day is kept beside the folder. Nothing is ever written into the folder. On a terminal, Enter
    answers the newest alarm, u undoes, q ends.
    """
    output = Output(json=json, no_color=no_color, debug=debug)
    hint = opt.mosaic_hint(mosaic, black, white)
    from qc.errors import QcError, printable
    from qc.intake.watch import Watch
    from qc_cli.performer import Performer
    from qc_cli.views import show

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
        with ending(watching.stop):
            open_halts = show(
                watching,
                output,
                perform=performer,
                offer=performer.offer,
                judged=lambda: preset is not None or watching.intent.sheet is not None,
                test=test,
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
