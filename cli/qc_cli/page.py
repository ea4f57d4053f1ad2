"""The page of a watch beside its lines: opened, told, and closed with it; the watch goes on without."""

from __future__ import annotations

import queue
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from qc.errors import UsageError
from qc.intake.updates import Update
from qc.reading import Spec
from qc.series.entry import Standing
from qc.show.watching import words
from qc.show.watching.board import Board
from qc.show.watching.deeds import Deeds
from qc.show.watching.words import Said
from qc_cli.browser import can_open, open_link
from qc_cli.output import one_line

if TYPE_CHECKING:
    from qc.intake.watch import Watch
    from qc.pages.follow.view import PageView
    from qc.pages.guard import App
    from qc.pages.serve import Served
    from qc.sheet.zones import Zone
    from qc_cli.views import Page, View

LOOPBACK = "127.0.0.1"

BEYOND = "whoever has the link can see the pictures; what goes over the network is not encrypted"
"""Said where the page is served beyond this machine."""

NO_ACTING = "acting stays with this machine, in its terminal"
"""Said where this machine itself reaches the page by the same address as all others only."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """How a page was asked for.

    Attributes
    ----------
    port : int or None
        Where it is served; None for the port that the folder's page had last.
    host : str
        Address it is served at.
    opens : bool
        Whether it is opened in a browser.
    new_link : bool
        Whether links that were given out before stop working.
    """

    port: int | None = None
    host: str = LOOPBACK
    opens: bool = False
    new_link: bool = False


def page_of(
    watching: Watch,
    wanted: Wanted,
    *,
    offer: Callable[[Standing], str | None],
    judged: Callable[[], bool],
    test: bool,
) -> Page:
    """Return what opens the page of a watch.

    Parameters
    ----------
    watching : Watch
        The watch.
    wanted : Wanted
        How.
    offer, judged, test
        As for `qc_cli.views.show`.
    """

    def zones(path: str | None) -> Sequence[Zone]:
        sheet = watching.intent.sheet if path is None else watching.intent.for_capture(path)
        return sheet.zones if sheet is not None else ()

    def hint() -> Sequence[str]:
        return () if judged() else words.unjudged(test=test)

    return opening(
        wanted,
        folder=watching.folder,
        out=watching.out,
        specs=watching.specs,
        wake=watching.wake,
        offer=offer,
        zones=zones,
        hint=hint,
    )


def opening(
    wanted: Wanted,
    *,
    folder: Path,
    out: Path,
    specs: Sequence[Spec],
    wake: Callable[[], None],
    offer: Callable[[Standing], str | None],
    zones: Callable[[str | None], Sequence[Zone]] = lambda _: (),
    hint: Callable[[], Sequence[str]] = lambda: (),
) -> Page:
    """Return what opens the page of anything that is told like a watch.

    Parameters
    ----------
    wanted : Wanted
        How.
    folder, out : Path
        The watched folder and that of the log.
    specs, wake
        Of the watch.
    offer, zones, hint
        As for `qc.pages.follow.view.PageView`.
    """

    @contextmanager
    def opened(board: Board, deeds: Deeds, beside: View) -> Iterator[View]:
        from qc.pages.assets import assets
        from qc.pages.follow.app import FILES, PAGE, make_app
        from qc.pages.follow.hub import Hub
        from qc.pages.follow.store import Store
        from qc.pages.follow.view import PageView

        hub, store = Hub(), Store(folder, out, specs)
        files = assets("qc.pages.follow", PAGE, FILES)
        view = PageView(
            board,
            store=store,
            hub=hub,
            do=deeds,
            offer=offer,
            wake=wake,
            zones=zones,
            hint=hint,
            folder=folder.name,
            page=files.digest,
        )
        faults: queue.SimpleQueue[str] = queue.SimpleQueue()

        def fault(text: str) -> None:
            faults.put(text)
            wake()

        served, said = _served(
            make_app(view, store=store, hub=hub, assets=files), folder, wanted, hub.close, fault
        )
        served.start()
        paged = Paged(view, served, faults, beside)
        try:
            for one in said:
                beside.say_lines([one], whole="http://" in one)  # a link is copied in one piece
            if wanted.opens and can_open():
                open_link(served.here or served.link)
            yield paged
        finally:
            view.close()
            served.stop()
            paged.tell_faults()

    return opened


class Paged:
    """The page as one view among others: whatever goes wrong with it is told in a line and ends only the page."""

    def __init__(self, view: PageView, served: Served, faults: queue.SimpleQueue[str], beside: View) -> None:
        self._view = view
        self._served = served
        self._faults = faults
        self._beside = beside
        self._ended = False
        self._told = ""

    def take(self, update: Update, said: Sequence[Said]) -> None:
        """Have the page follow an update."""
        self.tell_faults()
        if self._ended:
            return
        if not self._served.runs:
            self._end("the page is not served any more")
            return
        try:
            self._view.take(update, said)
        except Exception as error:  # noqa: BLE001 - a defect of the page is told, and the watch goes on
            self._end(f"internal fault of the page, please report it: {type(error).__name__}: {one_line(error)}")

    def say(self, said: Said) -> None:
        """Have the page say what was done."""
        self._view.say(said)

    def say_lines(self, lines: Sequence[str], *, whole: bool = False) -> None:
        """Nothing: what is said of the watch as a whole is in the page's state."""

    def tell_faults(self) -> None:
        """Say what went wrong in the server's thread; the same again and again is said once."""
        while not self._faults.empty():
            fault = self._faults.get()
            if fault != self._told:
                self._beside.say_lines([fault])
            self._told = fault

    def _end(self, why: str) -> None:
        """Serve nothing any more: a page that does not follow would go on showing what was."""
        self._ended = True
        self._view.close()
        self._served.stop()
        self._beside.say_lines([f"{why}; the watch goes on without it"])


def _served(
    app: App, folder: Path, wanted: Wanted, before_end: Callable[[], None], fault: Callable[[str], None]
) -> tuple[Served, list[str]]:
    """Return the server, with what is said of it at the start."""
    from qc.pages import keyring
    from qc.pages.serve import Served, reaches_beyond

    beyond = reaches_beyond(wanted.host)
    kept = keyring.kept(folder, beyond=beyond)
    key = keyring.new_key() if wanted.new_link else kept.key
    notes = []

    def at(port: int) -> Served:
        return Served(app, key=key, host=wanted.host, port=port, before_end=before_end, fault=fault)

    try:
        served = at(kept.port if wanted.port is None else wanted.port)
    except UsageError:
        if wanted.port is not None or not kept.port:
            raise
        # whoever listens there now has been sent the old key by pages that are still open
        key = keyring.new_key()
        served = at(0)
        notes = [f"port {kept.port}, where this page was last, is taken: its link is another one now"]
    if why := keyring.keep(folder, keyring.Kept(key=key, port=served.port), beyond=beyond):
        notes.append(f"the next watch will have another link: {why}")
    return served, [f"page: {served.link}", *notes, *(_beyond(served) if served.beyond else [])]


def _beyond(served: Served) -> list[str]:
    """Return what is said where a page is served beyond this machine."""
    return [BEYOND, f"acting stays with this machine: {served.here}" if served.here else NO_ACTING]
