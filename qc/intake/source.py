"""`Source`: what stands in the watched folder, and a hint when that may have changed.

Hints make it quick, scans make it sure. A thread listens to the file system's notices; they are never believed
about a file, since whole folders arrive without one and a network announces nothing. Every scan compares stamps
with those of the scan before, whatever was announced. A watcher that fails, or misses what a scan then finds, is
set up again; meanwhile the folder is scanned more often.
"""

from __future__ import annotations

import errno
import os
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from qc.disk import is_network
from qc.errors import printable
from qc.event import Event, now
from qc.intake.hints import Hints
from qc.intake.scan import list_folder
from qc.intake.updates import Stamp
from qc.reading import Level

SOON_S = 0.1
"""Seconds between scans that hints ask for: a burst of notices is one scan. Our own choice."""

SURE_S = 2.0
"""Seconds between scans that nothing asks for, where the file system announces changes. Our own choice: what is
never announced, a folder moved in with its captures, still has its verdict in time."""

POLL_S = 1.0
"""The same where nothing is announced. Our own choice."""

NETWORK_S = 2.0
"""The same over a network, where looking costs and may disturb the writer. Our own choice."""

SHARE = 0.1
"""Part of the time that scans may take: of a slow folder they become rarer. Our own choice."""

LONGEST_S = 10.0
"""However slow a folder is, it is looked at as often as that, seconds. Our own choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scan:
    """One look at the watched folder.

    Attributes
    ----------
    files : dict of str to Stamp
        Every capture in it by its whole path; empty when the folder could not be read.
    gone : tuple of str
        What the scan before had and this one has not. Nothing is gone while its folder cannot be read.
    events : list of Event
        What has to be told once.
    folder_ok : bool
        Whether the folder could be read.
    """

    files: dict[str, Stamp] = field(default_factory=dict)
    gone: tuple[str, ...] = ()
    events: list[Event] = field(default_factory=list)
    folder_ok: bool = True


class Source:
    """The watched folder.

    Parameters
    ----------
    folder : str or os.PathLike
        With all folders below it. It may come and go.
    poll_s : float or None
        Seconds between scans; notices are then not used. None: decided by the file system.
    clock : callable
        Seconds of any clock that never goes back.

    Attributes
    ----------
    network : bool
        Whether the folder lies on a network file system: nobody can say there who writes to a file.
    """

    def __init__(
        self,
        folder: str | os.PathLike[str],
        *,
        poll_s: float | None = None,
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self.folder = os.path.abspath(folder)  # noqa: PTH100 - a linked folder keeps the name it was given
        self.network = is_network(self.folder)
        self._poll_s = NETWORK_S if poll_s is None and self.network else poll_s
        self._clock = clock
        self._hints = Hints(self.folder)
        self.wakeup = self._hints.wakeup
        self._files: dict[str, Stamp] = {}
        self._closed: dict[str, str] = {}
        self._scanned = False
        self._next_at = self._soon_at = clock()
        self._place = _Place(self.folder)
        self._told_polling: set[str] = set()

    def start(self) -> None:
        """Begin to listen."""
        if self._poll_s is None:
            self._hints.start()

    def stop(self) -> None:
        """Stop listening."""
        self._hints.stop()

    def changed(self) -> bool:
        """Tell whether there was a hint since the last scan."""
        return self._hints.pending

    def rest_s(self) -> float:
        """Return how long no scan is needed, seconds; 0 when one is due. A hint may shorten it (`wakeup`)."""
        at = self._soon_at if self.changed() else self._next_at
        return max(0.0, min(at, self._next_at) - self._clock())

    def scan(self) -> Scan:
        """Look at the folder; returns every capture in it, what went, and what has to be told."""
        began = self._clock()
        hinted = self._hints.take()
        events = [*self._why_polling()]
        try:
            replaced = self._place.look()
            found = list_folder(self.folder)
            self._place.check(empty=not found.files)
        except OSError as error:
            events += self._place.lost(_lost_words(error))
            self._rest(began)
            return Scan(events=events, folder_ok=False)
        events += self._place.back(replaced=replaced)
        events += self._newly_closed(found.closed)
        unread = tuple(f"{folder}{os.sep}" for folder in found.closed)
        kept = {path: stamp for path, stamp in self._files.items() if unread and path.startswith(unread)}
        gone = tuple(path for path in self._files if path not in found.files and path not in kept)
        files = found.files | kept
        # names only: what is written through memory changes without a notice, and there is nothing wrong then
        self._hints.compare(hinted=hinted or not self._scanned, news=files.keys() != self._files.keys())
        self._files, self._scanned = files, True
        self._rest(began)
        return Scan(files=found.files, gone=gone, events=events)

    def _rest(self, began: float) -> None:
        took = self._clock() - began
        usual = self._poll_s or (SURE_S if self._hints.listening else POLL_S)
        least = min(took / SHARE, LONGEST_S)
        self._soon_at = began + took + max(SOON_S, least)
        self._next_at = began + took + max(usual, least)

    def _why_polling(self) -> list[Event]:
        if self._poll_s is None:
            why = self._hints.troubles()
        elif self.network:
            why = ["it lies on a network, which announces no changes"]
        else:
            why = ["as asked"]
        fresh = [words for words in why if words not in self._told_polling]
        self._told_polling.update(fresh)
        every = self._poll_s or POLL_S
        return [
            Event(
                kind="polling",
                at=now(),
                text=f"{printable(self.folder)} is looked at every {every:g} s: {words}",
                data={"every_s": every},
            )
            for words in fresh
        ]

    def _newly_closed(self, closed: dict[str, str]) -> list[Event]:
        fresh = {folder: cause for folder, cause in closed.items() if folder not in self._closed}
        self._closed = closed
        return [
            Event(
                kind="folder_closed",
                at=now(),
                text=f"{printable(folder)} cannot be read ({cause}): captures in it are not seen",
                level=Level.WARN,
            )
            for folder, cause in fresh.items()
        ]


class _Place:
    """Whether the folder is there, and whether it is still the same one."""

    def __init__(self, folder: str) -> None:
        self._folder = folder
        self._known: tuple[int, int] | None = None
        self._mount: str | None = None
        self._lost = False

    def look(self) -> bool:
        """Note which folder stands there now; True when it is not the one of the last look."""
        facts = os.stat(self._folder)  # noqa: PTH116 - a plain path, as everywhere in this file
        found = facts.st_dev, facts.st_ino
        if self._known is not None and self._known[0] != found[0] and not self._mounted():
            return False
        replaced = self._known is not None and self._known != found
        if self._known != found:
            self._known, self._mount = found, _mount_of(self._folder)
        return replaced

    def check(self, *, empty: bool) -> None:
        """Raise when the disk of the folder was taken away and what is left in its place is empty."""
        facts = os.stat(self._folder)  # noqa: PTH116
        if self._known is not None and facts.st_dev != self._known[0] and empty:
            raise OSError(errno.ENODEV, "its disk is not mounted any more")

    def lost(self, words: str) -> list[Event]:
        """Return the event of a folder that cannot be read, once."""
        if self._lost:
            return []
        self._lost = True
        text = f"{printable(self._folder)} cannot be read: {words}. Nothing is lost; it is looked for all the time"
        return [Event(kind="folder_lost", at=now(), text=text, level=Level.WARN)]

    def back(self, *, replaced: bool) -> list[Event]:
        """Return the event of a folder that can be read again, or that another one has taken the place of."""
        if not self._lost and not replaced:
            return []
        self._lost = False
        what = "is another folder of that name now, and" if replaced else "can be read again, and"
        text = f"{printable(self._folder)} {what} is watched"
        return [Event(kind="folder_back", at=now(), text=text)]

    def _mounted(self) -> bool:
        return self._mount is None or os.path.ismount(self._mount)


def _mount_of(folder: str) -> str | None:
    """Return where the disk of a folder is mounted; None for the root, which never goes away."""
    place = os.path.realpath(folder)
    while not os.path.ismount(place):
        place = os.path.dirname(place)  # noqa: PTH120
    return None if place == os.path.dirname(place) else place  # noqa: PTH120


_NO_ANSWER = {getattr(errno, name) for name in ("EIO", "ENOTCONN", "ESTALE", "EHOSTDOWN") if hasattr(errno, name)}


def _lost_words(error: OSError) -> str:
    if isinstance(error, FileNotFoundError):
        return "there is no such folder any more"
    if isinstance(error, NotADirectoryError):
        return "a file has taken its place"
    if isinstance(error, PermissionError):
        return "no permission"
    if error.errno in (
        errno.EIO,
        errno.ENOTCONN,
        getattr(errno, "ESTALE", None),
        getattr(errno, "EHOSTDOWN", None),
    ):
        return "its disk or network does not answer"
    return error.strerror or str(error)
