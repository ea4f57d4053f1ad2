"""`PageView`: what follows a watch for its page, in the watch's thread; acts asked for there are done here."""

from __future__ import annotations

import queue
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import Future
from dataclasses import dataclass, field, replace
from itertools import islice
from typing import Final

from qc.errors import QcError, UsageError
from qc.event import Event
from qc.intake.updates import Heartbeat, Judged, Recalled, Restated, Update
from qc.pages.follow.details import FRAMES
from qc.pages.follow.hub import Hub
from qc.pages.follow.state import MOST_ALARMS, Known, as_said, shown_of, state_of, token_of
from qc.pages.follow.store import Held, Store, key_of
from qc.reading import Level
from qc.series.entry import Standing
from qc.sheet.zones import Zone
from qc.show.watching.board import Board
from qc.show.watching.menu import Act, Wish, acts, question
from qc.show.watching.rows import Mark, Row, mark_of
from qc.show.watching.words import Said

PATIENCE_S: Final = 10.0
"""Seconds that a page waits for the watch to take up what it asked for. Our own choice."""

OFFERED: Final = 3
"""How many of the newest alarms have said beforehand what accepting would do: each costs a look into the log."""

SAID: Final = 5
"""How many of the last things that were done are told."""

SAID_S: Final = 60.0
"""Seconds for which they are, at most: what is not new any more only stands in the way. Our own choice."""

DONE: Final = frozenset({"accepted", "answered", "role", "undone", "sheet_changed", "sheet_bad"})
"""Kinds of events that concern what is judged, and how: done here, by another command, or in the sheet."""

ANSWERED: Final = "it was answered meanwhile or stands otherwise: nothing was done"
NOT_TAKEN_UP: Final = "the watch did not take it up in time: nothing was done"
ENDED: Final = "the watch has ended: nothing was done"


@dataclass(frozen=True, slots=True)
class _Asked:
    act: Act
    about: tuple[str, ...]
    answer: Future[str] = field(default_factory=Future)


class PageView:
    """Follows a watch for its page.

    Parameters
    ----------
    board : Board
        What has been told; it has taken up each update before.
    store : Store
        Pictures.
    hub : Hub
        To which each new state goes.
    do : callable
        Does what was asked for and returns what is said of it, as `qc.show.watching.deeds.Deeds`.
    offer : callable
        As for `qc.show.watching.menu.Menu`.
    wake : callable
        Has the watch give an update at once; called from the page's threads.
    zones : callable
        Gives the zones of the sheet that holds for a capture, by its path; of the day's for None.
    hint : callable
        Gives what to do while nothing can be judged, and nothing when it can.
    folder : str
        Name of the watched folder.
    page : str
        Digest of the page's files.
    now : callable
        Gives seconds that only grow.
    """

    def __init__(
        self,
        board: Board,
        *,
        store: Store,
        hub: Hub,
        do: Callable[[Wish], Said],
        offer: Callable[[Standing], str | None],
        wake: Callable[[], None],
        zones: Callable[[str | None], Sequence[Zone]] = lambda _: (),
        hint: Callable[[], Sequence[str]] = lambda: (),
        folder: str = "",
        page: str = "",
        now: Callable[[], float] = time.monotonic,
    ) -> None:
        self._board = board
        self._store = store
        self._hub = hub
        self._do = do
        self._offer = offer
        self._wake = wake
        self._zones = zones
        self._hint = hint
        self._known = Known(folder=folder, page=page)
        self._asked: queue.SimpleQueue[_Asked] = queue.SimpleQueue()
        self._closed = False
        self._said: deque[tuple[float, Said]] = deque(maxlen=SAID)
        self._newest = ""
        """Content of the frame that is shown."""
        self._now = now
        self._offers: dict[Mark, str | None] = {}
        self._beat_at = now()
        self.levels: Mapping[str, Level] = {}
        """Levels of the frames that were told last, by content; never changed, but replaced: others read it."""

    # -- from the page's threads

    def ask(self, act: Act, about: Iterable[str] = (), *, patience_s: float = PATIENCE_S) -> str:
        """Have something done by the watch; returns what is said of it.

        Parameters
        ----------
        act : Act
            What.
        about : iterable of str
            The alarms as the page was told them; none for `Act.UNDO`.
        patience_s : float
            Seconds after which it is given up, unless it is being done by then.

        Raises
        ------
        QcError
            When it cannot be done, in words; nothing was done then.
        """
        asked = _Asked(act, tuple(about))
        self._asked.put(asked)
        if self._closed:
            self._refuse_all()
        self._wake()
        try:
            return asked.answer.result(patience_s)
        except TimeoutError:
            if asked.answer.cancel():
                raise UsageError(NOT_TAKEN_UP) from None
            return asked.answer.result()

    # -- from the watch's thread

    def take(self, update: Update, said: Sequence[Said]) -> None:
        """Take up an update, do what was asked for, and have the new state told."""
        self._remember(update)
        self._forget()
        self._said.extend((self._now(), one) for one in said if one.kind in DONE)
        while not self._asked.empty():
            self._answer(self._asked.get())
        self._put()

    def say(self, said: Said) -> None:
        """Note what was done in one of the views."""
        self._offers.clear()  # up to where can be accepted depends on what was
        self._said.append((self._now(), said))

    def close(self) -> None:
        """Refuse what is still asked for; the last state stays."""
        self._closed = True
        self._refuse_all()

    def _remember(self, update: Update) -> None:
        if isinstance(update, Judged):
            self._store.put(update.result, update.standing, self._zones(update.result.file.path))
        elif isinstance(update, Restated):
            self._store.restate(update.standing)
        elif isinstance(update, Recalled):
            zones = self._zones(None)
            for standing in update.standings:
                self._store.recall(standing, zones)
        elif isinstance(update, Heartbeat):
            self._beat_at = self._now()
        elif isinstance(update, Event):
            self._happened(update)

    def _forget(self) -> None:
        """Drop what was said long ago, or of another frame than the one that is shown now."""
        newest, self._newest = self._newest, shown_of(self._board)
        if newest != self._newest:
            self._said.clear()
        while self._said and self._said[0][0] < self._now() - SAID_S:
            self._said.popleft()

    def _happened(self, event: Event) -> None:
        self._offers.clear()  # the sheet may have changed, the log be back
        if event.kind == "log_back":
            self._store.retry()
        if event.kind == "ended":
            self._known = replace(self._known, ended=True)

    def _put(self) -> None:
        alarms = [row[0][1] for row in self._board.alarms()[:MOST_ALARMS]]
        last = self._board.last()
        self._store.keep_only(one.content for one in (*alarms, *(told.standing for told in last)))
        told_last = islice(reversed(self._board.told.items()), FRAMES)
        self.levels = {content: told.standing.level for content, told in told_last}
        held, mark = self._shown()
        known = replace(
            self._known,
            held=held,
            mark=mark,
            offers=self._offered([*alarms[:OFFERED], *(one for _, one in self._board.newest() or ())]),
            said=tuple(said for _, said in self._said),
            hint=self._hint(),
            since_beat_s=self._now() - self._beat_at,
        )
        self._hub.put(state_of(self._board, known))

    def _shown(self) -> tuple[Held | None, bytes | None]:
        """Return what the frame taken last can be shown by, and where its cause is."""
        last = self._board.last()
        if not last:
            return None, None
        standing = as_said(last[-1].standing, self._board.before(last[-1]))
        return self._store.held(key_of(standing.content)), self._store.make_mark(standing)

    def _offered(self, alarms: Sequence[Standing]) -> dict[Mark, str | None]:
        wanted = {mark_of(one): one for one in alarms if Act.ACCEPT in acts(one)}
        self._offers = {
            mark: self._offers[mark] if mark in self._offers else self._offer(one) for mark, one in wanted.items()
        }
        return self._offers

    def _answer(self, asked: _Asked) -> None:
        if not asked.answer.set_running_or_notify_cancel():  # whoever asked has been told that nothing was done
            return
        try:
            asked.answer.set_result(self._do(self._wish(asked)).reason)
        except QcError as error:
            asked.answer.set_exception(error)
        except BaseException:
            asked.answer.set_exception(UsageError("an internal fault, told where the watch was started"))
            raise

    def _wish(self, asked: _Asked) -> Wish:
        """Return what was asked for about alarms that still wait, or a frame that still stands, as shown."""
        if asked.act is Act.UNDO:
            return Wish(act=Act.UNDO)
        shown = question(self._row(asked.about))
        answer = next(answer for answer in shown.answers if answer.act is asked.act)
        if not answer.can:
            raise UsageError(answer.said)
        return shown.wish(asked.act)

    def _row(self, about: Sequence[str]) -> Row:
        # a frame that was the newest when it was asked about may be any of the last by now
        others = [[(one.name, one.standing)] for one in self._board.last() if not one.waits]
        for row in (*self._board.alarms(), *others):
            named = {token_of(one[1]): one for one in row}
            if about and named.keys() >= set(about):
                return [named[token] for token in about]
        raise UsageError(ANSWERED)

    def _refuse_all(self) -> None:
        while True:
            try:
                asked = self._asked.get_nowait()
            except queue.Empty:
                return
            if asked.answer.set_running_or_notify_cancel():
                asked.answer.set_exception(UsageError(ENDED))
