"""The page of `qc sheet draw`: served on this machine until the page or the terminal ends it."""

from __future__ import annotations

import queue
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from qc.errors import UsageError
from qc_cli.browser import can_open, open_link
from qc_cli.output import Output
from qc_cli.watch import ending

if TYPE_CHECKING:
    from qc.decode import MosaicHint
    from qc.pages.guard import App
    from qc.pages.serve import Served

LOOK_S = 1.0
"""How often it is looked whether the page is still served."""


def serve_drawing(
    capture: str | None,
    *,
    sheet: Path | None,
    folder: Path | None,
    out: Path | None,
    port: int,
    opens: bool,
    decoder: str,
    mosaic: MosaicHint | None,
    output: Output,
) -> str:
    """Serve the page and return what was saved, in a few words.

    Parameters
    ----------
    capture, sheet, folder, out
        As for `qc.pages.drawing.place.place`.
    port : int
        0 for the one that the sheet's page had last, where it is free.
    opens : bool
        Whether the link is opened in a browser, where there is a screen for one.
    decoder, mosaic
        As for `qc.measure_capture`.
    output : Output
        Where the link is said, and what goes wrong.
    """
    from qc.pages.drawing.app import application
    from qc.pages.drawing.place import place
    from qc.pages.drawing.session import Session

    here = place(capture, sheet=sheet, folder=folder, out=out)
    ended: queue.SimpleQueue[None] = queue.SimpleQueue()  # its put may interrupt its get, as a signal does

    def end() -> None:
        ended.put(None)

    with ending(end):
        session = Session(here.capture, here.target, decoder=decoder, mosaic=mosaic)
        try:
            served = _served(application(session, end), here.sheet, port, output.complain)
            served.start()
            try:
                output.line(f"page: {served.link}")
                if opens and can_open():
                    open_link(served.link)
                _wait(ended, served)
            finally:
                served.stop()
        finally:
            session.close()
    return session.said


def _served(app: App, sheet: Path, port: int, fault: Callable[[str], None]) -> Served:
    """Return the server. Its link is that of the sheet's last page: one that is still open can save again."""
    from qc.pages import keyring
    from qc.pages.serve import Served

    kept = keyring.kept(sheet)
    try:
        served = Served(app, key=kept.key, port=port or kept.port, fault=fault)
    except UsageError:
        if port or not kept.port:
            raise
        return Served(app, key=keyring.new_key(), fault=fault)  # the sheet is drawn on another page just now
    why = keyring.keep(sheet, keyring.Kept(key=kept.key, port=served.port))
    if why:
        fault(f"started again, the page will have another link: {why}")
    return served


def _wait(ended: queue.SimpleQueue[None], served: Served) -> None:
    """Return when the page or the terminal ended it, or nothing is served any more."""
    while served.runs:
        try:
            ended.get(timeout=LOOK_S)
        except queue.Empty:
            continue
        return
